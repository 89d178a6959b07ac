"""Practice in a browser: which case is asked when, over weeks; what is kept, saved and read in."""

from __future__ import annotations

import json
import random
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from service.pages.statics import statics
from tests.pages.everybody import PHONE, axe, for_everybody
from tests.pages.practising import NAME, PATIENCE, PRACTICE, answer, case, kept, practising, today
from tests.pages.test_reading_pages import MOST_BYTES, visiting
from tests.service.api.harness import Served

#: After how many days a case is asked again that was known so often in a row: what was asked for.
DAYS = {1: 1, 2: 2, 3: 4, 4: 8, 5: 16, 6: 16, 7: 16}


class Person:
    """What a case ought to be asked when: a model beside the page's own, with nothing of it."""

    def __init__(self) -> None:
        self.row: dict[str, int] = {}
        self.due: dict[str, date] = {}

    def answers(self, own: str, knew: bool, day: date) -> None:
        self.row[own] = self.row.get(own, 0) + 1 if knew else 1
        self.due[own] = day + timedelta(DAYS[self.row[own]])


def test_cases_are_asked_on_their_days_for_six_weeks(chrome: Any, site: Served) -> None:
    """With the page left open, loaded anew, and not looked at for some days; a day has 25 hours."""
    chance, person = random.Random(6), Person()
    with practising(chrome, site) as visit:
        page = visit.page
        ids = page.eval_on_selector_all(".cases > li", "all => all.map((li) => li.dataset.id)")
        assert len(ids) == 4
        seen = 0
        for number in range(42):
            day = today(page)
            assert day == date(2026, 10, 10) + timedelta(number)
            # For some days nobody looks at it, so that more than one is late.
            while number not in (5, 6, 7, 20) and case(page):
                own = case(page)
                late = {one: due for one, due in person.due.items() if due <= day}
                if late:
                    assert late[own] == min(late.values())
                else:
                    assert own not in person.due
                # Known more often than not, so that the longer times come as well.
                knew = chance.random() < 0.85
                assert answer(page, knew) == own
                seen += 1
                person.answers(own, knew, day)
                told = {one: date.fromisoformat(row["due"]) for one, row in kept(page).items()}
                assert told == person.due
            if number not in (5, 6, 7, 20):
                assert set(person.due) == set(ids)
                assert min(person.due.values()) > day
                first = min(person.due.values())
                words = f"{first:%A}, {first.day} {first:%B} {first.year}"
                assert words in page.locator("#asked").inner_text()
            page.clock.fast_forward("24:00:00")
            if number % 9 == 0:
                page.reload()
                page.locator("#drill").wait_for(timeout=PATIENCE)
        assert max(person.row.values()) >= 5, "the longest time was tried"
        assert seen > 20


def test_each_answer_in_turn(chrome: Any, site: Served) -> None:
    """1, 2, 4, 8, 16, 16, and 1, 2 again after a miss; what is known early changes nothing."""
    with practising(chrome, site) as visit:
        page = visit.page
        for _ in range(4):
            answer(page, True)
        assert case(page) == ""
        page.locator("#drill").focus()
        page.keyboard.press("g")
        own = case(page)
        before = kept(page)[own]
        answer(page, True)
        early = kept(page)[own]
        assert (early["due"], early["days"]) == (before["due"], before["days"])
        assert early["knew"] == 2
        waited = []
        for knew in (True, True, True, True, True, False, True, True):
            gap = (date.fromisoformat(kept(page)[own]["due"]) - today(page)).days
            waited.append(gap)
            page.clock.fast_forward(gap * 24 * 3_600_000)
            while case(page) != own:
                answer(page, True)
            answer(page, knew)
        assert waited == [1, 2, 4, 8, 16, 16, 1, 2]
        row = kept(page)[own]
        assert (row["knew"], row["missed"]) == (9, 1)
        # A miss counts at any time.
        page.keyboard.press("g")
        other = case(page)
        answer(page, False)
        assert kept(page)[other]["due"] == (today(page) + timedelta(1)).isoformat()


