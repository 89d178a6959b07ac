"""The commands that search, asked of a service: the same printed as if it were done here."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from puzzles import file
from puzzles.errors import TrefoilError
from service import endings
from service.client import REFUSED, Search, Server, ServerError
from service.output import IMPOSSIBLE, NONE_FOUND, print_json, print_text, say, write_file
from service.reports import Report
from service.watching import Stopper, Watcher

if TYPE_CHECKING:
    from pathlib import Path

#: The address of a posted puzzle.
ADDRESS = re.compile("p-[0-9a-f]{16}")
#: Prints a report and returns the exit status.
Show = Callable[[Report], int]


def find(
    address: str,
    puzzle: str,
    question: dict[str, Any],
    show: Show,
    json: bool,
    share: bool,
    picture: Path | None,
) -> int:
    """Ask a service for sequences; print them and return the exit status.

    ``picture`` is drawn by the service. With ``share`` the link to the result's page is printed at
    the end, or stands under ``link`` in JSON.
    """
    with _Asked(address, puzzle) as own:
        search = own.answered("/api/searches", question)
        report = search["answer"]
        if picture is not None and report.get("answers"):
            write_file(picture, own.picture(report))
        link = own.link(search) if share else ""
        if json and link:
            report["link"] = link
        status = _shown(report, show, json)
    if share and not json:
        _print_link(link)
    return status


def atlas(address: str, puzzle: str, question: dict[str, Any], show: Show, json: bool) -> int:
    """Ask a service for an atlas; print it and return the exit status."""
    with _Asked(address, puzzle) as own:
        return _shown(own.answered("/api/atlases", question)["answer"], show, json)


def cover(address: str, puzzle: str, question: dict[str, Any], show: Show, json: bool) -> int:
    """Ask a service what a favourite reaches; print it and return the exit status."""
    with _Asked(address, puzzle) as own:
        return _shown(own.told("covers", question), show, json)


class _Asked:
    """A service that is asked about a puzzle, with a bar, and Ctrl-C that stops the search there.

    A puzzle that is a file here is posted first, and has its own name again in all that comes back.
    """

    def __init__(self, address: str, puzzle: str) -> None:
        self._stopper, self._watcher = Stopper(), Watcher()
        self._server = Server(address, self._stopper)
        self._name = self._there = puzzle

    def __enter__(self) -> _Asked:
        self._server.__enter__()
        return self

    def __exit__(self, *error: Any) -> None:
        self._server.__exit__(*error)

    def told(self, place: str, question: dict[str, Any]) -> Report:
        """Return what the service says at once of the puzzle, at an address beside the puzzle's."""
        with self._stopper.listening(), self._watcher.watching():
            try:
                self._post_puzzle()
                path = f"/api/puzzles/{self._there}/{place}"
                report = self._server.told(self._server.send("POST", path, question))
            except ServerError as error:
                raise ServerError(self._named(str(error)), error.status) from None
        named: Report = self._renamed(report)
        return named

    def answered(self, path: str, question: dict[str, Any]) -> Search:
        """Return the search for a question, with an answer, when it is over."""
        with self._stopper.listening(), self._watcher.watching() as watch:
            try:
                self._post_puzzle()
                search = self._server.ask(path, {"puzzle": self._there, **question})
                search = self._server.followed(search, watch.far)
            except ServerError as error:
                raise ServerError(self._named(str(error)), error.status) from None
        if search["state"] == "failed":
            raise ServerError(self._named(str(search.get("reason") or "the search failed")))
        report = self._renamed(search.get("answer"))
        stopped = self._stopper.pressed and search["state"] != "done"
        if report is None and stopped:
            report = _nothing_yet(self._name, question, search)
        if not isinstance(report, dict):
            raise ServerError(f"{self._server.address} has lost the answer; ask once more")
        report.pop("result", None)
        if stopped:
            report |= {"stopped": True, "stopped_by": endings.PERSON}
        return {**search, "answer": report}

    def link(self, search: Search) -> str:
        """Return the link to the page of a search's result, empty where it has none.

        The same address under /api has it as JSON.
        """
        place = search.get("page")
        there = isinstance(place, str) and place.startswith("/results/")
        return f"{self._server.address}{place}" if there else ""

    def picture(self, report: Report) -> str:
        """Return a picture of the cycle or the effect that a report is about, as SVG."""
        from urllib.parse import urlencode

        marked = {"cycle": ",".join(report["cycle"])} if "cycle" in report else {}
        query = urlencode(marked or {"effect": "".join(report["effect"])}, safe=",")
        reply = self._server.send("GET", f"/api/puzzles/{self._there}/picture.svg?{query}")
        return self._named(reply.body.decode("utf-8", "replace"))

    def _post_puzzle(self) -> None:
        if self._name in file.catalogue() or ADDRESS.fullmatch(self._name):
            return
        name, text = file.found(self._name)
        # What is wrong with the file itself is said here, with its path.
        file.parse(text, self._name)
        try:
            self._there = self._server.post_puzzle(text)
        except ServerError as error:
            if error.status != REFUSED:
                raise
            from service.works.compiling import WHERE

            said = str(error).removeprefix(f"{WHERE}: ")
            raise ServerError(f"{self._name}: {said}", error.status) from None
        self._name = name

    def _named(self, text: str) -> str:
        """Return text with the puzzle's own name where the service's address for it stands."""
        return text if self._there == self._name else text.replace(self._there, self._name)

    def _renamed(self, value: Any) -> Any:
        if isinstance(value, str):
            return self._named(value)
        if isinstance(value, list):
            return [self._renamed(one) for one in value]
        if isinstance(value, dict):
            return {name: self._renamed(one) for name, one in value.items()}
        return value


def _shown(report: Report, show: Show, json: bool) -> int:
    """Print a report; return the exit status."""
    if "impossible" in report and "searched" not in report:
        text = str(report.get("reason", ""))
        if json:
            print_json({"reason": text})
        else:
            say(text)
        return IMPOSSIBLE if report["impossible"] else NONE_FOUND
    report.pop("impossible", None)
    try:
        return show(report)
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        if isinstance(error, TrefoilError):
            raise
        raise ServerError(
            "the answer of the service cannot be read here; it may be of another version"
        ) from None


def _print_link(link: str) -> None:
    if link:
        print_text(link)
    else:
        say("there is no link: nothing was searched")


def _nothing_yet(name: str, question: dict[str, Any], search: Search) -> Report:
    """Return the report of a search that was stopped before it had an answer."""
    half_length = int((search.get("progress") or {}).get("half_length") or 0)
    report: Report = {
        "puzzle": name,
        "answers": [],
        "left_out": 0,
        "searched": {
            "half_length": half_length,
            "setup": question.get("setup"),
            "complete": None,
            "text": f"searched to half-length {half_length}",
        },
        "unseen": False,
        "stopped_by": endings.PERSON,
    }
    if "effect" in question:
        report["effect"] = [question["effect"]]
    elif "cycle" in question:
        report["cycle"] = question["cycle"]
    sentence = endings.nothing(endings.PERSON, "", half_length)
    return {**report, "stopped": True, "reason": sentence.rstrip(".")}
