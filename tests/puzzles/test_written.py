"""Puzzles whose turns are written down: cycles to tables and back, names, symmetries, pictures."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Sequence
from xml.etree import ElementTree

import jsonschema
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from sympy.combinatorics import Permutation, PermutationGroup

from puzzles import load
from puzzles.compile import compiled
from puzzles.effects import cycle_text, cycles, effect_of
from puzzles.errors import NameNotFoundError, PuzzleFileError
from puzzles.file import parse, schema
from puzzles.group import group
from puzzles.names import placement_names, read_cycle, read_placement, slot_names
from puzzles.notation import parse as parse_sequence
from puzzles.notation import write
from puzzles.picture import draw
from puzzles.puzzle import Puzzle
from tests.writing_down import done_by_hand, moving_slots, written_down

GOOD = """
description = "Two wheels that cross; the pieces of the smaller one can sit in three ways."
shape = "written"
places = 8
twists = {"1-3" = 3}
[[turns]]
name = "A"
cycles = "(1 2+1 3) (4 5 6)"
[[turns]]
name = "B"
cycles = "(6 7 8)"
"""


def made(text: str) -> Puzzle:
    return compiled("own", parse(text, "own.toml"))


def file_of(turns: Sequence[str], places: int, more: str = "") -> str:
    head = f'description = "Some turns."\nshape = "written"\nplaces = {places}\n{more}\n'
    named = zip("ABCDEFGH", turns, strict=False)
    return head + "".join(f'[[turns]]\nname = "{n}"\ncycles = "{c}"\n' for n, c in named)


@st.composite
def permutations(draw: st.DrawFn) -> tuple[list[int], list[list[int]], str]:
    """A permutation as an array, its cycles, and the cycles as somebody might type them."""
    array = draw(st.permutations(range(draw(st.integers(2, 9)))))
    found = Permutation(array).cyclic_form
    spaces = st.sampled_from([" ", "  ", ", ", ",", "\t"])
    text = ""
    for cycle in found:
        inside = "".join(f"{k + 1}{draw(spaces)}" for k in cycle[:-1]) + str(cycle[-1] + 1)
        text += draw(st.sampled_from(["", " ", ", "])) if text else ""
        text += f"({inside})"
    return list(array), found, text


@given(permutations())
def test_cycles_are_the_permutation_that_sympy_makes_of_them(
    own: tuple[list[int], list[list[int]], str],
) -> None:
    array, found, text = own
    assume(found)
    puzzle = made(file_of([text.replace("\t", "\\t")], len(array)))
    names = slot_names(puzzle)
    place = [int(name) - 1 for name in names]
    wanted = Permutation(found, size=len(array))
    for number, turn in enumerate(puzzle.turns):
        power = (wanted**turn.amount).array_form
        for slot in range(len(array)):
            image = int(puzzle.slot_of[puzzle.moves[number, puzzle.home[slot]]])
            assert place[image] == power[place[slot]]
        # And back: the cycles that are printed are those of sympy's power.
        effect = effect_of(puzzle, [number])
        printed = " ".join(cycle_text(puzzle, c) for c in cycles(puzzle, effect))
        again = [[int(k) - 1 for k in c.split()] for c in re.findall(r"\(([^)]*)\)", printed)]
        assert Permutation(again, size=len(array)).array_form == power
    assert puzzle.layers[0].steps == wanted.order()


@given(st.data())
def test_twists_are_permutations_of_places_and_twists(data: st.DataObject) -> None:
    count, ways = data.draw(st.integers(2, 6)), data.draw(st.integers(2, 5))
    array = data.draw(st.permutations(range(count)))
    twist = data.draw(st.lists(st.integers(0, ways - 1), min_size=count, max_size=count))
    form = Permutation(array).full_cyclic_form
    text = " ".join("(" + " ".join(f"{k + 1}+{twist[k]}" for k in cycle) + ")" for cycle in form)
    # One more turn, so that every twist can be reached whatever was drawn.
    wheel = "(" + " ".join(f"{k + 1}" for k in range(count)) + "+1)"
    more = f'twists = {{"1-{count}" = {ways}}}'
    table = [
        array[k] * ways + (x + twist[array[k]]) % ways for k in range(count) for x in range(ways)
    ]
    wanted = Permutation(table)
    wheel_table = [
        (k + 1) % count * ways + (x + (k + 1 == count - 1)) % ways
        for k in range(count)
        for x in range(ways)
    ]
    assume(not wanted.is_Identity and wanted.order() <= 60)
    powers = [Permutation(wheel_table) ** k for k in range(count * ways)]
    assume(wanted not in powers)
    assume(Permutation(wheel_table) not in [wanted**k for k in range(wanted.order())])
    puzzle = made(file_of([text, wheel], count, more))
    assert puzzle.layers[0].steps == wanted.order()
    assert puzzle.moves[puzzle.turn(0, 1)].tolist() == table
    assert puzzle.moves[puzzle.turn(1, 1)].tolist() == wheel_table
    # Each word does what the text says, done by hand.
    word = data.draw(st.lists(st.integers(0, len(puzzle.turns) - 1), max_size=5))
    by_hand = done_by_hand(
        {"A": text, "B": wheel},
        dict.fromkeys(range(1, count + 1), ways),
        count,
        write(puzzle, word),
    )
    effect = puzzle.effect(word)[puzzle.home]
    there = {k + 1: (int(p) // ways + 1, int(p) % ways) for k, p in enumerate(effect)}
    assert there == by_hand


#: Orders: OEIS A075152 for the 2x2x2 with a corner held still and the 3x3x3; 3,674,160 stands in
#: sympy's documentation of PermutationGroup, too.
@pytest.mark.parametrize(
    ("name", "order"), [("3x3x3", 43_252_003_274_489_856_000), ("2x2x2", 3_674_160)]
)
def test_a_cube_written_down_is_the_same_puzzle(name: str, order: int) -> None:
    cut = load(name)
    puzzle = made(written_down(cut))
    own = group(puzzle)
    assert (own.order, own.proven) == (order, True)
    slots = moving_slots(cut)
    assert [t.count for t in puzzle.types] == [t.count for t in cut.types if t.moves]
    for turn in puzzle.turns:
        a, b = cut.turn_numbers[turn], puzzle.turn_numbers[turn]
        for k, slot in enumerate(slots):
            there = cut.moves[a, cut.home[slot]]
            same = puzzle.moves[b, puzzle.home[k]]
            assert slots[int(puzzle.slot_of[same])] == cut.slot_of[there]
            assert puzzle.twist_of[same] == cut.twist_of[there]
    assert np.array_equal(puzzle.commutes, cut.commutes)
    assert len(puzzle.symmetries) == len(cut.symmetries)


def test_the_small_cube_of_sympy_has_the_order_that_its_documentation_gives() -> None:
    """The generators F, R and D in sympy's documentation of PermutationGroup."""
    turns = [
        [[2, 19, 21, 8], [3, 17, 20, 10], [4, 6, 7, 5]],
        [[1, 5, 21, 14], [3, 7, 23, 12], [8, 10, 11, 9]],
        [[6, 18, 14, 10], [7, 19, 15, 11], [20, 22, 23, 21]],
    ]
    texts = ["".join(f"({' '.join(str(k + 1) for k in c)})" for c in own) for own in turns]
    puzzle = made(file_of(texts, 24))
    assert [(t.count, t.moves) for t in puzzle.types] == [(21, True), (3, False)]
    assert group(puzzle).order == 3_674_160
    own = PermutationGroup([Permutation(t, size=24) for t in turns])
    assert own.order() == 3_674_160
    # Three stickers of a corner always go together; where one is held, so are the others.
    hint = re.match(r"What is at (\d+), (\d+) and (\d+) always goes together", puzzle.note)
    assert hint is not None
    first, *others = sorted(int(k) - 1 for k in hint.groups())
    fixed = own.stabilizer(first)
    assert all(fixed.orbit(k) == {k} for k in others)


