"""The sheet: what stands on it, that it fits the paper, and that it is read in black and white."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from html import unescape
from itertools import permutations
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

import numpy as np
import pytest

from puzzles import load
from puzzles.notation import parse
from puzzles.paint import BODY, face_paint, pale
from puzzles.state_picture import ground, stage
from service.limits import Limits
from tests.pages.everybody import PHONE, PICTURES, WIDE, for_everybody, unfolded
from tests.pages.test_reading_pages import MOST_BYTES, founded, visiting
from tests.painted_svg import picture
from tests.plain import assert_three_cycle, named, plain
from tests.service.api.harness import Served, serving

#: A three-cycle, common practice: the third line of facts on the trade, with L' slipped in.
THIRD = "R U R' U' L' U R U' R' L"
#: Another, of nine turns, which the simulator confirms wherever it is used.
NINE = "[F: [R', [F: L2]]]"
#: Points of a print are 1/72 inch; an edge of this many must be blank, 12 mm being 34.
EDGE = 30
PAPERS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
SVG = re.compile(r"<svg.*?</svg>", re.DOTALL)


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Return a service without workers, in which nothing is searched."""
    with serving(tmp_path_factory.mktemp("sheets")) as served:
        served.client.headers["Accept"] = "text/html"
        yield served


def address(puzzle: str, **query: str) -> str:
    text = "&".join(f"{name}={quote(value)}" for name, value in query.items())
    return f"/puzzles/{puzzle}/sheet?{text}"


def told(served: Served, puzzle: str, **query: str) -> dict[str, Any]:
    reply = served.client.get(f"/api{address(puzzle, **query)}")
    assert reply.status_code == 200, reply.text
    found: dict[str, Any] = reply.json()
    return found


def outlined(page: str) -> str:
    """Return a page with outlines in the place of references to them."""
    shapes = {
        number: (kind, more)
        for kind, number, more in re.findall(r'<(polygon|path) id="lies-(\d+)" ([^>]*)/>', page)
    }

    def outline(found: re.Match[str]) -> str:
        kind, more = shapes[found[1]]
        return f'<{kind} {more} fill="{found[2]}"/>'

    return re.sub(r'<use href="#lies-(\d+)" fill="([^"]*)"/>', outline, page)


def step_pictures(page: str, number: int) -> list[str]:
    """Return the pictures of a strip: one after each turn, and the last, with their outlines."""
    page = outlined(page)
    section = re.search(
        rf'<section class="strip[^"]*" aria-labelledby="strip-{number}">.*?</section>',
        page,
        re.DOTALL,
    )
    assert section is not None
    every = SVG.findall(section[0])
    return every[1:]


@pytest.mark.parametrize("text", [THIRD, NINE, "R U2 F' L"])
def test_each_picture_of_a_strip_shows_what_turning_points_gives(sheets: Served, text: str) -> None:
    """Middle pictures and the last, against the plain simulator."""
    puzzle = load("3x3x3")
    page = sheets.client.get(address("3x3x3", sequence=text)).text
    (strip,) = told(sheets, "3x3x3", sequence=text)["strips"]
    word = parse(puzzle, strip["written"]).word
    assert (
        plain(puzzle).sticker_effect(named(puzzle, word)).tolist()
        == plain(puzzle).sticker_effect(named(puzzle, parse(puzzle, text).word)).tolist()
    )
    drawn = step_pictures(page, 1)
    assert len(drawn) == len(word) + 1
    shared = re.search(r'<g id="(ground-(\d+))">(.*?)</g>', page, re.DOTALL)
    assert shared is not None
    holding = int(shared[2])
    assert shared[3] == ground(puzzle, holding)
    paint = face_paint(puzzle.body)
    simulator = plain(puzzle)
    for done, one in enumerate([*range(1, len(word) + 1), len(word)]):
        shown = picture(drawn[done].replace(f'<use href="#{shared[1]}"/>', shared[3]))
        effect = simulator.sticker_effect(named(puzzle, word[:one])).tolist()
        for k, place in enumerate(effect):
            normal = puzzle.body.faces[puzzle.stickers[place].face].normal
            view = next(v for v in stage(puzzle, holding).views if normal @ v.toward > 0)
            corner = puzzle.stickers[place].outline * 0.35
            x, y = view.paper(corner[0] + puzzle.stickers[place].outline.mean(axis=0) * 0.65)
            found = shown.at(x, y)
            assert found is not None
            colour, _ = paint[puzzle.stickers[k].face]
            # A number, or the head of the arrow, may lie over a sticker.
            if found.fill not in ("#000000", "#FFFFFF", BODY):
                assert found.fill == (pale(colour) if place == k else colour)


