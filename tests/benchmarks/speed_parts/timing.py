"""Whole processes, run in turns, with what the system says each of them used."""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from motemap.cli.main import THREAD_VARIABLES

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

NO_BYTECODE: Final = "PYTHONDONTWRITEBYTECODE"
"""Where it is set, every run of a program that was not installed compiles it anew."""
BENCHMARKS: Final = Path(__file__).resolve().parents[1]
LAUNCHER: Final = Path(__file__).with_name("launch.py")
JUDGED: Final = frozenset({0, 3, 4})
"""Ends of a check that are no fault."""


@dataclass(slots=True, kw_only=True)
class Timing:
    """What runs of one command took.

    Parameters
    ----------
    wall_s, cpu_s : list of float
        Of each run; processor time of its own and of the processes it started.
    peak_mb : float
        Largest memory of any of its processes in any run.
    """

    wall_s: list[float] = field(default_factory=list)
    cpu_s: list[float] = field(default_factory=list)
    peak_mb: float = 0.0

    def figures(self) -> dict[str, float]:
        """Return the figures that are kept."""
        return {
            "wall_min_s": min(self.wall_s),
            "wall_median_s": statistics.median(self.wall_s),
            "cpu_min_s": min(self.cpu_s),
            "cpu_median_s": statistics.median(self.cpu_s),
            "peak_mb": self.peak_mb,
            "n_runs": len(self.wall_s),
        }


def in_turns(commands: Mapping[str, Sequence[str]], n_times: int) -> dict[str, dict[str, float]]:
    """Run commands A B A B, and once before that is not counted, to fill the system's cache.

    Not before, when each is run once only: such figures are no measurement anyway.

    Parameters
    ----------
    commands : mapping of str to words
        By name; the words follow the Python interpreter.
    """
    timings = {name: Timing() for name in commands}
    if n_times > 1:
        for words in commands.values():
            run(words, Timing())
    for _ in range(n_times):
        for name, words in commands.items():
            run(words, timings[name])
    return {name: timing.figures() for name, timing in timings.items()}


def run(words: Sequence[str], timing: Timing) -> None:
    """Run one command and add what it took.

    Raises
    ------
    RuntimeError
        If it fails.
    """
    told = subprocess.run(
        [sys.executable, str(LAUNCHER), *words],
        capture_output=True,
        env=surroundings(),
        check=True,
        text=True,
    )
    taken = json.loads(told.stdout)
    if taken["code"] not in JUDGED:
        msg = f"{' '.join(words)} ended with {taken['code']}: {told.stderr}"
        raise RuntimeError(msg)
    timing.wall_s.append(taken["wall_s"])
    timing.cpu_s.append(taken["cpu_s"])
    timing.peak_mb = max(timing.peak_mb, taken["peak_mb"])


def surroundings() -> dict[str, str]:
    """Return the environment of a run: the parts of this benchmark can be imported there.

    Libraries of linear algebra are left to choose their threads, and modules are compiled once,
    as on a user's machine.
    """
    before = os.environ.get("PYTHONPATH")
    folders = [str(BENCHMARKS), *([before] if before else [])]
    left_out = {*THREAD_VARIABLES, NO_BYTECODE}
    kept = {name: value for name, value in os.environ.items() if name not in left_out}
    return {**kept, "PYTHONPATH": os.pathsep.join(folders)}


def one_thread_each() -> dict[str, str]:
    """Return the environment where libraries of linear algebra use one thread.

    As the program itself has it: theirs gain nothing on small matrices, and cost much.
    """
    return {**surroundings(), **dict.fromkeys(THREAD_VARIABLES, "1")}


def check(*args: Any) -> list[str]:
    """Return the words that run ``motemap check``."""
    return ["-m", "motemap", "check", "--quiet", *map(str, args)]
