"""Files of balls that are not right: one sentence on what is wrong, where, and what would do."""

from __future__ import annotations

import re

import pytest

from puzzles.compile import compiled
from puzzles.errors import LimitError, NameNotFoundError, PuzzleFileError, TrefoilError
from puzzles.file import parse
from puzzles.names import read_placement, slot_names, sticker_name

HEAD = 'description = "x"\nshape = "ball"\nbody = "cube"\nup = "U"\nfront = "F"\n'


def layers(axes: str, bounds: str, steps: int = 4, names: str = "") -> str:
    more = f'names = "{names}"\n' if names else ""
    return f"[[layers]]\naxes = {axes}\n{bounds}\nsteps = {steps}\n{more}"


def within(axes: str, angle: str, steps: int = 4, names: str = "") -> str:
    return layers(axes, f"within = {angle}", steps, names)


FACES = within('"faces"', '"60deg"')


def many(axes: str, groups: int, first: float, apart: float, steps: int = 24) -> str:
    """Return groups of layers on the same axes, each a little wider than the one before."""
    return "".join(
        within(axes, f'"{first + apart * k}deg"', steps, f"{chr(97 + k)}{{axis}}")
        for k in range(groups)
    )


#: What is wrong with a file, its text, and what the sentence must say.
BAD = {
    "layers that share no piece": (
        HEAD + within('"faces"', '"20deg"'),
        "^no turn moves a piece or shows a twist: layers hold only pieces on their axes",
    ),
    "pieces that come back askew": (
        'accept_gap = "10deg"\n' + HEAD + within('"edges"', '"31deg"'),
        "^the piece near UFL comes back to its place twisted in more than 60 ways; at most 60",
    ),
    "three circles that nearly meet": (
        HEAD + within('"faces"', '"54.7356103deg"'),
        r"^layer D, layer F and layer L nearly meet, 6e-08 degrees apart; give angles as formulas, "
        r"such as to\(UFR\), to make them meet, or move them apart$",
    ),
    "two circles that nearly touch": (
        HEAD + within('["U", "F"]', '"45.000001deg"'),
        "^layer U and layer F nearly meet, 2e-06 degrees apart",
    ),
    "one circle twice, nearly": (
        HEAD + within('["U"]', '"45deg"') + within('["D"]', '"134.999999deg"'),
        "^layer D and layer U are nearly the same circle, 7e-07 degrees apart; give angles",
    ),
    "a turned circle that is nearly another": (
        HEAD
        + within('["U"]', '"60deg"')
        + within('["F"]', '"60deg"')
        + within('["R"]', '"60.00001deg"'),
        "are nearly the same circle, .* degrees apart",
    ),
    "a circle that nearly touches an edge of the paint": (
        HEAD + within('["U"]', '"45.00001deg"'),
        "edge U. or D. of the body.*nearly meet|nearly meet.*edge U. or D. of the body",
    ),
    "a sliver": (
        "accept = 0.9\n" + HEAD + many('"faces"', 10, 30, 3.1),
        "nearly meet, leaving a sliver of area 1e-06; give angles as formulas",
    ),
    "a circle too small": (
        HEAD + within('["U"]', '"0.001deg"'),
        "^layer U: its circle is only 0.001 degrees wide; a piece so small is not real$",
    ),
    "pieces that cover too little": (
        "accept = 0.95\n"
        + HEAD
        + within('"faces"', '"to(UFR) + 9deg"')
        + within('"corners"', '"34deg"', 6),
        r"^layer UFL by 1 of 6: the piece near [UFL]+ covers its new slot to \d+%; outlines "
        r"differ by up to \d+ degrees; the file accepts 95%$",
    ),
    "pieces whose outlines are too far apart": (
        'accept_gap = "3deg"\n'
        + HEAD
        + within('["U"]', '"64deg"')
        + within('["F", "R"]', '"70deg"'),
        r"^layer . by 1 of 4: the piece near [A-Z]+ .* its new slot to \d+%; outlines differ by "
        r"up to [\d.]+ degrees; the file accepts 3 degrees$",
    ),
    "a plain number": (
        HEAD + within('"faces"', "60"),
        '^layers 1: within: 60.0 is a plain number; an angle was expected, such as "30deg"$',
    ),
    "a plain number in a formula": (
        HEAD + within('"faces"', '"60"'),
        "within: '60' is a plain number",
    ),
    "an angle where a height was expected": (
        HEAD + layers('"faces"', 'above = "30deg"'),
        "^layers 1: above: '30deg' is an angle; `above` takes a height .*, and `within` an angle$",
    ),
    "a height outside the ball": (
        HEAD + layers('"faces"', "above = 1.2"),
        "^layers 1: above: 1.2: a ball is cut at heights between -1 and 1$",
    ),
    "no angle at all": (
        HEAD + within('"faces"', '"0deg"'),
        "^layers 1: within: 0 degrees; an angle between 0 and 180 degrees was expected$",
    ),
    "an angle below zero": (
        HEAD + within('"faces"', '"-5deg"'),
        "within: -5 degrees; an angle between",
    ),
    "the whole ball": (
        HEAD + within('"faces"', '"180deg"'),
        "within: 180 degrees; an angle between",
    ),
    "the larger angle first": (
        HEAD + layers('"faces"', 'between = ["40deg", "20deg"]'),
        "^layers 1: `between` gives two angles or two heights, the smaller one first$",
    ),
    "an angle and a height": (
        HEAD + layers('"faces"', 'between = ["40deg", 0.9]'),
        "^layers 1: `between` gives two angles or two heights",
    ),
    "angles between which there is too much": (
        HEAD + layers('"faces"', 'between = ["40deg", "190deg"]'),
        "^layers 1: between: angles between 0 and 180 degrees were expected$",
    ),
    "an unknown direction": (
        HEAD + within('"faces"', '"to(XYZ)"'),
        r"^layers 1: to\(XYZ\) names no direction; the faces are U D F B L R$",
    ),
    "opposite faces as a direction": (
        HEAD + within('"faces"', '"to(UD)"'),
        r"^layers 1: to\(UD\) names no direction",
    ),
    "no direction": (
        HEAD + within('"faces"', '"to()"'),
        "expected letters of faces in brackets after to",
    ),
    "to() of a solid": (
        HEAD.replace('shape = "ball"\n', "") + layers('"faces"', 'above = "to(UFR)"'),
        r"expected a size without to\(\), which is for the layers of a ball",
    ),
    "within on a solid": (
        HEAD.replace('shape = "ball"\n', "") + FACES,
        r"`within` is for balls \(shape = \"ball\"\)",
    ),
    "an unknown type": (
        'keep_twists = ["wing"]\n' + HEAD + FACES,
        "^keep_twists: there is no type 'wing'; the types are corner, edge, centre$",
    ),
    "a share that is too small": (
        "accept = 0.4\n" + HEAD + FACES,
        "accept: expected a share above 0.5, such as 0.95, not 0.4$",
    ),
    "a gap that is too wide": (
        'accept_gap = "60deg"\n' + HEAD + FACES,
        "^accept_gap: an angle between 0 and 45 degrees was expected$",
    ),
    "a gap without a unit": (
        "accept_gap = 3\n" + HEAD + FACES,
        "^accept_gap: 3.0 is a plain number",
    ),
    "both ways to accept": (
        'accept_gap = "3deg"\naccept = 0.9\n' + HEAD + FACES,
        "give either `accept` or `accept_gap`, and not both$",
    ),
    "deep brackets": (
        HEAD + within('"faces"', '"' + "(" * 90 + "60deg" + ")" * 90 + '"'),
        "at character 21: expected at most 20 nested brackets$",
    ),
    "a huge formula": (
        HEAD + within('"faces"', '"' + "+".join(["1deg"] * 4000) + '"'),
        "layers 1: within: expected an angle .*, not a text of 19,999 characters$",
    ),
    "too many layers": (
        HEAD + many('"corners"', 20, 30, 3.1),
        "^160 layers are given; at most 62 are allowed$",
    ),
}