def test_parts_are_those_of_the_brackets(sheets: Served) -> None:
    (strip,) = told(sheets, "3x3x3", sequence=THIRD)["strips"]
    assert [(part["label"], part["turns"]) for part in strip["parts"]] == [
        ("A", "R U R' U'"),
        ("insert", "L'"),
        ("undo A", "U R U' R'"),
        ("insert back", "L"),
    ]
    assert [step["motion"] for step in strip["parts"][0]["steps"]] == [
        "right up",
        "top left",
        "right down",
        "top right",
    ]
    # From DESIGN, common practice: [R U R' U', L'] is UFL to RBU to BLU.
    assert strip["cycles"] == [["UFL", "RUB", "BUL"]]
    assert "UBL" in strip["why"]
    assert strip["why"].count(". ") == 0, "one sentence"
    (conjugate,) = told(sheets, "3x3x3", sequence=NINE, parts="strips")["strips"]
    labels = [part["label"] for part in conjugate["parts"]]
    assert labels in (
        ["setup", "A", "insert", "undo A", "insert back", "undo the setup"],
        ["A", "insert", "undo A", "insert back"],
    )


def test_pictures_in_the_json_are_links(sheets: Served) -> None:
    (strip,) = told(sheets, "2x2x2", sequence="R U R' F2")["strips"]
    links = [strip["before"], strip["after"]]
    links += [step["picture"] for part in strip["parts"] for step in part["steps"]]
    for link in links:
        reply = sheets.client.get(link)
        assert reply.status_code == 200
        assert reply.headers["content-type"] == "image/svg+xml"
        picture(reply.text)


def test_the_state_after_a_sequence_has_an_address(sheets: Served) -> None:
    base = "/api/puzzles/3x3x3/picture.svg"
    reply = sheets.client.get(base, params={"after": "R U", "cycle": "UFR,UBL,DFL"})
    assert reply.text.count("<circle") == 3
    wrong = {"after": "R Q"}, {"after": "R", "sequence": "U"}, {"after": "R", "cycle": "UFR"}
    for given in wrong:
        reply = sheets.client.get(base, params=given, headers={"Accept": "application/json"})
        assert reply.status_code == 422
        assert reply.json()["errors"][0]["parameter"] in ("after", "cycle")


def test_nonsense_is_said_and_the_rest_is_kept(sheets: Served) -> None:
    text = "R Q;R U R';<script>alert(1)</script>"
    reply = sheets.client.get(
        address("3x3x3", sequence=text, size="a0", parts="about,nix,strips", result="abc")
    )
    assert reply.status_code == 200
    assert "<script>alert" not in reply.text
    said = unescape(reply.text)
    for words in (
        "'Q' is no turn",
        "size: 'a0' was given; one of a4 letter was expected",
        "there is no part 'nix'; there are about types strips cards grid",
        "esult: 'abc' was given",
    ):
        assert words in said
    assert len(re.findall('class="strip"', reply.text)) == 1
    assert "paper-a4.css" in reply.text
    assert 'id="kinds"' not in reply.text
    nothing = sheets.client.get(address("3x3x3", sequence="Q"))
    assert nothing.status_code == 422
    assert "Types of piece" in nothing.text
    assert sheets.client.get("/puzzles/nix/sheet").status_code == 404
    missing = sheets.client.get(address("3x3x3", result="0" * 64))
    assert missing.status_code == 422
    assert "there is no result with this digest" in missing.text
    elsewhere = sheets.client.get(address("3x3x3", start="XYZ"))
    assert elsewhere.status_code == 422
    assert "XYZ" in elsewhere.text


def test_every_card_has_a_picture_that_is_there(sheets: Served) -> None:
    """Also after a sequence that cannot be read."""
    good = "[R U R' U', L']"
    page = sheets.client.get(address("3x3x3", sequence=f"R Q;R U R' U';R Q;{good}")).text
    used = re.findall(r'<use href="#(strip-[^"]*)"', page)
    assert len(used) == 2
    ids = re.findall(r' id="([^"]*)"', page)
    assert set(used) <= set(ids)
    assert len(ids) == len(set(ids))