def test_never_the_same_twice_in_a_row(chrome: Any, site: Served) -> None:
    """Also when nothing is due, and after the page was loaded anew."""
    with practising(chrome, site) as visit:
        page, order = visit.page, []
        for number in range(24):
            if not case(page):
                page.locator("#drill").focus()
                page.keyboard.press("g")
            order.append(answer(page, number % 3 > 0))
            if number in (9, 15):
                page.reload()
                page.locator("#drill").wait_for(timeout=PATIENCE)
        assert all(one != other for one, other in pairwise(order))
        assert len(set(order[:4])) == 4, "new ones come before what was asked"


def test_the_next_case_of_any_state(chrome: Any, site: Served) -> None:
    """Against the rule in other words, on many made-up states."""
    chance = random.Random(8)
    states: list[Any] = []
    for _ in range(300):
        ids = [f"{k:016x}" for k in range(chance.randint(1, 5))]
        days = {one: f"2026-11-{chance.randint(1, 28):02}" for one in ids if chance.random() < 0.7}
        states.append([ids, days, chance.choice([None, *ids]), chance.random()])
    script = """async ([href, states]) => {
      const { next, anyway } = await import(href);
      return states.map(([ids, days, last, random]) => {
        const answers = new Map(Object.entries(days).map(([id, due]) => [id, { due }]));
        const chance = () => random;
        return [next(ids, answers, "2026-11-14", last, chance), anyway(ids, last, chance)];
      });
    }"""
    with visiting(chrome, site) as visit:
        visit.open("/clubs")
        found = visit.page.evaluate(script, [statics().href("schedule.js"), states])
    for (ids, days, last, _), (choice, early) in zip(states, found, strict=True):
        late = sorted((due, one) for one, due in days.items() if due <= "2026-11-14")
        new = [one for one in ids if one not in days]
        others = [(due, one) for due, one in late if one != last]
        if others:
            wanted = {one for due, one in others if due == others[0][0]}
        elif new and new != [last]:
            wanted = set(new) - {last}
        else:
            wanted = {one for _, one in late} or set(new)
        assert (choice["id"] in wanted) if wanted else choice is None
        assert early["id"] in ids
        assert early["id"] != last or len(ids) == 1


def test_an_answer_is_taken_back(chrome: Any, site: Served) -> None:
    with practising(chrome, site) as visit:
        page = visit.page
        first = answer(page, True)
        second = answer(page, False)
        page.keyboard.press("u")
        assert case(page) == second
        assert set(kept(page)) == {first}
        assert page.get_by_role("button", name="Take the last answer back").count() == 0


def saved(page: Any, name: str = "Save them as a file") -> str:
    with page.expect_download() as coming:
        page.get_by_role("button", name=name).click()
    return Path(coming.value.path()).read_text()


def read_in(page: Any, text: str, name: str = "trefoil-practice.json") -> str:
    file = {"name": name, "mimeType": "application/json", "buffer": text.encode()}
    page.evaluate("document.querySelector('#memory-said').textContent = ''")
    page.locator("#memory-file").set_input_files(file)
    page.locator("#memory-said:not(:empty)").wait_for()
    return str(page.locator("#memory-said").inner_text())


def test_answers_are_saved_and_read_in(chrome: Any, site: Served) -> None:
    with practising(chrome, site) as visit:
        page = visit.page
        for knew in (True, False, True):
            answer(page, knew)
        text, there = saved(page), kept(page)
        assert json.loads(text)["cases"] == there
        older = json.loads(text)
        page.get_by_role("button", name="Forget answers").click()
        page.get_by_role("button", name="Keep them").click()
        assert kept(page) == there
        page.get_by_role("button", name="Forget answers").click()
        page.get_by_role("button", name="Forget all 3").click()
        assert kept(page) == {}
        assert "New." in page.locator(".when").first.inner_text()
        assert read_in(page, text).startswith("3 cases read: 3 were not here, 0 have a newer")
        assert kept(page) == there
        # Of each case the newest answer stays, wherever it is.
        page.clock.fast_forward("48:00:00")
        page.reload()
        page.locator("#counts").get_by_text("3 due").wait_for(timeout=PATIENCE)
        own = answer(page, True)
        newer = kept(page)[own]
        assert "0 have a newer answer than here, 3 stay" in read_in(page, json.dumps(older))
        assert kept(page)[own] == newer
        del older["cases"][own]
        changed = next(iter(older["cases"].values()))
        changed.update(at=newer["at"], days=8, due="2026-10-20")
        assert "1 have a newer answer than here, 1 stay" in read_in(page, json.dumps(older))
        assert [row["due"] for row in kept(page).values()].count("2026-10-20") == 1
    with practising(chrome, site) as visit:
        # Another browser, in which nothing is known.
        assert "3 were not here" in read_in(visit.page, text)
        assert saved(visit.page) == text


