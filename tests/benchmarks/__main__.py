"""``python -m tests.benchmarks [names…]``: measure and print tables; all without a name."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator

from tests.benchmarks import joins
from tests.benchmarks.answering import answering
from tests.benchmarks.balls import balls
from tests.benchmarks.commands import commands
from tests.benchmarks.compiling import compiling
from tests.benchmarks.frames import frames
from tests.benchmarks.large import large
from tests.benchmarks.leases import leases
from tests.benchmarks.methods import methods
from tests.benchmarks.pages import pages
from tests.benchmarks.reference import reference
from tests.benchmarks.serving import serving
from tests.benchmarks.slices import slices
from tests.benchmarks.solving import solving
from tests.benchmarks.stopping import stopping
from tests.benchmarks.tables import Table
from tests.benchmarks.workers import workers

BENCHMARKS: dict[str, Callable[[bool], Iterator[Table]]] = {
    "join": joins.join,
    "catalogue": joins.catalogue,
    "large": large,
    "balls": balls,
    "commands": commands,
    "reference": reference,
    "compiling": compiling,
    "serving": serving,
    "leases": leases,
    "slices": slices,
    "workers": workers,
    "stopping": stopping,
    "answering": answering,
    "frames": frames,
    "solving": solving,
    "methods": methods,
    "pages": pages,
}


def main(names: list[str]) -> int:
    """Run the benchmarks with these names, in order; return the exit status."""
    unknown = [name for name in names if name not in BENCHMARKS]
    if unknown:
        known = " ".join(BENCHMARKS)
        print(f"there is no benchmark {unknown[0]!r}; there are {known}", file=sys.stderr)
        return 2
    for name in names or BENCHMARKS:
        print(f"## {name}\n\nLoad before: {os.getloadavg()[0]:.1f} of {os.cpu_count()} cores.\n")
        for table in BENCHMARKS[name](False):
            print(table.markdown(), end="\n\n", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
