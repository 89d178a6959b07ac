"""A real Redis server of its own for tests, on a free port and in a temporary folder."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import time
from pathlib import Path

import pytest
import redis

PROGRAM = shutil.which("redis-server")


def need_server() -> None:
    """Skip the test where there is no redis-server; on a machine that checks all, fail."""
    if PROGRAM is not None:
        return
    if os.environ.get("CI", "").lower() == "true":
        pytest.fail("redis-server is not installed, and CI=true asks for every test")
    pytest.skip("redis-server is not installed")


class RedisServer:
    """A server that can be killed and started again on the same port and folder."""

    def __init__(self, folder: Path, keeps: bool = True, *options: str) -> None:
        """``keeps``: with an append-only file. ``options`` go on the command line."""
        self.folder = folder
        self.port = free_port()
        kept = ["--appendonly", "yes" if keeps else "no", "--save", ""]
        self._options = [*kept, "--maxmemory-policy", "noeviction", *options]
        self._process: subprocess.Popen[bytes] | None = None

    def address(self, database: int = 0) -> str:
        return f"redis://127.0.0.1:{self.port}/{database}"

    def start(self) -> None:
        assert PROGRAM is not None
        place = ["--port", str(self.port), "--bind", "127.0.0.1", "--dir", str(self.folder)]
        self._process = subprocess.Popen(
            [PROGRAM, *place, *self._options], stdout=subprocess.DEVNULL
        )
        client = redis.Redis(port=self.port, socket_timeout=1)
        for _ in range(500):
            try:
                client.ping()
                break
            except redis.RedisError:
                assert self._process.poll() is None, "redis-server did not start"
                time.sleep(0.01)
        client.close()

    def kill(self) -> None:
        """End it as a power cut does."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            self._process = None

    def empty(self) -> None:
        """Take everything out of all its databases, and its scripts too."""
        with redis.Redis(port=self.port) as client:
            client.flushall()
            client.script_flush()


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])