def test_the_table_says_how_many_cycles_have_no_cell(sheets: Served) -> None:
    """Of the 8 corners, common practice: 7·6 pairs, and 9 ways to enter each but for UFL's own."""
    page = unescape(sheets.client.get(address("3x3x3", start="UFL")).text)
    assert "All cycles" not in page
    assert "42 of 378:" in page
    assert "All cycles that begin at UF.L" in sheets.client.get(address("4x4x4", start="UF.L")).text


def test_there_is_room_for_so_much(tmp_path: Path) -> None:
    limits = Limits(sheet_sequences=2, sheet_turns=5, sheet_cells=20)
    with serving(tmp_path, limits=limits) as served:
        found = told(served, "3x3x3", sequence="R;U;F;D")
        assert len(found["strips"]) == 2
        assert found["wrong"] == ["sequence: 4 were given; the first 2 were read"]
        reply = served.client.get(f"/api{address('3x3x3', sequence='R U F L D B')}")
        assert reply.status_code == 422
        assert "6 turns, one picture each; a sheet has room for 5" in reply.json()["detail"]
        grid = told(served, "3x3x3", start="UFR")["grid"]
        assert len(grid["rows"]) == 3
        assert grid["left_out"] == 42 - 18


def cells(grid: dict[str, Any]) -> Iterator[tuple[list[str], dict[str, Any]]]:
    for row in grid["rows"]:
        for third, cell in zip(grid["columns"], row["cells"], strict=True):
            if cell is not None:
                yield [grid["start"], *(cell["through"] or (row["second"], third))], cell


def assert_does(puzzle_name: str, names: list[str], sequence: str) -> None:
    from puzzles.names import read_cycle

    puzzle = load(puzzle_name)
    cycle = [int(place.placement) for place in read_cycle(puzzle, names)]  # type: ignore[arg-type]
    assert_three_cycle(puzzle, parse(puzzle, sequence).word, cycle)


def test_the_table_knows_what_the_sheet_does_held_otherwise_and_undone(sheets: Served) -> None:
    grid = told(sheets, "3x3x3", sequence=NINE, start="UFL")["grid"]
    assert grid["known"] + grid["unknown"] == 42
    assert grid["known"] >= 2
    assert grid["complete"] is None
    there = {tuple(names[1:]): cell for names, cell in cells(grid)}
    assert grid["twisted"] == sum(bool(cell["through"]) for cell in there.values())
    for names, cell in cells(grid):
        if cell["state"] == "found":
            assert_does("3x3x3", names, cell["sequence"])
            assert len(parse(load("3x3x3"), cell["sequence"]).word) == cell["turns"] == 9
    assert there["UBL", "DFR"]["state"] == "unknown"
    third = told(sheets, "3x3x3", sequence=THIRD, start="UFL")["grid"]
    assert third["twisted"] > 2, "it goes through twisted places alone"
    for names, cell in cells(third):
        if cell["state"] == "found":
            assert_does("3x3x3", names, cell["sequence"])
    page = sheets.client.get(address("3x3x3", sequence=NINE, start="UFL")).text
    assert "not known yet" in page
    assert "work=1" in page
    empty = sheets.client.get(address("3x3x3", start="UFL")).text
    assert "No sequence is known" in empty
    assert "<table>" not in empty


def test_the_table_comes_from_what_was_searched_before(site: Served, found: str) -> None:
    """Every cell against the plain simulator; ``found`` has searched the 2x2x2."""
    del found
    grid = told(site, "2x2x2", start="UFR")["grid"]
    assert grid["unknown"] == 0
    assert "from what was searched before" in grid["text"]
    every = list(cells(grid))
    assert len(every) == 6 * 5
    for names, cell in every:
        if cell["state"] == "found":
            assert_does("2x2x2", names, cell["sequence"])
    assert sum(cell["state"] == "found" for _, cell in every) == grid["known"] > 20


def test_a_cycle_and_a_result_are_shown_by_their_best(site: Served, found: str) -> None:
    digest, _, query = found.removeprefix("/results/").partition("?")
    cycle = query.removeprefix("cycle=") if query else "UFR,UBL,DFR"
    of_result = told(site, "2x2x2", result=f"{digest}:{cycle}")["strips"]
    answers = site.client.get(f"/api/results/{digest}", params={"cycle": cycle}).json()["answers"]
    leading = [one for one in answers if one["leads"]]
    assert [one["sequence"] for one in of_result] == [one["sequence"] for one in leading]
    assert [one["notation"] for one in of_result] == [one["notation"] for one in leading]
    assert of_result[0]["cycles"][0] == leading[0]["cycle"]
    asked = told(site, "2x2x2", cycle="UFR,UBL,DFR")
    while asked["waiting"]:
        asked = told(site, "2x2x2", cycle="UFR,UBL,DFR")
    assert asked["strips"][0]["turns"] == of_result[0]["turns"]
    page = site.client.get(found).text
    link = re.search(r'href="(/puzzles/2x2x2/sheet\?result=[^"]+)"', page)
    assert link is not None
    assert site.client.get(unescape(link[1])).text.count('class="strip"') == len(leading)