@pytest.mark.parametrize("wrong", BAD)
def test_what_is_wrong_is_said_in_one_sentence(wrong: str) -> None:
    text, sentence = BAD[wrong]
    with pytest.raises(PuzzleFileError) as caught:
        compiled("own", parse(text, "own.toml"))
    said = str(caught.value)
    assert re.search(sentence, said), said
    assert "\n" not in said
    assert len(said) < 400


#: Files whose cuts never close, or that have twenty groups of layers with 24 steps.
ENDLESS = {
    "fifths of neighbouring faces": HEAD + within('["U", "F"]', '"60deg"', 5),
    "fifths of overlapping corners": HEAD + within('"corners"', '"50deg"', 5),
    "sevenths and fifths": HEAD
    + within('"faces"', '"50deg"', 7)
    + within('"corners"', '"40deg"', 5),
    "thirds of edges": HEAD + within('"edges"', '"44deg"', 3),
    "seven groups of corners by 24ths": HEAD + many('"corners"', 7, 30, 3.1),
    "ten groups of faces by 24ths": HEAD + many('"faces"', 10, 30, 3.1),
    "twenty groups of two faces by 24ths": HEAD + many('["U", "F"]', 20, 30, 2.3),
    "a body of twenty faces by 24ths": HEAD.replace('"cube"', '"icosahedron"')
    .replace('"U"', '"A"')
    .replace('"F"', '"B"')
    + within('"faces"', '"80deg"', 24)
    + within('"edges"', '"44deg"', 24),
}