def test_no_hint_where_pieces_part() -> None:
    for name in ("3x3x3", "2x2x2", "cube-edges", "octahedron-faces"):
        assert made(written_down(load(name))).note == ""
    assert made(GOOD).note == ""


@pytest.mark.parametrize(
    "name", ["cube-corners", "hexagonal-prism", "tetrahedron-corners", "cube-edges"]
)
def test_every_symmetry_of_a_cut_puzzle_is_found_without_its_geometry(name: str) -> None:
    cut = load(name)
    puzzle = made(written_down(cut))
    assert group(puzzle).order == group(cut).order
    turned = {tuple(s.turns.tolist()) for s in puzzle.symmetries}
    for symmetry in cut.symmetries:
        images = [puzzle.turn_numbers[cut.turns[t]] for t in symmetry.turns.tolist()]
        assert tuple(images) in turned


@given(st.data())
def test_symmetries_are_those_that_trying_all_permutations_finds(data: st.DataObject) -> None:
    count = data.draw(st.integers(3, 5))
    every = st.permutations(range(count)).filter(lambda p: list(p) != list(range(count)))
    turns = data.draw(st.lists(every, min_size=1, max_size=3))
    forms = [Permutation(t) for t in turns]
    powers = [[f**k for k in range(1, f.order())] for f in forms]
    for one, other in itertools.permutations(range(len(forms)), 2):
        assume(forms[one] not in powers[other])
    texts = ["".join(f"({' '.join(str(k + 1) for k in c)})" for c in f.cyclic_form) for f in forms]
    puzzle = made(file_of(texts, count))
    steps = {f: k for k, f in enumerate(forms)}
    resting = [k for k in range(count) if all(t[k] == k for t in turns)]
    both = set(steps) | {f**-1 for f in forms}
    wanted = 0
    for image in itertools.permutations(range(count)):
        s = Permutation(list(image))
        carried = [f ^ s for f in forms]
        layers = {next((k for k, f in enumerate(forms) if c in (f, f**-1)), -1) for c in carried}
        keeps = all(image[k] == k for k in resting)
        wanted += keeps and all(c in both for c in carried) and len(layers) == len(forms)
    assert len(puzzle.symmetries) == wanted
    for symmetry in puzzle.symmetries:
        for t in range(len(puzzle.turns)):
            after = symmetry.placements[puzzle.moves[t]]
            assert np.array_equal(after, puzzle.moves[symmetry.turns[t]][symmetry.placements])
    assert np.array_equal(puzzle.symmetries[0].placements, np.arange(puzzle.placement_count))


