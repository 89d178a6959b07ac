"""A browser for the tests of pages: Debian's chromium, started once, and a server for our files."""

from __future__ import annotations

import os
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

import pytest

from puzzles import load
from puzzles.drawing import drawing

if TYPE_CHECKING:
    from playwright.sync_api import Browser

STATIC = Path(__file__).parents[2] / "service" / "pages" / "static"
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
#: What pages of the service may do: nothing from elsewhere, nothing inline.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:"
)

PAGE = """<!doctype html><html lang="en"><meta charset="utf-8"><title>A drawing</title>
<link rel="stylesheet" href="/drawing.css"><link rel="stylesheet" href="/page.css">
<link rel="icon" href="data:,"><main><div id="box"></div></main>
<script type="module" src="/page.js"></script></html>"""
STYLE = "body { margin: 0 } #box { width: 480px } .small #box { width: 320px }"
SCRIPT = """import { Drawing, KEYS } from "./drawing.js";
import * as state from "./state.js";
Object.assign(window, { Drawing, KEYS, state });
window.show = async (name, options) => {
  window.drawing?.destroy();
  const canvas = document.createElement("canvas");
  document.querySelector("#box").replaceChildren(canvas);
  const data = await (await fetch("/drawings/" + encodeURIComponent(name))).json();
  const own = new Drawing(canvas, data, options);
  window.drawing = own;
  window.events = [];
  for (const type of ["pick", "point", "view"]) {
    own.addEventListener(type, (event) => window.events.push([type, event.detail]));
  }
};
document.documentElement.dataset.ready = "yes";
"""
TYPES = {".js": "text/javascript", ".css": "text/css", ".html": "text/html"}


def chromium() -> str:
    """Return the path of chromium; skips the test where there is none, fails it under CI."""
    path = shutil.which("chromium")
    reason = "no chromium: apt-get install chromium"
    if path is None and os.environ.get("CI") == "true":
        pytest.fail(reason)
    if path is None:
        pytest.skip(reason)
    return path


@contextmanager
def browser() -> Iterator[Browser]:
    """Start a browser."""
    path = chromium()
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        reason = "no playwright: pip install -e '.[test]'"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    with sync_playwright() as own:
        started = own.chromium.launch(executable_path=path, args=list(FLAGS))
        yield started
        started.close()


class _Handler(BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        path = self.path.split("?", maxsplit=1)[0]
        own = {"/": (PAGE, ".html"), "/page.js": (SCRIPT, ".js"), "/page.css": (STYLE, ".css")}
        if path in own:
            text, suffix = own[path]
        elif path.startswith("/drawings/"):
            text, suffix = drawing(load(unquote(path.removeprefix("/drawings/")))).text(), ".json"
        else:
            file = STATIC / Path(path).name
            if not file.is_file():
                self.send_error(404)
                return
            text, suffix = file.read_text(), file.suffix
        body = text.encode()
        self.send_response(200)
        self.send_header("Content-Type", TYPES.get(suffix, "application/json"))
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Content-Security-Policy", POLICY)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing."""


@contextmanager
def served() -> Iterator[str]:
    """Serve a page with a drawing from this machine; the address is yielded."""
    server = ThreadingHTTPServer(("127.0.0.1", 0), _Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()
    thread.join()