ROW = {
    "puzzle": "3x3x3",
    "asked": "three",
    "days": 1,
    "due": "2026-10-11",
    "at": "2026-10-10T12:00:00.000Z",
    "knew": 1,
    "missed": 0,
}
ID = "0123456789abcdef"


def whole(**changed: Any) -> str:
    row = {name: value for name, value in {**ROW, **changed}.items() if value is not ...}
    return json.dumps({"trefoil": "practice", "version": 1, "cases": {ID: row}})


BAD = {
    "": "no JSON",
    "<script>alert(1)</script>": "no JSON",
    "[]": "it holds something else",
    "null": "it holds something else",
    '{"trefoil": "bench", "version": 1, "cases": {}}': "it holds something else",
    '{"trefoil": "practice", "version": 2, "cases": {}}': "its version is 2; this page reads",
    '{"trefoil": "practice", "version": 1}': "its cases are missing",
    '{"trefoil": "practice", "version": 1, "cases": []}': "its cases are missing",
    '{"trefoil": "practice", "version": 1, "cases": {}, "more": 1}': '"more", which is not known',
    '{"trefoil": "practice", "version": 1, "cases": {"x": {}}}': 'case "x": its name is not one',
    '{"trefoil": "practice", "version": 1, "cases": {"__proto__": {}}}': "its name is not one",
    whole(days=3): "days is 3; one of 1, 2, 4, 8, 16",
    whole(days="1"): 'days is "1"',
    whole(due="2026-02-30"): 'due is "2026-02-30"; a day such as',
    whole(due=5): "due is 5",
    whole(due="2027-10-11"): "more than 1 days after the answer",
    whole(at="yesterday"): 'at is "yesterday"; a moment',
    whole(at="2030-01-01T00:00:00.000Z", due="2030-01-02"): "is yet to come",
    whole(knew=-1): "knew is -1; a whole number",
    whole(missed=1.5): "missed is 1.5",
    whole(asked="x" * 201): "asked: a text of up to 200",
    whole(puzzle=None): "puzzle: a text of up to 200",
    whole(at=...): "at is missing",
    whole(more=1): '"more" is not known',
    "x" * 2_000_001: "at most 2,000,000 are read",
}


def test_bad_files_are_told_in_one_sentence_and_not_taken(chrome: Any, site: Served) -> None:
    with practising(chrome, site) as visit:
        page = visit.page
        answer(page, True)
        before = kept(page)
        for text, says in BAD.items():
            told = read_in(page, text, "other.json")
            assert told.startswith("Other.json was not taken: ")
            assert says in told, told
            assert told.count(". ") == 0
            assert kept(page) == before
        assert read_in(page, whole()).startswith("1 case read")


def test_two_windows(chrome: Any, site: Served) -> None:
    """What is answered or forgotten in one is known in the other, and neither loses an answer."""
    with practising(chrome, site) as visit:
        one = visit.page
        other = one.context.new_page()
        other.goto(visit.host + PRACTICE)
        other.locator("#drill").wait_for(timeout=PATIENCE)
        first = answer(one, True)
        other.locator(f"#drill:not([data-case='{first}'])").wait_for()
        other.locator("#counts").get_by_text("3 new").wait_for()
        second = answer(other, True)
        third = answer(one, False)
        assert set(kept(one)) == {first, second, third}
        assert len({first, second, third}) == 3
        assert kept(other) == kept(one)
        one.get_by_role("button", name="Forget answers").click()
        one.get_by_role("button", name="Forget the 3 of this puzzle").click()
        other.locator("#counts").get_by_text("4 new").wait_for()
        own = answer(other, True)
        assert set(kept(one)) == {own}


