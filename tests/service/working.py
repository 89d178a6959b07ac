"""A job done in this process, plan by plan and part by part, for tests of what works do."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from service.desk import Desk
from service.questions import Question
from service.stores.base import State, Store
from service.works.base import Deal, End
from service.works.kinds import work_for


def ended(
    store: Store,
    kind: str,
    spec: dict[str, Any],
    going: Callable[[], bool] = lambda: True,
    told: list[dict[str, Any]] | None = None,
) -> End:
    """Return how a job of a kind ends; ``going`` says at each tick whether to go on.

    What ticks tell is added to ``told``.
    """

    def tick(news: dict[str, Any] | None = None) -> bool:
        if news and told is not None:
            told.append(news)
        return going()

    work, stage, parts = work_for(kind), 0, list[bytes]()
    while True:
        made = work.plan(store, spec, stage, parts, 0.0, tick)
        if isinstance(made, End):
            return made
        assert isinstance(made, Deal)
        parts = [work.part(store, spec, payload, 0.0, tick) for payload in made.parts]
        stage += 1


def answered(store: Store, question: Question) -> dict[str, Any]:
    """Return what is answered to a question, after its job was done."""
    desk = Desk(store)
    asked = desk.ask(question)
    if asked.body is not None:
        final: dict[str, Any] = json.loads(asked.body)
        return final
    end = ended(store, asked.kind, json.loads(asked.spec))
    assert end.state is State.DONE, end
    content = store.things.get("result", end.outcome["result"])
    assert content is not None
    report: dict[str, Any] = json.loads(desk.answer(question, content, end.outcome))
    return report