def test_what_is_searched_is_awaited_and_can_be_stopped(sheets: Served) -> None:
    """There is no worker, so that nothing is ever found."""
    page = sheets.client.get(address("4x4x4", cycle="UFR,UBL,DFL", sequence="R U R'")).text
    assert 'data-follow="/api/searches/' in page
    assert "Look again" in page
    assert 'class="stop" hidden' in page
    assert page.count('class="strip"') == 1
    page = sheets.client.get(address("4x4x4", start="UFR", work="1")).text
    assert "every cycle of the type corner" in page
    impossible = sheets.client.get(address("3x3x3", cycle="UFR,UBL")).text
    assert "2 names were given; three were expected" in impossible


def test_shelves_and_readings_lead_to_sheets(site: Served, found: str) -> None:
    keep = founded(site)
    digest = found.removeprefix("/results/").partition("?")[0]
    shared = {"kind": "result", "result": digest, "cycle": ["UFR", "UBL", "DFR"]}
    assert site.client.post(f"/api{keep}/items", json=shared).status_code == 201
    page = site.client.get(keep).text
    link = re.search(r'href="(/puzzles/2x2x2/sheet\?result=[^"]+)"', page)
    assert link is not None
    assert keep.rpartition("/")[2] not in link[1], "a sheet does not give the shelf away"
    assert 'class="strip"' in site.client.get(unescape(link[1])).text
    page = site.client.get("/puzzles/2x2x2/read?sequence=R+U+R'+F").text
    assert "/puzzles/2x2x2/sheet?sequence=R+U+R%27+F" in page
    shelved = 0
    for cycle in permutations(["UFR", "RFU", "FUR", "UBL", "LUB", "DFR", "FDR", "RDF"], 3):
        more = {**shared, "cycle": list(cycle)}
        shelved += site.client.post(f"/api{keep}/items", json=more).status_code == 201
    assert shelved > Limits().sheet_sequences
    link = re.search(r'href="(/puzzles/2x2x2/sheet\?result=[^"]+)"', site.client.get(keep).text)
    assert link is not None
    assert unquote(link[1]).count(digest) == Limits().sheet_sequences, "no more than a sheet takes"


LOOKED_AT = {
    "sheet": address("3x3x3", sequence=f"{THIRD};[F: [R', [F: L2]]]", start="UFL"),
    "sheet-ball": address("ball-sixths-218", sequence="[F: [R, UFR]];[UFR, R F R']", size="letter"),
    "sheet-written": address("three-wheels", sequence="[L, R]"),
    "sheet-plain": "/puzzles/dodecahedron-faces/sheet",
}


@pytest.mark.parametrize("name", LOOKED_AT)
def test_it_is_for_everybody(chrome: Any, sheets: Served, name: str) -> None:
    with visiting(chrome, sheets) as visit:
        page = visit.page
        visit.open(LOOKED_AT[name])
        assert 0 < visit.weight() < MOST_BYTES
        assert page.evaluate("document.querySelectorAll('[style]').length") == 0
        unfolded(page)
        for_everybody(page, name)


def test_it_is_laid_out_by_keyboard_without_the_script(chrome: Any, sheets: Served) -> None:
    with visiting(chrome, sheets, java_script_enabled=False) as visit:
        page, keys = visit.page, visit.page.keyboard
        visit.open("/puzzles/2x2x2/sheet")
        assert page.get_by_role("button", name="Print it").count() == 0
        page.get_by_label("Sequences, one a line").focus()
        keys.type("R U R'\n[R, U]")
        page.get_by_label("Paper").select_option("letter")
        page.get_by_role("button", name="Lay it out").focus()
        keys.press("Enter")
        page.get_by_role("heading", name="Cards to cut out").wait_for()
        assert page.locator("section.strip").count() == 2
        assert "size=letter" in page.url


def printed(visit: Any, path: Path) -> Any:
    """Return a page as it is printed, on the paper that it asks for."""
    pdfium = pytest.importorskip("pypdfium2")
    visit.page.pdf(path=str(path), prefer_css_page_size=True, print_background=True)
    return pdfium.PdfDocument(str(path))


