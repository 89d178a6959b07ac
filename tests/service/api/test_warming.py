"""What is made before anybody asks: the first page then needs no reader."""

from __future__ import annotations

import asyncio
import re
from pathlib import Path

from service.api.warming import FIRST, warm
from service.stores.base import StoreError
from service.stores.sqlite import SqliteStore
from tests.service.api.harness import Away, Inline, serving


def test_the_first_page_then_needs_no_reader(tmp_path: Path) -> None:
    with serving(tmp_path) as served:
        assert isinstance(served.readers, Inline)
        asyncio.run(warm(served.app.state.service))
        before = len(served.readers.asked)
        assert before == 1 + FIRST
        page = served.client.get("/", headers={"Accept": "text/html"}).text
        eager = [tag for tag in re.findall("<img[^>]*>", page) if "lazy" not in tag]
        pictures = [one for tag in eager for one in re.findall('src="(/api/[^"]*)"', tag)]
        assert len(pictures) == FIRST
        for href in pictures:
            assert served.client.get(href).status_code == 200
        assert len(served.readers.asked) == before
    # After a new start it is read from the store.
    with serving(tmp_path) as served:
        assert isinstance(served.readers, Inline)
        asyncio.run(warm(served.app.state.service))
        assert served.readers.asked == []


def test_a_store_that_is_away_harms_nothing(tmp_path: Path) -> None:
    store = Away(SqliteStore(tmp_path / "store.sqlite"), lambda: StoreError("it is away", 1))
    with serving(tmp_path, store=store) as served:  # type: ignore[arg-type]
        store.away = True
        asyncio.run(warm(served.app.state.service))
        store.away = False
