"""What the heaviest pages weigh as they are sent, and that what they leave out is said."""

from __future__ import annotations

import gzip
import random
import re
from collections import Counter
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote_plus

import pytest
from hypothesis import given
from hypothesis import strategies as st

from puzzles import load
from puzzles.notation import parse
from puzzles.state_picture import draw_state
from service.pages.read import MOST_HELD, bounded
from tests.pages.test_sheet import outlined, step_pictures
from tests.service.api.harness import Served, serving

#: Bytes of a page, compressed as they are sent.
MOST = 150_000
#: Bytes of a page of a long sequence before they are compressed, which is what making it takes.
MOST_MADE = 400_000


@pytest.fixture(scope="module")
def heavy(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Return a service without workers, in which nothing is searched."""
    with serving(tmp_path_factory.mktemp("heavy")) as served:
        served.client.headers["Accept"] = "text/html"
        yield served


def turns(count: int, seed: int) -> str:
    """Return turns of the 3x3x3 by chance, none of a face that was turned just before."""
    chance, word = random.Random(seed), ["R"]
    while len(word) < count:
        face = chance.choice([face for face in "URFDLB" if face != word[-1][0]])
        word.append(face + chance.choice(["", "2"]))
    return " ".join(word)


def commutator(count: int, seed: int) -> str:
    """Return a commutator of two parts by chance, of four times as many turns."""
    return f"[{turns(count, seed)}, {turns(count, seed + 1)}]"


@pytest.mark.parametrize("text", [turns(4_000, 1), commutator(1_200, 2)])
def test_a_long_sequence_is_a_light_page(heavy: Served, text: str) -> None:
    reply = heavy.client.get(f"/puzzles/3x3x3/read?sequence={quote_plus(text)}")
    assert reply.status_code == 200
    assert len(reply.content) < MOST_MADE
    assert len(gzip.compress(reply.content, 6)) < MOST
    assert f"of more than {MOST_HELD} turns they are not listed here" in reply.text
    assert "held otherwise</summary>" not in reply.text


def test_a_short_sequence_is_shown_in_every_holding(heavy: Served) -> None:
    """The rotations of the cube but the one in hand, and as many reflections (24 each)."""
    reply = heavy.client.get(f"/puzzles/3x3x3/read?sequence={quote_plus(turns(MOST_HELD, 3))}")
    assert "<summary>24 mirrored</summary>" in reply.text
    assert "<summary>23 held otherwise</summary>" in reply.text
    assert "not listed here" not in reply.text


LEVELS: Any = st.recursive(
    st.builds(
        lambda n: {"notation": "x" * n, "sequence": "", "why": None, "parts": []}, st.integers(0, 9)
    ),
    lambda inner: st.builds(
        lambda n, parts: {"notation": "x" * n, "sequence": "y", "why": "z", "parts": parts},
        st.integers(0, 9),
        st.lists(inner, max_size=4),
    ),
)


def written(level: Any) -> int:
    own = 2 * len(level["notation"]) + len(level["sequence"]) + len(level["why"] or "")
    return own + sum(map(written, level["parts"]))


@given(LEVELS, st.integers(0, 200))
def test_levels_are_left_out_where_there_are_too_many(tree: Any, most: int) -> None:
    shown = bounded(tree, most)
    top = written({**tree, "parts": []})
    assert written(shown) <= max(most, top)

    def compare(own: Any, full: Any) -> bool:
        """Whether all of a level stands, or it is said that some does not."""
        if own["left_out"]:
            assert not own["parts"]
            assert full["parts"]
            return False
        pairs = zip(own["parts"], full["parts"], strict=True)
        return all(compare(*pair) for pair in pairs)

    assert compare(shown, tree) or written(tree) > most


def test_a_sheet_of_long_sequences_is_light(heavy: Served) -> None:
    """On the ball of which two turns move the most pieces, by pictures that have all outlines."""
    texts = "[R U F, L' D];[U R' F L, D' B]"
    reply = heavy.client.get(
        "/puzzles/ball-sixths-218/sheet", params={"sequence": texts, "parts": "strips"}
    )
    assert reply.status_code == 200
    drawn = outlined(reply.text)
    assert drawn.count('stroke-width="1.5"') > reply.text.count('stroke-width="1.5"') > 0
    own, every = (len(gzip.compress(text.encode(), 6)) for text in (reply.text, drawn))
    assert own < every / 2
    assert own < MOST / 2
    puzzle = load("ball-sixths-218")
    word = parse(puzzle, "R U F L'").word
    (holding,) = {
        int(number) for number in re.findall(r'href="#ground-(\d+)"', section(reply.text))
    }
    shown = step_pictures(reply.text, 1)[3]
    whole = draw_state(puzzle, word, (), word[-1], holding)
    ground_alone = draw_state(puzzle, (), (), None, holding)
    assert patches(shown) == patches(whole) - patches(ground_alone)


def section(page: str) -> str:
    """Return the first strip of a sheet."""
    return page.partition('aria-labelledby="strip-1"')[2].partition("</section>")[0]


def patches(text: str) -> Counter[tuple[str, str]]:
    """Return the outlines of a picture with their paint."""
    found = re.findall(r'<(?:polygon|path) [^>]*?(?:points|d)="([^"]*)"[^>]*?fill="([^"]*)"', text)
    return Counter(found)