def grey(page: Any, scale: float = 2.0) -> np.ndarray:
    """Return a printed page as greys, 0 to 255, (height, width)."""
    return np.asarray(page.render(scale=scale, grayscale=True).to_numpy()).squeeze()


@pytest.mark.parametrize(
    ("name", "size"),
    [("sheet", "a4"), ("sheet", "letter"), ("sheet-ball", "letter"), ("sheet-written", "a4")],
)
def test_it_fits_the_paper(
    chrome: Any, sheets: Served, tmp_path: Path, name: str, size: str
) -> None:
    where = LOOKED_AT[name].replace("&size=letter", "")
    where += ("&" if "?" in where else "?") + f"size={size}"
    with visiting(chrome, sheets) as visit:
        visit.open(where)
        document = printed(visit, tmp_path / "sheet.pdf")
        strips = visit.page.locator("section.strip").count()
    assert 1 <= len(document) <= 2 + strips
    for page in document:
        assert np.allclose(page.get_size(), PAPERS[size], atol=1.5)
        ink = grey(page) < 250
        edge = EDGE * 2
        for blank in (ink[:edge], ink[-edge:], ink[:, :edge], ink[:, -edge:]):
            assert not blank.any(), "nothing stands outside the margins"
        assert ink.any()
    text = "".join(page.get_textpage().get_text_range() for page in document)
    assert "Lay it out" not in text
    assert "This page as JSON" not in text
    if PICTURES:
        for number, page in enumerate(document, 1):
            pixels = np.asarray(page.render(scale=1.5).to_numpy())
            np.save(Path(PICTURES) / f"{name}-{size}-{number}.npy", pixels)


@pytest.mark.parametrize("text", [THIRD, NINE])
def test_one_sequence_fits_one_page_with_its_card(
    chrome: Any, sheets: Served, tmp_path: Path, text: str
) -> None:
    with visiting(chrome, sheets) as visit:
        visit.open(address("3x3x3", sequence=text))
        assert len(printed(visit, tmp_path / "one.pdf")) == 1


def test_the_heading_of_the_table_is_on_its_page(
    chrome: Any, sheets: Served, tmp_path: Path
) -> None:
    with visiting(chrome, sheets) as visit:
        for sequences in (THIRD, f"{THIRD};{NINE}", f"R U R' U';{THIRD};{NINE}"):
            visit.open(address("3x3x3", sequence=sequences, start="UFL"))
            pages = printed(visit, tmp_path / "table.pdf")
            texts = [page.get_textpage().get_text_range() for page in pages]
            (headed,) = (text for text in texts if "begin at UFL" in text)
            assert re.search(r"DFL\s+DFR\s+DBL", headed)


def test_ticks_stand_beside_their_words(chrome: Any, sheets: Served) -> None:
    with visiting(chrome, sheets) as visit:
        visit.open("/puzzles/3x3x3/sheet")
        for view in (WIDE, PHONE):
            visit.page.set_viewport_size(view)
            for label in visit.page.locator(".ticks label").all():
                outer, tick = label.bounding_box(), label.locator("input").bounding_box()
                assert outer
                assert tick
                assert tick["width"] < 24
                assert outer["x"] <= tick["x"] < outer["x"] + 8
                assert outer["height"] < 45


def test_no_cell_is_cut_across_pages(chrome: Any, sheets: Served, tmp_path: Path) -> None:
    """Each turn's name and motion are on the page on which its picture is: as many of all."""
    text = ";".join(" ".join([six] * 6) for six in ("R U F L D B", "U R F L D B"))
    with visiting(chrome, sheets) as visit:
        visit.open(address("3x3x3", sequence=text, parts="strips"))
        document = printed(visit, tmp_path / "long.pdf")
    assert len(document) > 1
    motions = r"right\s+up|top\s+left|front\s+clockwise|left\s+down|bottom\s+right|behind\s+anti"
    counts = []
    for page in document:
        read = page.get_textpage()
        told_here = len(re.findall(motions, read.get_text_range()))
        # Turns are larger than the letters on stickers and smaller than headings.
        tall = [
            read.get_text_range(k, 1)
            for k in range(read.count_chars())
            if 7.8 < (box := read.get_charbox(k))[3] - box[1] < 8.6
        ]
        counts.append((told_here, sum(one in "RUFLDB" for one in tall)))
    assert sum(count for count, _ in counts) == 72
    assert all(one == other for one, other in counts), counts


