"""How long a page takes for a frame of a drawing in which both the view and a layer turn."""

from __future__ import annotations

from collections.abc import Iterator

from puzzles import file
from tests.benchmarks.tables import Table, against
from tests.pages.browser import browser, served

#: A frame at 60 a second, in seconds.
FRAME = 0.016
#: The puzzle that others are measured beside.
BESIDE = "3x3x3"
FRAMES = 240

#: Frames as a page paints them, read back so that what was painted is there; in milliseconds.
SCRIPT = """async ([name, count]) => {
  await show(name);
  const { tables, ctx } = drawing;
  const turns = tables.turnNames.length;
  drawing.set(Array.from({ length: 20 }, (_, k) => (7 * k + 3) % turns));
  const times = [];
  for (let k = 0; k < count + 20; k++) {
    drawing.spin(0.02, 0.01);
    const begun = performance.now();
    drawing.hold(Math.floor(k / 30) % turns, (k % 30) / 30);
    ctx.getImageData(0, 0, 1, 1);
    if (k >= 20) times.push(performance.now() - begun);
    if (k % 20 === 0) await new Promise((resolve) => setTimeout(resolve));
  }
  return times.sort((a, b) => a - b);
}"""


def frames(small: bool = False) -> Iterator[Table]:
    """Paint every catalogue puzzle in chromium, without a graphics card, on 480 by 480 pixels."""
    names = [BESIDE] if small else [BESIDE, *(n for n in file.catalogue() if n != BESIDE)]
    rows: list[list[str]] = []
    beside = 0.0
    with browser() as chrome, served() as address:
        page = chrome.new_page(viewport={"width": 600, "height": 600})
        page.add_init_script(
            "const own = HTMLCanvasElement.prototype.getContext;"
            "HTMLCanvasElement.prototype.getContext = function (kind) {"
            " return own.call(this, kind, { willReadFrequently: true }); };"
        )
        page.goto(address)
        page.wait_for_selector("html[data-ready]", state="attached")
        for name in names:
            times = page.evaluate(SCRIPT, [name, 20 if small else FRAMES])
            tenth, median, worst = times[len(times) // 10], times[len(times) // 2], times[-1]
            beside = beside or tenth
            own = [f"{value:.1f} ms" for value in (tenth, median, worst)]
            rows.append([name, *own, f"{tenth / beside:.1f}", against(median / 1000, FRAME)])
    notes = ["One frame in ten takes no longer than the first figure; others at work lengthen all."]
    head = ["puzzle", "one in ten", "median", "worst", f"beside {BESIDE}", "median within"]
    yield Table("Frames of a drawing", head, rows, notes)
