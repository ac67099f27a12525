"""One pipeline in a process of its own: ``contest.py NAME FILE TRUTHS N``; prints what it took.

The file is loaded and libraries are imported by a first run, which is not counted.
"""

from __future__ import annotations

import json
import pickle
import sys
import time
from pathlib import Path

from accuracy_parts.frames import with_light
from accuracy_parts.scoring import match

from motemap.pipeline.frame import load_frame
from motemap.settings import Settings
from speed_parts.pipelines import PIPELINES


def timed(name: str, path: Path, truths_path: Path, n_times: int) -> dict[str, float]:
    """Run one pipeline on a file's plane so many times and score what it finds."""
    frame = load_frame(path, Settings())
    pipeline = PIPELINES[name]
    found = pipeline(frame)
    wall_s, cpu_s = [], []
    for _ in range(n_times):
        begun, begun_cpu = time.perf_counter(), time.process_time()
        pipeline(frame)
        wall_s.append(time.perf_counter() - begun)
        cpu_s.append(time.process_time() - begun_cpu)
    truths = with_light(pickle.loads(truths_path.read_bytes()), frame.plane)
    result = match(truths, found)
    return {
        "wall_s": min(wall_s),
        "cpu_s": min(cpu_s),
        "n_counting": sum(group.is_counting for group in result.groups),
        "n_found": sum(result.groups[at].is_counting for at in result.taken),
        "n_extra": len(result.extra),
        "plane_mp": frame.plane.light.size / 1e6,
    }


if __name__ == "__main__":
    name, path, truths_path, n_times = sys.argv[1:]
    print(json.dumps(timed(name, Path(path), Path(truths_path), int(n_times))))
