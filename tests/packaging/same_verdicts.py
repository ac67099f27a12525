"""Compares two JSON reports of the same frames: ``python same_verdicts.py ONE OTHER``.

Other versions of numpy and OpenCV round differently, so numbers may differ in the last digits;
what is judged may not.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any


def judged(report: Path) -> list[tuple[Any, ...]]:
    """Return file, state, counts and verdict of every frame of a report."""
    frames = json.loads(report.read_text(encoding="utf-8"))["frames"]
    return [
        (
            frame["file"],
            frame["state"],
            frame["counts"]["found"],
            frame["counts"]["showing"],
            frame["verdict"]["level"],
            frame["verdict"]["method"],
        )
        for frame in frames
    ]


def main() -> int:
    one, other = (judged(Path(argument)) for argument in sys.argv[1:3])
    for here, there in zip(one, other, strict=True):
        if here != there:
            print(f"{here}\n{there}")
    print(f"{len(one)} frames, " + ("judged alike." if one == other else "judged differently."))
    return 0 if one and one == other else 1


if __name__ == "__main__":
    sys.exit(main())
