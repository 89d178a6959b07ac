"""Sentences about a puzzle's anatomy, in the words that its file has for pieces and layers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from puzzles.anatomy import Anatomy, Arranged
from puzzles.kinship import LayersLike, Likeness, TypeLike
from puzzles.laws import joined, plural
from puzzles.layer_kinds import in_words, layers_in_words
from puzzles.least_effects import CYCLE, SWAP, SWAPS, TWIST, TWISTS, LeastOf
from puzzles.names import slot_names
from puzzles.notation import turn_text
from puzzles.puzzle import Puzzle

#: The most puzzles of the catalogue that a type is said to be like.
SAID = 3
#: The most bodies of fastened pieces that are listed one by one.
MOST_BODIES = 6
#: Larger numbers of effects are not said.
MOST_SAID = 1_000_000
_RAISED = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


def the_types(puzzle: Puzzle, numbers: Iterable[int]) -> str:
    """Return "the corners and the edges", or "the edge1 and edge2 pieces", for types by number."""
    names = [plural(puzzle.types[number].name) for number in numbers]
    if len(names) > 1 and all(name.endswith(" pieces") for name in names):
        return f"the {joined([name.removesuffix(' pieces') for name in names])} pieces"
    return joined([f"the {name}" for name in names])


def sentence(text: str) -> str:
    """Return a text with a capital and a full stop."""
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def ties(own: Anatomy) -> list[str]:
    """Return what moves independently and what is tied to what, as sentences."""
    moving = [kind.number for kind in own.puzzle.types if kind.moves]
    if len(moving) < 2:
        return []
    if not own.ties and own.reached is not None:
        return []
    if not own.ties:
        return ["Each type of piece moves independently of the others."]
    free = own.independent
    result = []
    if free and own.reached is None:
        verb = "move" if own.puzzle.types[free[0]].count > 1 or len(free) > 1 else "moves"
        result.append(sentence(f"{the_types(own.puzzle, free)} {verb} independently of all others"))
    result += [law.text for law in own.ties]
    loose = all(law.kind in ("parity", "twist", "parity and twist") for law in own.ties)
    if loose and own.reached is None:
        result.append("But for that, each type can be moved without the others.")
    return result


def alike(own: Anatomy) -> list[str]:
    """Return which types of the puzzle are moved alike, as sentences."""
    result = []
    for numbers in own.likeness_classes:
        pairs = [like for like in own.alike if like.types[0] == numbers[0]]
        if len(numbers) == 2:
            result.append(_pair(own.puzzle, pairs[0]))
            continue
        aside = "" if all(like.with_twist for like in own.alike) else ", twist aside"
        if all(like.same_turns for like in pairs):
            result.append(
                sentence(f"{the_types(own.puzzle, numbers)} go in step, turn for turn{aside}")
            )
            continue
        result.append(
            sentence(
                f"{the_types(own.puzzle, numbers)} are moved alike, each by layers of their own"
                f"{aside}: a sequence for the ones does for the others when its turns are renamed"
            )
        )
    return result


def _pair(puzzle: Puzzle, like: Likeness) -> str:
    one, other = (f"the {plural(puzzle.types[number].name)}" for number in like.types)
    aside = "" if like.with_twist else ", twist aside"
    if like.same_turns:
        return sentence(f"{other} are moved exactly like {one}{aside}, turn for turn")
    first, second, unit = next(row for row in like.layers if row[0] != row[1] or row[2] != 1)
    does, so = turn_name(puzzle, first, 1), turn_name(puzzle, second, unit)
    if all(row[0] == row[1] for row in like.layers):
        return sentence(
            f"{other} are moved like {one}{aside}, by the same layers turned otherwise: what "
            f"{does} does to the ones, {so} does to the others"
        )
    return sentence(
        f"{other} are moved like {one}{aside}, by other layers: what {does} does to {one}, {so} "
        f"does to {other}"
    )


def turn_name(puzzle: Puzzle, layer: int, amount: int) -> str:
    """Return how a turn of a layer is written, the layer's name where it does not stop there."""
    name = puzzle.layers[layer].name
    for number, turn in enumerate(puzzle.turns):
        if turn.layer == name and turn.amount == amount % puzzle.layers[layer].steps:
            return turn_text(puzzle, number)
    return name