@pytest.mark.parametrize("name", ["cube-corners", "tetrahedron-corners", "3x3x3-slices"])
def test_symmetries_done_one_after_the_other_are_symmetries(name: str) -> None:
    """Up to twisting all pieces of a type along, which does nothing to a cycle."""
    puzzle = made(written_down(load(name)))

    def seen(placements: np.ndarray[tuple[int], np.dtype[np.int32]]) -> tuple[int, ...]:
        result = []
        for kind in puzzle.types:
            own = placements[list(kind.placements)]
            slots, twists = puzzle.slot_of[own], puzzle.twist_of[own]
            result += [*slots.tolist(), *((twists - twists[0]) % kind.twists).tolist()]
        return tuple(result)

    every = {(tuple(s.turns.tolist()), seen(s.placements)) for s in puzzle.symmetries}
    assert len(every) == len(puzzle.symmetries)
    for one in puzzle.symmetries[:: max(1, len(puzzle.symmetries) // 12)]:
        for other in puzzle.symmetries:
            both = other.placements[one.placements]
            assert (tuple(other.turns[one.turns].tolist()), seen(both)) in every


def test_pieces_that_are_twisted_only_and_that_never_move_are_types_of_their_own() -> None:
    text = file_of(["(1 2 3) (5+1)", "(3 4) (6+1)"], 8, 'twists = {"5 6" = 4}')
    puzzle = made(text)
    said = [(t.name, t.count, t.twists, t.moves) for t in puzzle.types]
    assert said == [
        ("piece1", 4, 1, True),
        ("piece2", 2, 4, True),
        ("piece3", 2, 1, False),
    ]
    assert [layer.steps for layer in puzzle.layers] == [12, 4]
    # An odd twist at 6 always comes with an odd rearrangement of the four.
    assert group(puzzle).order == math.factorial(4) * 16 // 2


def test_a_number_alone_says_that_a_turn_holds_a_piece_that_stays() -> None:
    puzzle = made(file_of(["(1 2 3) (4)", "(3 4 5)"], 5))
    assert puzzle.in_layer.tolist() == [[True] * 4 + [False], [False] * 2 + [True] * 3]


BAD = {
    "a number twice": (
        "(1 2 3) (4 2)",
        "turn A: the number 2 stands in two cycles; .*at most once",
    ),
    "twice in one": ("(4 5 4)", "turn A: the number 4 stands twice in one cycle; a turn carries"),
    "no such place": ("(1 9)", "turn A: 9 is no place; the places are numbered from 1 to 8"),
    "zero": ("(0 1)", "turn A: 0 is no place; the places are numbered from 1 to 8"),
    "never closed": ("(1 2", r"turn A: the last cycle is not closed; '\)' was expected"),
    "no bracket": (
        "1 2 3",
        r"turn A: character 1 of the cycles: '\(' before the next cycle was exp",
    ),
    "in each other": (
        "(1 (2 3))",
        r"turn A: character 4 .*: the number of a place or '\)' was exp",
    ),
    "letters": ("(1 x)", "character 4 of the cycles: the number of a place .* not 'x'"),
    "empty cycle": (
        "() (4 5)",
        r"character 2 of the cycles: the number of a place was .* not '\)'",
    ),
    "nothing moves": ("(4) (5)", r"turn A: '\(4\) \(5\)' moves nothing; cycles such as \(1 2 3\)"),
    "twist too large": ("(1 2+3 3)", r"2\+3 twists by more than there is; .* 3 ways .* \+1 to \+2"),
    "twist that is none": ("(4 5+1)", 'turn A: 5\\+1 twists .* twists = {"5" = 3} says'),
    "unlike places": (
        "(3 4)",
        "places 3 and 4 stand in one cycle, but a piece sits in 3 ways at 3",
    ),
    "very long number": (f"({'9' * 5000})", "a number of 5,000 digits is no place"),
    "very long order": ("(1 2) (4 5 6 7 8)", "turn C: only .* times over has nothing moved"),
}


@pytest.mark.parametrize("case", BAD)
def test_cycles_that_cannot_be_are_refused_in_one_sentence(case: str) -> None:
    cycles_text, said = BAD[case]
    text = GOOD.replace("(1 2+1 3) (4 5 6)", cycles_text)
    if case == "very long order":
        primes, start, parts = (2, 3, 5, 7, 11, 13), 9, []
        for p in primes:
            parts.append("(" + " ".join(map(str, range(start, start + p))) + ")")
            start += p
        text = GOOD.replace("places = 8", "places = 60")
        text += f'[[turns]]\nname = "C"\ncycles = "{"".join(parts)}"\n'
    with pytest.raises(PuzzleFileError, match=said) as error:
        made(text)
    assert "\n" not in str(error.value)
    assert len(str(error.value)) < 300


BAD_FILES = {
    "too many types": (
        file_of(["".join(f"({2 * k + 1} {2 * k + 2})" for k in range(31))], 62),
        "the turns make 31 piece types, places that they join; at most 30",
    ),
    "unknown key": (GOOD + "speed = 1\n", "turns 2: 'speed' is not known"),
    "front": ('front = "F"\n' + GOOD, "'front' is not known; known are description, shape, places"),
    "no places": (GOOD.replace("places = 8", ""), "'places' is missing; expected a whole number"),
    "too many places": (
        GOOD.replace("places = 8", "places = 3000"),
        "places: expected .*, not 3000",
    ),
    "too many ways": (
        GOOD.replace("places = 8", "places = 990").replace("1-3", "1-20").replace("= 3}", "= 60}"),
        "places and twists make 2,170 ways to sit; at most 2,000",
    ),
    "no turns": (GOOD[: GOOD.index("[[")], "'turns' is missing; expected 1 to 62 tables"),
    "name with signs": (GOOD.replace('"B"', '"B-1"'), "turns 2: name: expected up to 12 letters"),
    "turns of one name": (GOOD.replace('"B"', '"A"'), "two turns are named 'A'"),
    "turn that repeats": (
        GOOD + '[[turns]]\nname = "C"\ncycles = "(6 8 7)"\n',
        "turn C does the same as B done 2 times; .* leave C out",
    ),
    "twist never reached": (
        GOOD.replace("2+1", "2"),
        "twists: no turn brings a piece of places 1, 2 and 3 back to its place twisted",
    ),
    "twist partly reached": (
        GOOD.replace("= 3}", "= 6}").replace("2+1", "2+2"),
        "places 1, 2 and 3: 6 ways to sit are given, .* in only 3 of them; 3 is right",
    ),
    "twists of no place": (GOOD.replace('"1-3"', '"1-9"'), "twists: 1-9 names no places"),
    "twists of words": (GOOD.replace('"1-3"', '"all"'), "twists: 'all' is no list of places"),
    "twists twice": (GOOD.replace("{", '{"2" = 3, '), "twists: place 2 is given twice"),
    "twists of half": (GOOD.replace("= 3}", "= 2.5}"), "expected a whole number from 1 to 60"),
    "names too few": ('names = ["a"]\n' + GOOD, "names: 1 names are given for 8 places"),
    "name of another": ("names = {1 = '2'}\n" + GOOD, "names: '2' for place 1: .* no other number"),
    "name with a space": ("names = {1 = 'a b'}\n" + GOOD, "names: 'a b' for place 1: up to 20"),
    "names alike": ("names = {1 = 'a', 2 = 'a'}\n" + GOOD, "names: two places are named 'a'"),
    "positions too few": (
        "positions = {1 = [0, 0]}\n" + GOOD,
        "1 are given for 8 .* none for place 2",
    ),
    "positions of words": ("positions = {1 = ['x', 0]}\n" + GOOD, "none for place 2"),
    "positions on one": (
        f"positions = {[[0, 0]] * 8}\n" + GOOD,
        "positions: places 1 and 2 lie on one point",
    ),
    "positions far out": (
        f"positions = {[[k, 1e9] for k in range(8)]}\n" + GOOD,
        "lies too far out",
    ),
    "position of three": (
        "positions = {1 = [0, 0, 0]}\n" + GOOD,
        "positions.1: expected two sizes",
    ),
    "colour": ("colours = {'1-3' = 'pink'}\n" + GOOD, "'pink' is no colour here; known are sky"),
    "alike of two types": ("alike = ['3 4']\n" + GOOD, "alike 1: places 3 and 4 belong to diff"),
    "alike in two": ("alike = ['4 5', '5 6']\n" + GOOD, "alike 2: place 5 is in a list before"),
    "type that is not": (
        GOOD + "[types]\nedge = 'x'\n",
        "no type 'edge' to rename; .* piece1, piece2",
    ),
}


@pytest.mark.parametrize("case", BAD_FILES)
def test_files_that_cannot_be_are_refused_in_one_sentence(case: str) -> None:
    text, said = BAD_FILES[case]
    with pytest.raises(PuzzleFileError, match=said) as error:
        made(text)
    assert "\n" not in str(error.value)


@given(st.text(st.sampled_from("()123456789+- ,x"), max_size=30))
def test_any_cycles_are_read_or_refused_in_one_sentence(text: str) -> None:
    try:
        puzzle = made(file_of([text, "(8 9)"], 9, 'twists = {"1-3" = 3}'))
    except PuzzleFileError as error:
        said = str(error)
    else:
        said = "" if puzzle.placement_count == 15 else "placements\nwrong"
    assert "\n" not in said


def test_the_schema_knows_written_files() -> None:
    import tomllib

    jsonschema.validate(tomllib.loads(GOOD), schema())
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**tomllib.loads(GOOD), "places": "8"}, schema())


