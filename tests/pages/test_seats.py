"""States as they are clicked and painted, beside the tables, a simulator and the readers."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from puzzles import load
from puzzles.names import placement_names, sticker_name
from puzzles.painted import from_stickers
from puzzles.puzzle import Puzzle
from puzzles.states import State, entries, from_pieces, shown
from tests.pages.browser import served
from tests.pages.test_drawing import Shown, words
from tests.plain import named, plain

#: With and without twists, alike pieces, paint that is not alike in all slots, and without a body.
NAMES = ("2x2x2", "3x3x3", "4x4x4", "octahedron-faces", "cube-faces-corners", "three-wheels")

SEAT = """async ([puts, says]) => {
  const { Seats } = await import("/seats.js");
  const seats = new Seats(drawing.tables);
  for (const [place, here] of puts) seats.put(place, here);
  const { effect, blank } = seats.state();
  const before = seats.complete();
  const read = new Seats(drawing.tables);
  return {
    effect: [...effect], blank: [...blank], open: seats.open, missing: seats.missing, before,
    text: seats.text, again: read.read(seats.text) && read.text, told: seats.said.length,
    said: says.map((slot) => seats.at(slot)),
  };
}"""


@pytest.fixture(scope="module")
def page(chrome: Any) -> Iterator[Shown]:
    """A page that has the modules; what it shows is of no matter."""
    with served() as address:
        own = Shown(chrome.new_page(reduced_motion="reduce"), address)
        yield own
        assert own.complaints == []
        own.page.close()


def clicks(puzzle: Puzzle, effect: np.ndarray, chance: random.Random) -> list[list[int]]:
    """Return what somebody clicks to say a state: a place, and what is there, one a slot."""
    back = np.argsort(effect)
    result = []
    for kind in puzzle.types:
        for slot in kind.slots:
            place = int(puzzle.home[slot]) + chance.randrange(kind.twists)
            if int(back[place]) != place:
                result.append([place, int(back[place])])
    chance.shuffle(result)
    return result


@pytest.mark.parametrize("name", NAMES)
def test_what_is_clicked_is_the_state_that_a_scramble_leaves(page: Shown, name: str) -> None:
    """Whatever order it is clicked in, and whatever was clicked wrong before."""
    puzzle, chance = load(name), random.Random(name)
    page.show(name)
    for word in [*words(puzzle, 2, 9), *words(puzzle, 2, 2)]:
        effect = puzzle.effect(word)
        own = clicks(puzzle, effect, chance)
        if not own:
            continue
        # Some were first said to be where others are, also where nothing has moved.
        pairs = [(int(a), b) for a in puzzle.home for _, b in own if fits(puzzle, int(a), b)]
        still = [pair for pair in pairs if effect[pair[0]] == pair[0]]
        every = [
            *chance.sample(pairs, min(6, len(pairs))),
            *chance.sample(still, min(3, len(still))),
        ]
        wrong = [list(pair) for pair in every]
        told = page.run(SEAT, wrong + own, list(range(puzzle.slot_count)))
        assert told["effect"] == effect.tolist()
        assert (told["blank"], told["open"], told["missing"], told["before"]) == ([], [], [], None)
        state = from_pieces(puzzle, entries(told["text"])).whole(puzzle)
        assert (shown(state) == shown(State(puzzle, effect))).all()
        assert told["again"] == told["text"]
        assert told["told"] == len(own)
        names, back = placement_names(puzzle), np.argsort(effect)
        assert told["said"] == [names[int(back[int(home)])] for home in puzzle.home]


def fits(puzzle: Puzzle, place: int, here: int) -> bool:
    kinds = puzzle.type_of[puzzle.slot_of[[place, here]]]
    return bool(kinds[0] == kinds[1])


@pytest.mark.parametrize("name", NAMES)
def test_what_is_not_said_yet_is_known(page: Shown, name: str) -> None:
    """Slots are open whose pieces are elsewhere, pieces missing in whose slots others sit."""
    puzzle, chance = load(name), random.Random(name)
    page.show(name)
    for word in words(puzzle, 3, 9):
        effect = puzzle.effect(word)
        own = clicks(puzzle, effect, chance)
        some = own[: len(own) // 2]
        taken = {int(puzzle.slot_of[place]) for place, _ in some}
        away = {int(puzzle.slot_of[here]) for _, here in some}
        told = page.run(SEAT, some, [])
        known = {int(puzzle.slot_of[here]): place for place, here in some}
        for piece, slot in known.items():
            assert puzzle.slot_of[told["effect"][int(puzzle.home[piece])]] == puzzle.slot_of[slot]
        assert set(told["blank"]) == taken - away, "what is nowhere yet is drawn in grey"
        assert sorted(told["effect"]) == list(range(puzzle.placement_count))
        left = sorted(away - taken)
        # The last one of a type that shows no twist is where it must be.
        last = [
            slot
            for slot in left
            if sum(puzzle.type_of[k] == puzzle.type_of[slot] for k in left) == 1
            and puzzle.types[int(puzzle.type_of[slot])].twists == 1
        ]
        assert told["before"] == (last[0] if last else None)
        assert told["open"] == [slot for slot in left if slot != told["before"]]
        assert len(told["missing"]) == len(told["open"])


PAINT = """async ([paints]) => {
  const { Coats } = await import("/coats.js");
  const coats = new Coats(drawing.tables);
  for (const [sticker, face] of paints) coats.paint(sticker, face);
  const text = coats.text(new Map());
  const again = new Coats(drawing.tables);
  again.read(text, new Map());
  const called = new Map(drawing.tables.data.faces.name.map((face, k) => [face, `colour${k}`]));
  const other = new Coats(drawing.tables);
  other.read(coats.text(called), called);
  return {
    text, open: coats.open, again: again.text(new Map()), other: other.text(new Map()),
    said: [...coats.said],
  };
}"""


@pytest.mark.parametrize("name", ["2x2x2", "3x3x3", "4x4x4", "octahedron-faces"])
def test_what_is_painted_is_what_the_simulator_shows(page: Shown, name: str) -> None:
    """The colours are read off stickers that the plain simulator has moved."""
    puzzle = load(name)
    page.show(name)
    for word in words(puzzle, 3, 9):
        effect = plain(puzzle).sticker_effect(named(puzzle, word)).tolist()
        colour = {place: puzzle.stickers[k].face for k, place in enumerate(effect)}
        away = {
            puzzle.stickers[place].slot
            for place, face in colour.items()
            if face != puzzle.stickers[place].face
        }
        paints = [
            [place, face] for place, face in colour.items() if puzzle.stickers[place].slot in away
        ]
        random.Random(name).shuffle(paints)
        told = page.run(PAINT, paints)
        assert told["open"] == []
        assert told["again"] == told["other"] == told["text"]
        faces = [face.name for face in puzzle.body.faces]
        said = [f"{sticker_name(puzzle, k)}={faces[face]}" for k, face in sorted(paints)]
        assert told["text"] == " ".join(said)
        state = from_stickers(puzzle, entries(told["text"])).whole(puzzle)
        assert (shown(state) == shown(State(puzzle, puzzle.effect(word)))).all()
        # A sticker of a slot that was left out is one to be painted yet.
        half = page.run(PAINT, paints[:1])
        slot = puzzle.stickers[paints[0][0]].slot
        own = [k for k, one in enumerate(puzzle.stickers) if one.slot == slot and one.face >= 0]
        assert sorted(half["open"]) == [k for k in own if k != paints[0][0]]