def order_text(own: Anatomy, raised: bool = True) -> str:
    """Return where the order comes from: "8!·3⁸ (corners) · 12!·2¹² (edges), divided by 3 · 2²".

    Not ``raised``, a formula without words: "8! * 3^8 * 12! * 2^12 / (3 * 2^2)".
    """

    def power(base: str, exponent: int) -> str:
        if exponent == 1:
            return base
        return base + (str(exponent).translate(_RAISED) if raised else f"^{exponent}")

    def one(part: Arranged) -> str:
        factors = [f"{part.pieces}!"] if part.pieces > 1 else []
        if part.twists > 1:
            alone = part.pieces == 1
            factors.append(power(f"{part.twists}", part.times if alone else part.pieces))
        text = ("·" if raised else " * ").join(factors)
        if part.times > 1 and part.pieces > 1:
            text = power(f"({text})", part.times)
        kind = own.puzzle.types[part.type]
        return f"{text} ({plural(kind.name, kind.count)})" if raised else text

    sign = " · " if raised else " * "
    product = sign.join(one(part) for part in own.arranged) or "1"
    factors = Counter(law.factor for law in own.group.laws if law.factor > 1)
    if not factors:
        return product
    below = sign.join(power(str(n), times) for n, times in sorted(factors.items(), reverse=True))
    if raised:
        return f"{product}, divided by {below} for the laws below"
    return f"{product} / ({below})" if sign in below else f"{product} / {below}"


def types_like(own: Anatomy) -> list[tuple[tuple[int, ...], str]]:
    """Return for types by number that move as types of the catalogue what they move as."""
    said: dict[str, list[int]] = {}
    for kind in own.puzzle.types:
        text = _like([like for like in own.types_like if like.type == kind.number])
        if text:
            said.setdefault(text, []).append(kind.number)
    return [(tuple(numbers), text) for text, numbers in said.items()]


def _like(found: Sequence[TypeLike]) -> str:
    if not found:
        return ""
    first = found[0]
    aside = "" if first.with_twist else ", twist aside"
    words = f"move as the {plural(first.known_type)} of the {first.puzzle}{aside}"
    others = list(dict.fromkeys(like.puzzle for like in found if like.puzzle != first.puzzle))
    if others:
        more = "" if len(others) <= SAID else " and more"
        words += f" (also in {', '.join(others[:SAID])}{more})"
    return words


def all_layers_like(own: Anatomy) -> list[str]:
    """Return what layers make alone, as sentences; what is the same by other layers shares one."""
    by_puzzle: dict[object, list[LayersLike]] = {}
    for like in own.layers_like:
        key = (like.kinds, like.held, like.made_of, like.riding, like.more)
        by_puzzle.setdefault(key, []).append(like)
    by_layers: dict[object, list[list[LayersLike]]] = {}
    for likes in by_puzzle.values():
        first = likes[0]
        names = tuple(like.puzzle for like in likes)
        sort = (first.held is None, first.made_of, first.riding, first.more)
        by_layers.setdefault((names, len(first.layers), sort), []).append(likes)
    return [
        layers_like(own, rows[0][0], [like.puzzle for like in rows[0][1:]], len(rows) - 1)
        for rows in by_layers.values()
    ]