def test_every_name_is_read_back() -> None:
    puzzle = load("three-wheels")
    assert placement_names(puzzle)[:4] == ("1", "1+1", "1+2", "2")
    for placement, name in enumerate(placement_names(puzzle)):
        placed = read_placement(puzzle, name)
        assert (placed.placement, placed.sticker) == (placement, None)
    assert read_placement(puzzle, "bead:20").slot == read_placement(puzzle, "020").slot == 19


def test_own_names_stand_for_their_places() -> None:
    puzzle = made("names = {1 = 'top', 4 = 'out-1'}\n" + GOOD)
    assert slot_names(puzzle)[:4] == ("top", "2", "3", "out-1")
    assert read_placement(puzzle, "Top+2").placement == 2
    text = cycle_text(puzzle, cycles(puzzle, effect_of(puzzle, [puzzle.turn(0, 1)]))[0])
    assert text.startswith("(top 2+1 3+1")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("29", "there is no such place on three-wheels; the places are 1 to 28"),
        ("1+3", r"a piece at 1 sits in 3 ways; 1 to 1\+2 exist"),
        ("20+1", "a piece at 20 sits in one way only; 20 is right"),
        ("UFR", "there is no such place"),
        ("1@U", "'1@U' is no name of a place"),
        ("coin:20", "there is no coin of that name"),
        ("wheel:1", "no piece type 'wheel'; the types are coin, bead"),
        ("", "is no name of a place"),
    ],
)
def test_names_that_mean_nothing_are_refused(name: str, said: str) -> None:
    with pytest.raises(NameNotFoundError, match=said):
        read_placement(load("three-wheels"), name)