@pytest.mark.parametrize("name", ENDLESS)
def test_cuts_that_never_close_are_given_up(name: str) -> None:
    """By the limits on circles and arcs, or because circles nearly meet on the way."""
    with pytest.raises(TrefoilError) as caught:
        compiled("own", parse(ENDLESS[name], "own.toml"))
    said = str(caught.value)
    assert "\n" not in said
    assert len(said) < 400
    if isinstance(caught.value, LimitError):
        assert re.search(
            r"^the cuts never close: turns of layer \w+ still make new ones after [\d,]+ circles "
            r"and [\d,]+ arcs \(600 and 4,000 are the most\); give other angles, or take pieces "
            r"that fit only roughly, such as with accept = 0.9$",
            said,
        )
    else:
        assert "nearly" in said


def test_with_lower_limits_even_a_ball_of_the_catalogue_is_given_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """It is the limits that stop: the same file compiles with them as they are."""
    text = HEAD + within('"faces"', '"to(UFR) + 9deg"') + within('"corners"', '"34deg"', 6)
    assert compiled("own", parse(text, "own.toml")).slot_count == 170
    for limit, most in (("MOST_CIRCLES", 20), ("MOST_ARCS", 30), ("MOST_TURNED", 100)):
        with monkeypatch.context() as patch:
            patch.setattr(f"puzzles.closing.{limit}", most)
            with pytest.raises(LimitError, match="never close"):
                compiled("own", parse(text, "own.toml"))
    monkeypatch.setattr("puzzles.ball.MOST_PATCHES", 100)
    with pytest.raises(LimitError, match="the cuts make 246 patches; at most 100 are allowed"):
        compiled("own", parse(text, "own.toml"))


def test_a_ball_without_paint_has_no_stickers_to_name() -> None:
    text = HEAD + "paint = false\n" + layers('"faces"', 'within = "60deg"')
    puzzle = compiled("bare", parse(text, "bare"))
    assert sticker_name(puzzle, 0) in slot_names(puzzle)
    with pytest.raises(NameNotFoundError, match="no such sticker; bare has no paint"):
        read_placement(puzzle, "UF@R")