@pytest.mark.parametrize(
    "script",
    [
        "Object.defineProperty(window, 'localStorage', "
        "{ get() { throw new DOMException('denied', 'SecurityError'); } })",
        "Storage.prototype.setItem = () => { throw new DOMException('full', 'QuotaError') }",
    ],
)
def test_a_browser_that_keeps_nothing(chrome: Any, site: Served, script: str) -> None:
    with visiting(chrome, site, reduced_motion="reduce", accept_downloads=True) as visit:
        page = visit.page
        page.add_init_script(script)
        visit.open(PRACTICE)
        notice = page.locator("#memory-notice").get_by_role("alert")
        assert "answers count for this visit alone" in notice.inner_text()
        answers = [answer(page, True), answer(page, False)]
        page.locator("#counts").get_by_text("2 new, 2 later").wait_for()
        assert set(json.loads(saved(page))["cases"]) == set(answers)
        assert read_in(page, whole(at="2026-01-01T12:00:00.000Z", due="2026-01-02")).startswith("1")


@pytest.mark.parametrize("text", ['{"trefoil": "prac', '{"version": 9}', "mixed"])
def test_what_cannot_be_read_stays_until_somebody_decides(
    chrome: Any, site: Served, text: str
) -> None:
    if text == "mixed":
        told = json.loads(whole())
        told["cases"]["fedcba9876543210"] = {"days": "many"}
        text = json.dumps(told)
    with practising(chrome, site) as visit:
        page = visit.page
        page.evaluate(f"text => localStorage.setItem('{NAME}', text)", text)
        page.reload()
        page.locator("#drill").wait_for(timeout=PATIENCE)
        notice = page.locator("#memory-notice").get_by_role("alert").inner_text()
        assert "cannot be read" in notice
        own = answer(page, True)
        stored = f"localStorage.getItem('{NAME}')"
        assert page.evaluate(stored) == text
        assert axe(page) == []
        assert saved(page, "Save it as a file") == text
        if ID in text:
            page.get_by_role("button", name="Go on with the 1 case that can be read").click()
            assert set(kept(page)) == {own, ID}
        else:
            page.get_by_role("button", name="Begin anew without it").click()
            assert set(kept(page)) == {own}
        assert page.locator("#memory-notice .wrong").count() == 0


def test_the_sequence_is_stepped_through_from_the_case(chrome: Any, site: Served) -> None:
    told = {one["id"]: one for one in site.client.get(f"/api{PRACTICE}").json()["cases"]}
    with practising(chrome, site, reduced_motion="no-preference") as visit:
        page = visit.page
        for _ in range(4):
            own = told[case(page)]
            page.get_by_role("button", name="See the sequence").click()
            strip = page.locator("#strip .strip")
            strip.wait_for(timeout=PATIENCE)
            assert own["notation"] in page.locator("#revealed").inner_text()
            labels = [one.get_attribute("aria-label") for one in strip.locator("button.part").all()]
            turns = " ".join(label.partition(", ")[2].partition(":")[0] for label in labels)
            assert turns == own["written"]
            page.locator("#stepping input[type=range]").fill(str(len(turns.split())))
            total = len(turns.split())
            assert page.locator("#stepping output").inner_text().startswith(f"{total} of {total}")
            page.get_by_role("button", name="Knew it").click()
        assert page.locator("#stepping").is_hidden()
        assert page.locator("#asked").inner_text().startswith("Nothing is due.")


