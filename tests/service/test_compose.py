"""The compose file: what it promises, and its services as processes with their own commands."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import signal
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import httpx
import pytest
import yaml

from service.settings import ServiceSettings, service_settings
from tests.service.processes import until
from tests.service.redis_server import free_port, need_server

ROOT = Path(__file__).parents[2]
FILE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES: dict[str, Any] = FILE["services"]
OURS = ("service", "worker")


# --- What it promises ---------------------------------------------------------------------------


def test_it_has_redis_one_service_and_workers_that_scale() -> None:
    assert set(SERVICES) == {"redis", *OURS}
    assert SERVICES["worker"]["deploy"]["replicas"] >= 1
    assert "ports" not in SERVICES["worker"]
    assert "container_name" not in SERVICES["worker"]


def test_redis_keeps_everything_on_a_volume() -> None:
    command = SERVICES["redis"]["command"]
    options = dict(zip(command[1::2], command[2::2], strict=True))
    assert options["--appendonly"] == "yes"
    assert options["--maxmemory-policy"] == "noeviction"
    [volume] = SERVICES["redis"]["volumes"]
    name, _, place = volume.partition(":")
    assert name in FILE["volumes"]
    assert place == options["--dir"]


def test_only_this_machine_can_call_the_service_and_nobody_redis() -> None:
    published = [port for each in SERVICES.values() for port in each.get("ports", [])]
    assert published
    assert all(port.startswith("127.0.0.1:") for port in published)
    assert "ports" not in SERVICES["redis"]


@pytest.mark.parametrize("name", SERVICES)
def test_what_dies_is_begun_again_and_may_leave_in_peace(name: str) -> None:
    assert SERVICES[name]["restart"] == "unless-stopped"
    assert re.fullmatch(r"\d+s", SERVICES[name]["stop_grace_period"])


@pytest.mark.parametrize("name", OURS)
def test_image_has_what_it_needs_and_runs_as_nobody_special(name: str) -> None:
    build = SERVICES[name]["build"]
    lines = [line for line in build["dockerfile_inline"].splitlines() if line]
    copied = [word for line in lines if line.startswith("COPY") for word in line.split()[1:-1]]
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    wanted = project["tool"]["hatch"]["build"]["targets"]["wheel"]["packages"]
    assert {"pyproject.toml", project["project"]["readme"], *wanted} <= set(copied)
    assert all((ROOT / build["context"] / path).exists() for path in copied)
    assert ".[redis]" in build["dockerfile_inline"]
    assert "redis" in project["project"]["optional-dependencies"]
    # Nothing of it is run by root, the last lines neither.
    users = [line.split()[1] for line in lines if line.startswith("USER")]
    assert users == ["trefoil"]
    version = re.match(r"FROM python:(\d+)\.(\d+)", lines[0])
    assert version is not None
    assert tuple(map(int, version.groups())) >= (3, 11)
    assert SERVICES[name]["depends_on"]["redis"]["condition"] == "service_healthy"


@pytest.mark.parametrize("name", OURS)
def test_every_variable_is_a_setting(name: str) -> None:
    assert set(SERVICES[name]["environment"]) <= set(ServiceSettings("").environment())


def test_settings_can_be_read(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in OURS:
        for variable, value in SERVICES[name]["environment"].items():
            monkeypatch.setenv(variable, value)
    settings = service_settings()
    assert settings.store.startswith("redis://")
    assert settings.broker != settings.store


# --- As processes -------------------------------------------------------------------------------


class Composed:
    """The services of the file as processes of this machine.

    Commands, environments and checks are those of the file; names of services become this machine,
    their ports free ones, the volume a folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._ports = {"6379": str(free_port()), "8000": str(free_port())}
        self.address = f"http://127.0.0.1:{self._ports['8000']}"
        self.running: dict[str, list[subprocess.Popen[bytes]]] = {}

    def start(self, name: str) -> subprocess.Popen[bytes]:
        [program, *arguments] = [self._here(word) for word in SERVICES[name]["command"]]
        process = subprocess.Popen(
            [self._program(program), *arguments], env=self._environment(name), cwd=self._folder
        )
        self.running.setdefault(name, []).append(process)
        return process

    def healthy(self, name: str) -> bool:
        """Return whether the service's own check says so."""
        check = SERVICES[name]["healthcheck"]["test"]
        assert check[0] == "CMD"
        program, *arguments = map(self._here, check[1:])
        done = subprocess.run(
            [self._program(program), *arguments],
            env=self._environment(name),
            capture_output=True,
            check=False,
            timeout=10,
        )
        return done.returncode == 0

    def end(self) -> None:
        """Tell all to leave, in the order in which compose does, and see that they do."""
        ended: list[tuple[str, int | None]] = []
        for name in ("worker", "service", "redis"):
            grace = float(SERVICES[name]["stop_grace_period"].rstrip("s"))
            processes = self.running.pop(name, [])
            for process in processes:
                process.send_signal(signal.SIGTERM)
            for process in processes:
                with contextlib.suppress(subprocess.TimeoutExpired):
                    process.wait(grace)
                ended.append((name, process.poll()))
                process.kill()
                process.wait()
        assert all(status == 0 for _, status in ended), ended

    def _here(self, text: str) -> str:
        [volume] = SERVICES["redis"]["volumes"]
        if text == volume.partition(":")[2]:
            return str(self._folder)
        text = re.sub(rf"//({'|'.join(SERVICES)}):", "//127.0.0.1:", text)
        text = text.replace("0.0.0.0", "127.0.0.1")
        for port, free in self._ports.items():
            text = re.sub(rf"\b{port}\b", free, text)
        return text

    def _environment(self, name: str) -> dict[str, str]:
        given = SERVICES[name].get("environment", {})
        inherited = {name: text for name, text in os.environ.items() if "TREFOIL" not in name}
        return {**inherited, **{variable: self._here(text) for variable, text in given.items()}}

    def _program(self, name: str) -> str:
        if name == "python":
            return sys.executable
        beside = Path(sys.executable).parent / name
        found = str(beside) if beside.exists() else shutil.which(name)
        assert found is not None, f"{name} is not installed"
        return found


@pytest.fixture
def composed(tmp_path: Path) -> Iterator[Composed]:
    need_server()
    made = Composed(tmp_path)
    with ExitStack() as stack:
        stack.callback(made.end)
        made.start("redis")
        until(lambda: made.healthy("redis"), 10.0, "redis")
        made.start("service")
        for _ in range(SERVICES["worker"]["deploy"]["replicas"]):
            made.start("worker")
        until(lambda: made.healthy("service"), 60.0, "the service")
        yield made


def test_a_search_is_answered_by_what_the_file_starts(composed: Composed) -> None:
    question = {"puzzle": "3x3x3", "cycle": ["UFR", "UBL", "DFL"], "half_length": 6}
    with httpx.Client(base_url=composed.address, timeout=30.0) as client:
        posted = client.post("/api/searches", json=question, headers={"Prefer": "wait=20"})
        assert posted.status_code in (200, 202), posted.text
        place = posted.headers.get("Location") or posted.json()["href"]

        def done() -> bool:
            return bool(client.get(place).json()["state"] == "done")

        until(done, 30.0, "the answer")
        search = client.get(place).json()
        assert search["answer"]["answers"][0]["turns"] == 12
        again = client.post("/api/searches", json=question)
        assert again.status_code == 200
        assert again.json()["answer"] == search["answer"]
