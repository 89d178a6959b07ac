"""The README is true: its commands run, its examples say what stands there, settings are named."""

from __future__ import annotations

import json
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from puzzles.compile import compiled
from puzzles.file import parse
from service.limits import table
from tests.service.processes import Service, serving

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    """Return the README's fenced blocks of a language, "" for none."""
    found = re.findall(r"^```(\w*)\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
    return [block for name, block in found if name == language]


def commands() -> list[str]:
    lines = [line for block in blocks("sh") for line in block.splitlines()]
    return [line.split("#")[0].strip() for line in lines if line.startswith("trefoil ")]


def run(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    start = [sys.executable, "-c", "import sys; from service.cli import main; sys.exit(main())"]
    environment = {**os.environ, "TREFOIL_CACHE": str(folder / "searches"), "COLUMNS": "100"}
    return subprocess.run(
        [*start, *shlex.split(command)[1:]],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


@pytest.mark.parametrize("command", commands())
def test_commands_run(command: str, tmp_path: Path) -> None:
    done = run(command, tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stdout


def test_there_are_commands() -> None:
    assert len(commands()) >= 9


def test_shown_output_is_printed(tmp_path: Path) -> None:
    """Every line under a `$ trefoil` prompt is printed so, as far as it is not cut with an …"""
    shown = [block for block in blocks("") if block.startswith("$ trefoil")]
    assert len(shown) == 6
    for block in shown:
        first, *lines = block.splitlines()
        done = run(first[2:].split("#")[0].strip(), tmp_path)
        said = " ".join((done.stdout + done.stderr).split())
        for line in lines:
            words = " ".join(line.split())
            if words and words != "…":
                assert words in said, words


def test_the_puzzle_files_compile() -> None:
    cube, ball, written = (compiled("example", parse(text, "README")) for text in blocks("toml"))
    assert cube.types[0].name == "corner"
    assert (ball.types[0].name, ball.slot_count) == ("tip", 170)
    assert written.slot_count == 14


def test_the_library_example_runs() -> None:
    (text,) = blocks("python")
    names: dict[str, Any] = {}
    exec(compile(text, "README.md", "exec"), names)
    assert "three-cycle" in names["found"].answers[0].why


def test_every_setting_is_named() -> None:
    source = "".join(
        (ROOT / "service" / name).read_text(encoding="utf-8")
        for name in ("settings.py", "options.py")
    )
    names = set(re.findall(r"TREFOIL_[A-Z_]+[A-Z]", source))
    assert len(names) >= 14
    for name in names:
        assert f"`{name}" in README, name


def test_the_table_of_limits_is_the_one_in_force() -> None:
    """As `python -m service.limits` prints it."""
    assert table() in README


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    """The README's service, at a free port."""
    with serving(tmp_path / "store.sqlite") as own:
        yield own


def test_the_commands_of_the_service_run(service: Service, tmp_path: Path) -> None:
    """In order, each with what came before; those about files of the store come at the end."""
    lines = [line for block in blocks("bash") for line in block.splitlines() if line]
    first, *others = lines
    assert first.startswith("trefoil serve ")
    address = str(service.client.base_url).rstrip("/")
    store = str(tmp_path / "store.sqlite")
    known = {"PATH": os.environ["PATH"], "TREFOIL_STORE": store, "TREFOIL_CACHE": ""}
    (tmp_path / "my-puzzle.toml").write_text(blocks("toml")[0])
    said: dict[str, str] = {}
    for line in others:
        if line.startswith("trefoil restore"):
            service.tell()
            service.ended()
        begin = f"{shlex.quote(sys.executable)} -P -m service.cli "
        command = line.replace("http://127.0.0.1:8000", address)
        command = re.sub("^trefoil ", begin, command)
        command = re.sub("^curl ", "curl -sS --fail-with-body --max-time 60 ", command)
        done = subprocess.run(
            ["bash", "-c", command],
            cwd=tmp_path,
            env=known,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, (line, done.stdout, done.stderr)
        said[line] = done.stdout
        if "/api/clubs --json" in line:
            links = json.loads(done.stdout)["links"]
            known |= {one["role"].upper(): f"{address}{one['href']}" for one in links}
    told = "".join(service.out + service.err)
    assert "/api/clubs/{key}/items" in told
    assert not any(link.rpartition("/")[2] in told for link in known.values() if "/clubs/" in link)
    outputs = list(said.values())
    # The link, the search, the search again, its events, and the search once more.
    link = outputs[0].splitlines()[-1]
    search = json.loads(outputs[1])
    assert link == address + search["page"]
    assert json.loads(outputs[2]) == search
    assert f'"id": "{search["id"]}"' in outputs[3]
    assert search["answer"]["answers"][0]["turns"] == 12
    effect = json.loads(next(text for line, text in said.items() if "/effects" in line))
    # Two pairs of edges change places (common practice).
    assert (effect["order"], effect["pieces_moved"]) == (2, 4)
    assert (tmp_path / "cycle.svg").read_text().startswith("<svg")
    posted = next(text for line, text in said.items() if "@my-puzzle.json" in line)
    assert set(json.loads(posted)) >= {"name", "description"}
    note = next(text for line, text in said.items() if "kind=note" in line)
    assert [item["text"] for item in json.loads(note)["items"]] == ["Edges first."]


def test_ci_calls_the_test_command_of_the_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    install, test = (block.strip() for block in blocks("sh")[:2])
    assert test in script
    assert install.startswith("python3 -m venv .venv")