def test_the_clock_runs_unless_somebody_does_not_want_it(chrome: Any, site: Served) -> None:
    with practising(chrome, site, reduced_motion="no-preference") as visit:
        page = visit.page
        page.clock.run_for(75_000)
        page.locator("#clock").get_by_text("1 min 15 s").wait_for()
        page.get_by_role("checkbox", name="clock").uncheck()
        assert page.locator("#clock").is_hidden()
        page.reload()
        page.locator("#drill").wait_for(timeout=PATIENCE)
        assert not page.get_by_role("checkbox", name="clock").is_checked()
        page.get_by_role("button", name="See the sequence").click()
        assert page.locator("#said").inner_text() == ""
    with practising(chrome, site) as visit:
        # Where nothing is to move, the time is said at the end.
        assert visit.page.locator("#clock").is_hidden()
        visit.page.clock.run_for(12_000)
        visit.page.get_by_role("button", name="See the sequence").click()
        assert "It took 12 s" in visit.page.locator("#said").inner_text()


def test_by_keys_alone(chrome: Any, site: Served) -> None:
    """From the top of the page by the tab key; elsewhere than in this part, letters do nothing."""
    with practising(chrome, site) as visit:
        page = visit.page
        page.locator("#memory-file").focus()
        page.keyboard.press("r")
        assert page.locator("#revealed").count() == 0
        page.evaluate("document.activeElement.blur(); document.querySelector('.skip').focus()")
        for _ in range(30):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.dataset.does") == "reveal":
                break
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "revealed"
        page.keyboard.press("2")
        assert page.evaluate("document.activeElement.dataset.does") == "reveal"
        assert "Not yet: asked again" in page.locator("#said").inner_text()
        page.keyboard.press("Control+1")
        page.keyboard.press("1")
        assert len(kept(page)) == 1, "nothing is answered that was not seen"


def test_by_a_finger_on_a_phone(chrome: Any, site: Served) -> None:
    with practising(chrome, site, viewport=PHONE, has_touch=True, is_mobile=True) as visit:
        page = visit.page
        page.get_by_role("button", name="See the sequence").tap()
        page.locator("#strip .strip").wait_for(timeout=PATIENCE)
        assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
        for name in ("Knew it", "Not yet"):
            box = page.get_by_role("button", name=name).bounding_box()
            assert box["height"] >= 44
            assert 0 <= box["y"] <= PHONE["height"] - box["height"] + 1, (
                "in sight without scrolling"
            )
        page.get_by_role("button", name="Not yet").tap()
        assert len(kept(page)) == 1


def test_the_page_is_for_everybody(chrome: Any, site: Served) -> None:
    with practising(chrome, site) as visit:
        page = visit.page

        def look(name: str) -> None:
            for_everybody(page, f"practice-{name}")

        page.locator("#drill canvas").wait_for(timeout=PATIENCE)
        page.wait_for_load_state("networkidle")
        assert visit.weight() < MOST_BYTES
        look("asked")
        page.get_by_role("button", name="See the sequence").click()
        page.locator("#strip .strip").wait_for(timeout=PATIENCE)
        look("seen")
        page.keyboard.press("1")
        for _ in range(3):
            answer(page, True)
        page.get_by_role("button", name="Forget answers").click()
        look("later")


@pytest.mark.parametrize("name", ["ball-sixths-218", "5x5x5"])
def test_the_page_is_light(chrome: Any, site: Served, name: str) -> None:
    with practising(chrome, site, f"/puzzles/{name}/practice") as visit:
        visit.page.locator("#drill canvas").wait_for(timeout=PATIENCE)
        visit.page.wait_for_load_state("networkidle")
        assert visit.weight() < MOST_BYTES


def test_without_the_script_there_is_a_list(chrome: Any, site: Served) -> None:
    told = site.client.get(f"/api{PRACTICE}").json()["cases"]
    with visiting(chrome, site, java_script_enabled=False) as visit:
        visit.open(PRACTICE)
        page = visit.page
        assert page.locator("#drill").is_hidden()
        assert page.locator(".cases > li").count() == len(told) == 4
        for own, row in zip(told, page.locator(".cases > li").all(), strict=True):
            assert row.locator(".answer").is_hidden()
            row.locator("summary").first.click()
            assert own["sequence"] in row.locator(".answer").inner_text()
