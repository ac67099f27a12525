"""Where the time of one check goes: ``stages.py FILE`` in a process of its own.

Functions that the pipeline calls are replaced by ones that look at the clock and call them.
What a stage calls that has a line of its own is not counted twice.
"""

from __future__ import annotations

import sys
import time

BEGUN = time.perf_counter(), time.process_time()

import json
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Callable

STAGES = (
    ("reading and decoding", "motemap.pipeline.frame", "load_frame"),
    ("to cells of linear light", "motemap.load.reduction.reduce", "reduce_samples"),
    ("flattening", "motemap.pipeline.judging", "flatten"),
    ("measuring and sorting", "motemap.pipeline.judging", "find_marks"),
    ("detection", "motemap.pipeline.finding", "detect"),
    ("stack distance", "motemap.pipeline.finding", "fit_stack"),
    ("dust on the lens", "motemap.pipeline.finding", "find_lens_dust"),
    ("fitness of the shot", "motemap.pipeline.judging", "check_shot"),
    ("sizes and forecasts", "motemap.pipeline.judging", "report_spots"),
)
IMPORTS, REST = "importing", "verdict and report"


class Clock:
    """Adds up what each stage takes, what it calls by itself left out."""

    def __init__(self) -> None:
        self.taken: dict[str, list[float]] = {}
        self._inner: list[list[float]] = []

    def watched(self, name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """Return a function that does the work and looks at the clock before and after."""

        def timed(*args: Any, **more: Any) -> Any:
            self._inner.append([0.0, 0.0])
            begun = now()
            try:
                return work(*args, **more)
            finally:
                took = [end - start for end, start in zip(now(), begun, strict=True)]
                inner = self._inner.pop()
                self._add(name, [all_ - part for all_, part in zip(took, inner, strict=True)])
                if self._inner:
                    self._inner[-1] = [a + b for a, b in zip(self._inner[-1], took, strict=True)]

        return timed

    def _add(self, name: str, own: list[float]) -> None:
        before = self.taken.get(name, [0.0, 0.0])
        self.taken[name] = [a + b for a, b in zip(before, own, strict=True)]


def now() -> tuple[float, float]:
    """Return wall and processor time [s]."""
    return time.perf_counter(), time.process_time()


def timed_check(path: Path) -> dict[str, list[float]]:
    """Check a file; return wall and processor time of every stage [s]."""
    from motemap.pipeline import frame
    from motemap.report.forms import render
    from motemap.settings import Settings

    clock = Clock()
    modules = [import_module(place) for _, place, _ in STAGES]
    begun = now()
    imported = [end - start for end, start in zip(begun, BEGUN, strict=True)]
    for module, (name, _, function) in zip(modules, STAGES, strict=True):
        # Not put back: this process is for nothing else.
        setattr(module, function, clock.watched(name, getattr(module, function)))
    report = frame.analyse(path, Settings())
    render((report,), Settings(), form="text")
    whole = [end - start for end, start in zip(now(), begun, strict=True)]
    known = [sum(each[at] for each in clock.taken.values()) for at in range(2)]
    taken = {name: clock.taken[name] for name, _, _ in STAGES if name in clock.taken}
    return {
        IMPORTS: imported,
        **taken,
        REST: [all_ - part for all_, part in zip(whole, known, strict=True)],
    }


if __name__ == "__main__":
    print(json.dumps(timed_check(Path(sys.argv[1]))))
