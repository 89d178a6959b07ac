"""What happens when the service is killed and disks are full: real processes, real signals."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from tests.service.processes import LEASE_SECONDS, Service, serving, until

#: Workers give way to all else, so that much else makes them slow; nothing takes so many seconds.
LONG = 300.0


def test_service_killed_with_fifty_accepted_searches(tmp_path: Path) -> None:
    store = tmp_path / "store.sqlite"
    with serving(store) as service:
        ids = []
        for k in range(50):
            # Other times make other jobs; all of them come to the same.
            answer = service.post({**small("UFR UBL DFL"), "seconds": 100 + k})
            assert answer.status_code == 202, answer.text
            ids.append(answer.json()["id"])
        until(lambda: state(service, ids[2]) == "done", LONG, "the end of the third search")
        service.tell(signal.SIGKILL)
        service.ended()
    with serving(store) as service:
        for one in ids:
            until(lambda one=one: state(service, one) == "done", LONG, "the end of a search")
        ended = [service.client.get(f"/api/searches/{one}").json()["answer"] for one in ids]
        assert len(set(ids)) == 50
        # Each result says for itself how long it was allowed to take.
        assert len({answer.pop("result") for answer in ended}) == 50
        assert all(answer == ended[0] for answer in ended)
        assert ended[0]["answers"]


def small(cycle: str) -> dict[str, Any]:
    return {"puzzle": "3x3x3", "cycle": cycle.split(), "half_length": 6}


def state(service: Service, one: str) -> str:
    return str(service.client.get(f"/api/searches/{one}").json()["state"])


# --- A disk that is full ------------------------------------------------------------------------


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of its own with room for 4 MB."""
    place = tmp_path / "disk"
    place.mkdir()
    with mounted(place):
        yield place


@contextmanager
def mounted(place: Path) -> Iterator[None]:
    program = shutil.which("mount")
    if program is None or os.geteuid() != 0:
        pytest.skip("only the superuser may mount a small disk")
    made = subprocess.run(
        [program, "-t", "tmpfs", "-o", "size=4m", "tmpfs", str(place)], capture_output=True
    )
    if made.returncode:
        pytest.skip("a small disk cannot be mounted here")
    try:
        yield
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


def fill(place: Path) -> Path:
    """Fill a disk to the last byte, and return the file that does it."""
    filler = place / "filler"
    with filler.open("wb", buffering=0) as file:
        for size in (65_536, 4_096, 512, 1):
            try:
                while file.write(b"x" * size):
                    pass
            except OSError:
                continue
    return filler


def test_full_disk_is_said_and_recovered_from(small_disk: Path) -> None:
    path = small_disk / "store.sqlite"
    with serving(path) as service:
        before = service.post(small("UFR UBL DFL"), Prefer="wait=20")
        assert before.status_code == 200, before.text
        filler = fill(small_disk)
        refused = service.post(small("UF UB DF"))
        assert refused.status_code == 503, refused.text
        assert refused.headers["content-type"] == "application/problem+json"
        assert int(refused.headers["retry-after"]) > 0
        assert "cannot be had just now" in refused.json()["detail"]
        # What and where is wrong is for the log alone.
        until(lambda: any("no room for it on the disk" in line for line in service.err))
        assert service.client.get("/readyz").status_code == 503
        # What was found before can be read as ever.
        again = service.post(small("UFR UBL DFL"))
        assert (again.status_code, again.json()["answer"]) == (200, before.json()["answer"])
        filler.unlink()
        until(lambda: service.client.get("/readyz").status_code == 200, 20.0, "readiness")
        after = service.post(small("UF UB DF"), Prefer="wait=20")
        assert after.status_code == 200, after.text
        assert after.json()["state"] == "done"
    with closing(sqlite3.connect(path)) as file:
        assert file.execute("pragma integrity_check").fetchone() == ("ok",)


def test_search_at_work_waits_for_room_on_the_disk(small_disk: Path) -> None:
    with serving(small_disk / "store.sqlite") as service:
        asked = service.post({**small("UFR UBL DFL"), "half_length": 9})
        assert asked.status_code == 202
        one = asked.json()["id"]
        until(lambda: state(service, one) == "running")
        filler = fill(small_disk)
        time.sleep(1.5 * LEASE_SECONDS)
        filler.unlink()
        until(lambda: state(service, one) in ("done", "failed"), LONG, "the end")
        ended = service.client.get(f"/api/searches/{one}").json()
        assert ended["state"] == "done", (ended["reason"], service.err)
