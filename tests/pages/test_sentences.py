"""What pages say where something is wrong or missing: for people, with one end to each sentence."""

from __future__ import annotations

import re

import pytest

from service.pages.wording import about, called, sentence
from tests.service.api.harness import Served


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("nothing was found", "Nothing was found."),
        ("nothing was found.", "Nothing was found."),
        (
            "there is no 'corners'; did you mean corner?",
            "There is no 'corners'; did you mean corner?",
        ),
        ("", "."),
    ],
)
def test_sentences_end_once(text: str, said: str) -> None:
    assert sentence(text) == said


@pytest.mark.parametrize(
    ("cycle", "said"),
    [("UFR", "1 name was given"), ("UFR,UBL", "2 names were given"), ("A,B,C,D", "4 names were")],
)
def test_names_are_counted_as_one_says_it(site: Served, cycle: str, said: str) -> None:
    assert said in site.client.get(f"/puzzles/2x2x2/ask?cycle={cycle}").text


@pytest.mark.parametrize("address", ["/nowhere", "/puzzles/nowhere", "/puzzles/nowhere/read"])
def test_people_are_not_sent_where_programs_look(site: Served, address: str) -> None:
    reply = site.client.get(address)
    assert reply.status_code == 404
    (said,) = re.findall(r'<p class="wrong"[^>]*>(.*?)</p>', reply.text, re.DOTALL)
    assert said.startswith("There is no")
    assert "api" not in said
    assert "GET" not in said


def test_programs_are_told_where_to_look(site: Served) -> None:
    assert site.client.get("/api/nowhere").json()["detail"].endswith("/api lists what there is")


def test_nobody_holds_what_is_only_written_down(site: Served) -> None:
    """Three wheels have no faces: nothing is up, and nobody knows what a hand would do."""
    told = site.post(
        {"puzzle": "three-wheels", "cycle": ["1", "2", "3"], "seconds": 20}, prefer="wait=20"
    ).json()
    while told["state"] in ("waiting", "running"):
        # Kernels may have to be compiled first.
        told = site.client.get(told["href"], headers={"prefer": "wait=20"}).json()
    assert told["answer"]["answers"]
    assert told["page"]
    for address in (told["page"], "/puzzles/three-wheels/sheet?sequence=L"):
        text = site.client.get(address).text
        assert "Hold" not in text
        assert "Held with" not in text
        assert " up, " not in text
        assert "Hands, and" not in text
    assert ">why it works<" in site.client.get(told["page"]).text


@pytest.mark.parametrize(
    ("said", "name"),
    [
        ("A cube; its 6 faces turn by quarters.", "A cube; its 6 faces turn by quarters"),
        (
            "A cube; its 6 faces turn by quarters, its 8 corners by thirds.",
            "A cube; its 6 faces turn by quarters",
        ),
        ("A ball of ours. Its tips turn alone.", "A ball of ours"),
        ("A ball with 1.5 of everything", "A ball with 1.5 of everything"),
        (
            "Something that nobody has ever said in as many words as these",
            "Something that nobody has ever said in as many …",
        ),
        (" ", "p-0123456789abcdef"),
    ],
)
def test_a_posted_puzzle_is_called_by_how_its_description_begins(said: str, name: str) -> None:
    told = {"name": "p-0123456789abcdef", "description": said}
    assert called(told) == name
    own = said.strip() != ""
    assert about(told, "on") == (f"on: {name}" if own else f"on the {name}")
    assert called({"name": "3x3x3", "description": said}) == "3x3x3"