def test_pieces_that_the_file_says_look_the_same() -> None:
    puzzle = made("alike = ['8 4-6']\n" + GOOD)
    names = slot_names(puzzle)
    assert [names[k] for k in puzzle.alike] == ["1", "2", "3", "4", "4", "4", "7", "4"]


def test_sequences_are_read_and_written_with_the_names_of_turns() -> None:
    puzzle = load("three-wheels")
    word = parse_sequence(puzzle, "[L2: (R' T3)2] L'").word
    assert write(puzzle, word) == "L2 R' T3 R' T3 L2' L'"
    long = made(GOOD.replace('"B"', '"2up"'))
    assert write(long, parse_sequence(long, "A 2up2 A").word) == "A 2up' A"


SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize("width", [120, 480, 1200])
@pytest.mark.parametrize("positions", [True, False])
def test_pictures_show_every_place_and_the_cycle(width: int, positions: bool) -> None:
    puzzle = load("three-wheels") if positions else made(written_down(load("3x3x3")))
    cycle = [p.placement for p in read_cycle(puzzle, ["1", "3+1", "4"])]
    root = ElementTree.fromstring(draw(puzzle, cycle, width=width))
    discs = [e for e in root.iter(f"{SVG}circle") if "data-place" in e.attrib]
    assert len(discs) == puzzle.slot_count
    assert {"1", "3+1", "4"} <= {e.attrib["data-place"] for e in discs}
    strong = [e.attrib["data-place"] for e in discs if e.attrib["stroke-width"] == "2.2"]
    assert sorted(strong) == ["1", "3+1", "4"]
    x, y, r = (np.array([float(e.attrib[k]) for e in discs]) for k in ("cx", "cy", "r"))
    _, _, wide, high = map(float, root.attrib["viewBox"].split())
    assert wide == width
    assert ((x - r >= 0) & (x + r <= wide) & (y - r >= 0) & (y + r <= high)).all()
    away = np.hypot(x[:, None] - x, y[:, None] - y)[~np.eye(len(x), dtype=bool)]
    assert away.min() > 2 * r.max()
    # Discs of outlined places come last but for the arrows: one head for each step.
    heads = [e for e in root.iter(f"{SVG}polygon") if e.attrib["fill"] == "#000000"]
    assert len(heads) == 3
    assert root.find(f"{SVG}title") is not None


def test_colours_of_the_file_are_drawn() -> None:
    puzzle = made("colours = {'4-5' = 'green'}\n" + GOOD)
    fills = {
        e.attrib["data-place"]: e.attrib["fill"]
        for e in ElementTree.fromstring(draw(puzzle)).iter(f"{SVG}circle")
        if "data-place" in e.attrib
    }
    assert [k for k, fill in fills.items() if fill == "#009E73"] == ["4", "5"]