def test_the_code_leads_to_the_sheet(chrome: Any, sheets: Served, tmp_path: Path) -> None:
    """It is read off the printed page by a reader of codes that shares nothing with its writer."""
    zxing = pytest.importorskip("zxingcpp")
    where = address("3x3x3", sequence=THIRD)
    with visiting(chrome, sheets) as visit:
        visit.open(where)
        document = printed(visit, tmp_path / "code.pdf")
    (code,) = zxing.read_barcodes(np.ascontiguousarray(grey(document[0], 4.0)))
    assert code.text.startswith(str(sheets.client.base_url).rstrip("/"))
    reply = sheets.client.get(code.text)
    assert "[[R, U], L&#39;]" in reply.text
    rows = [" ".join("RUFLDB"[(3 * k + n) % 6] for k in range(34)) for n in range(8)]
    longest = address(
        "3x3x3", parts="cards", sequence=";".join(f"{own} {THIRD[:5]}" for own in rows)
    )
    page = sheets.client.get(longest).text
    assert "the puzzle's page" in unescape(page)


def test_types_are_told_apart_in_black_and_white(
    chrome: Any, sheets: Served, tmp_path: Path
) -> None:
    """The patterns as the browser paints them, in greys: all of their pixels differ somewhere."""
    with visiting(chrome, sheets) as visit:
        visit.open("/puzzles/ball-sixths-218/sheet")
        shot = []
        for swatch in visit.page.locator(".kinds h3 svg").all():
            png = swatch.screenshot()
            shot.append(_greys(visit.page, png))
    assert len(shot) == 7
    for k, one in enumerate(shot):
        for other in shot[:k]:
            differ = np.abs(np.array(one) - np.array(other)) > 60
            assert differ.mean() > 0.12


def _greys(page: Any, png: bytes) -> list[int]:
    """Return the luminance of each pixel of a picture, as the browser itself reads it."""
    import base64

    script = """async (data) => {
      const blob = new Blob([Uint8Array.from(atob(data), (c) => c.charCodeAt(0))]);
      const image = await createImageBitmap(blob);
      const canvas = new OffscreenCanvas(24, 24);
      const context = canvas.getContext("2d");
      context.drawImage(image, 0, 0, 24, 24);
      const { data: pixels } = context.getImageData(0, 0, 24, 24);
      const greys = [];
      for (let k = 0; k < pixels.length; k += 4) {
        const [red, green, blue] = pixels.slice(k, k + 3);
        greys.push(Math.round(0.2126 * red + 0.7152 * green + 0.0722 * blue));
      }
      return greys;
    }"""
    found: list[int] = page.evaluate(script, base64.b64encode(png).decode())
    return found


def test_the_json_is_what_the_page_shows(sheets: Served) -> None:
    page = sheets.client.get(address("3x3x3", sequence=THIRD)).text
    link = re.search(r'<a href="(/api/puzzles/3x3x3/sheet[^"]*)">This page as JSON', page)
    assert link is not None
    report = json.loads(sheets.client.get(unescape(link[1])).text)
    assert report["page"] in unescape(page).replace("%27", "'") or report["strips"]
    assert report["strips"][0]["why"].rstrip(".") in unescape(page)


def test_a_finished_atlas_fills_the_table(site: Served, sheets: Served) -> None:
    """Each cell against the plain simulator; where there is none, nothing is known elsewhere."""
    question = {"puzzle": "2x2x2", "type": "corner", "half_length": 4}
    found = site.client.post("/api/atlases", json=question, headers={"Prefer": "wait=10"}).json()
    while found["state"] in ("waiting", "running"):
        found = site.client.get(found["href"], headers={"Prefer": "wait=10"}).json()
    digest = found["result"].removeprefix("/api/results/")
    grid = told(site, "2x2x2", result=digest, start="RUF")["grid"]
    assert grid["start"] == "RUF"
    assert grid["text"].startswith("from a finished atlas")
    every = list(cells(grid))
    for names, cell in every:
        assert cell["state"] == "found"
        assert_does("2x2x2", names, cell["sequence"])
    assert len(every) == 30
    page = site.client.get(f"/results/{digest}").text
    assert f'href="/puzzles/2x2x2/sheet?result={digest}"' in page
    other = site.client.get(address("3x3x3", result=digest))
    assert other.status_code == 422
    assert "is about the puzzle 2x2x2, not about 3x3x3" in other.text
    assert told(sheets, "2x2x2", start="UFR")["grid"]["known"] == 0