def layers_like(
    own: Anatomy, like: LayersLike, also: Sequence[str] = (), other_layers: int = 0
) -> str:
    """Return what some layers make alone: "The faces alone make the 3x3x3: …".

    ``also`` are puzzles that are made in the same way; so many ``other_layers`` make it, too.
    """
    puzzle = own.puzzle
    here = sorted(puzzle.layer_numbers[name] for _, name in like.layers)
    makes = "makes" if len(here) == 1 else "make"
    kinds = [own.kinds[k] for k in like.kinds]
    if like.held is not None:
        piece = slot_names(puzzle)[like.held]
        who = f"while {piece} stays where it is, the {layers_in_words(puzzle, here)}"
    elif len(kinds) == len(own.kinds):
        who = "all layers together"
    elif all(kind.words.startswith("layer") for kind in kinds):
        who = f"the {layers_in_words(puzzle, here)} alone"
    else:
        who = f"{in_words(kinds)} alone"
    if other_layers:
        who += f", and {other_layers} other choice{'s' if other_layers > 1 else ''} of as many,"
    text = f"{who} {makes} the {like.puzzle}"
    if also:
        text += f" (also the {joined(also)})"
    made = []
    for name, pieces in like.made_of:
        if len(pieces) == 1 and pieces[0][1] == 1:
            word = puzzle.types[pieces[0][0]].name
            if word != name:
                made.append(f"its {plural(name)} are the {plural(word)}")
            continue
        parts = [_counted(puzzle, count, number) for number, count in pieces]
        made.append(f"{_article(name)} {name} of it is {joined(parts)}")
    whole = {number for _, pieces in like.made_of for number, _ in pieces}
    if like.riding:
        some = [f"{'some of ' if n in whole else ''}{the_types(puzzle, [n])}" for n in like.riding]
        made.append(f"{joined(some)} only go round with single layers")
    if like.more:
        made.append(f"besides, {the_types(puzzle, like.more)} are moved in ways of their own")
    return sentence(f"{text}: {'; '.join(made)}" if made else text)


def _article(name: str) -> str:
    return "an" if name[0] in "aeiou" else "a"


def _counted(puzzle: Puzzle, count: int, number: int) -> str:
    name = puzzle.types[number].name
    word = _NUMBERS[count] if count < len(_NUMBERS) else str(count)
    return f"{word} {plural(name, count)}"


_WHAT = {
    TWIST: "one of them twisted",
    TWISTS: "two of them twisted",
    SWAP: "two of them swapped",
    CYCLE: "three of them cycled",
    SWAPS: "two pairs of them swapped",
}


def refused(own: LeastOf) -> list[tuple[str, str]]:
    """Return kinds of effect that a type's pieces cannot have alone, and why not."""
    result = []
    for kind, law in own.refused:
        why = law.text if law is not None else "No sequence has it, all arrangements counted."
        result.append((kind, why))
    return result


def nothing_alone(own: Anatomy, least: LeastOf) -> str:
    """Return why pieces of a type have no small effect alone."""
    many = plural(own.puzzle.types[least.type].name)
    if _all_fastened(own.puzzle, least.type):
        return f"Each of the {many} is fastened to other pieces, so none moves alone."
    if least.alone == 1:
        laws = [law.text for law in own.ties if least.type in law.types]
        because = f": {laws[-1][0].lower()}{laws[-1][1:]}" if laws else "."
        return f"The {many} cannot be changed while all else stays{because}"
    if least.alone is not None:
        some = f"{least.alone - 1:,}" if least.alone <= MOST_SAID else "many"
        kinds = joined([_WHAT[kind] for kind, _ in least.refused])
        return (
            f"None of these leaves all but the {many} alone: {kinds}; {some} other effects on "
            "them do."
        )
    kinds = joined([_WHAT[kind] for kind, _ in least.refused])
    return f"The {many} have no small effect alone: not {kinds}." if kinds else ""


def fastened(puzzle: Puzzle) -> str:
    """Return which pieces are fastened together, where there are many only what they are.

    "UFR to UF; DBL to DB", or "8 times one tip and three petals".
    """
    if len(puzzle.bonds) <= MOST_BODIES:
        names = slot_names(puzzle)
        return "; ".join(" to ".join(names[slot] for slot in group) for group in puzzle.bonds)
    bodies = Counter(
        tuple(sorted(Counter(int(puzzle.type_of[slot]) for slot in group).items()))
        for group in puzzle.bonds
    )
    return "; ".join(
        f"{times} times {joined([_counted(puzzle, count, number) for number, count in body])}"
        for body, times in bodies.items()
    )


def _all_fastened(puzzle: Puzzle, number: int) -> bool:
    """Return whether every piece of a type is fastened to pieces of other types."""
    held = {slot: group for group in puzzle.bonds for slot in group}
    return all(
        any(int(puzzle.type_of[other]) != number for other in held.get(slot, ()))
        for slot in puzzle.types[number].slots
    )
