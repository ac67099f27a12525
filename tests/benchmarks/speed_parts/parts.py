"""The parts of the benchmark: each draws its files, runs processes, and returns plain figures."""

from __future__ import annotations

import json
import pickle
import statistics
import subprocess
import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from accuracy_parts.truths import truths_of

from speed_parts import material
from speed_parts.pipelines import PIPELINES
from speed_parts.sizes import PX_PER_MP
from speed_parts.timing import check, in_turns, one_thread_each

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from speed_parts.sizes import Size

Figures = dict[str, Any]
FEWEST_FOR_SLOPE: Final = 2
MOST_ROUNDS: Final = 3
"""Some of the other pipelines are slow."""
FIRST_FEW: Final = 3
BARE: Final = "speed_parts.bare"


def decoding(size: Size, folder: Path) -> Figures:
    """Check one raw and one JPEG, against processes that only decode the same file."""
    raw, _, _ = material.draw_single(size, folder, "dng")
    jpeg, _, _ = material.draw_single(size, folder, "jpeg")
    raw_runs = {
        "check": check(raw),
        "check, one thread": check("--jobs", 1, raw),
        "decoding": ["-m", BARE, "raw", str(raw)],
    }
    jpeg_runs = {
        "check": check(jpeg),
        "check, one thread": check("--jobs", 1, jpeg),
        "decoding to colours": ["-m", BARE, "colours", str(jpeg)],
        "decoding to brightness": ["-m", BARE, "brightness", str(jpeg)],
    }
    return {
        "mp": size.single_px[0] * size.single_px[1] / PX_PER_MP,
        "raw_mb": raw.stat().st_size / 1e6,
        "jpeg_mb": jpeg.stat().st_size / 1e6,
        "raw": in_turns(raw_runs, size.n_times),
        "jpeg": in_turns(jpeg_runs, size.n_times),
    }


def contest(size: Size, folder: Path) -> Figures:
    """Let the pipelines work on the same planes, in turns, each in processes of its own."""
    names = list(PIPELINES)[: None if size.has_all_pipelines else FIRST_FEW]
    n_rounds = min(size.n_times, MOST_ROUNDS)
    planes = []
    for width_px, height_px in size.contest_px:
        alone = replace(size, single_px=(width_px, height_px))
        raw, drawn, laid = material.draw_single(alone, folder, "dng")
        truths = folder / "truths"
        truths.write_bytes(pickle.dumps(truths_of(drawn, laid)))
        rows = _on_one_plane(names, raw, truths, n_rounds)
        planes.append({"mp": width_px * height_px / PX_PER_MP, "rows": rows})
    return {"planes": planes}


def _on_one_plane(names: list[str], raw: Path, truths: Path, n_rounds: int) -> Figures:
    rounds: dict[str, list[Figures]] = {name: [] for name in names}
    for _ in range(n_rounds):
        for name, answers in rounds.items():
            words = ["-m", "speed_parts.contest", name, str(raw), str(truths), "1"]
            answers.append(json.loads(_said(words)))
    return {
        name: answers[0]
        | {
            "wall_s": min(one["wall_s"] for one in answers),
            "wall_median_s": statistics.median(one["wall_s"] for one in answers),
            "cpu_s": min(one["cpu_s"] for one in answers),
        }
        for name, answers in rounds.items()
    }


def frames(size: Size, folder: Path) -> Figures:
    """Check folders of more and more frames, with one job and with two."""
    folders = material.draw_folder(size, folder)
    longest = max(folders)
    rows = []
    for n_frames, place in folders.items():
        runs = {str(n): check("--jobs", n, place) for n in (1, 2)}
        n_times = size.n_times if n_frames == longest else 1
        for n_jobs, run in in_turns(runs, n_times).items():
            rows.append(run | {"n_frames": n_frames, "n_jobs": int(n_jobs)})
    alone = [row for row in rows if row["n_jobs"] == 1]
    return {
        "mp": size.folder_px[0] * size.folder_px[1] / PX_PER_MP,
        "n_frames": longest,
        "rows": rows,
        "slope": slope([row["n_frames"] for row in alone], [row["cpu_min_s"] for row in alone]),
    }


def pixels(size: Size, folder: Path) -> Figures:
    """Check frames of more and more pixels."""
    paths = material.draw_scale(size, folder)
    timings = in_turns({str(mp): check(path) for mp, path in paths.items()}, size.n_times)
    rows = [timings[str(mp)] | {"mp": mp} for mp in paths]
    base = in_turns({"start": ["-c", "import motemap.pipeline.frame"]}, size.n_times)["start"]
    return {
        "rows": rows,
        "start": base,
        "slope": slope(list(paths), [row["cpu_min_s"] for row in rows]),
        "slope_without_start": slope(
            list(paths), [row["cpu_min_s"] - base["cpu_min_s"] for row in rows]
        ),
    }


def spots(size: Size, folder: Path) -> Figures:
    """Check frames of one size with more and more marks."""
    paths = material.draw_spots(size, folder)
    timings = in_turns({str(n): check(path) for n, path in paths.items()}, size.n_times)
    rows = []
    for n_spots, path in paths.items():
        report = json.loads(_said(check("--format", "json", "--exit-zero", path)))
        counts = report["frames"][0]["counts"] or {}
        rows.append(timings[str(n_spots)] | {"n_drawn": n_spots, "n_found": counts.get("found")})
    return {"mp": size.folder_px[0] * size.folder_px[1] / PX_PER_MP, "rows": rows}


def starting(size: Size, folder: Path) -> Figures:
    """Ask for the version and for help, against a Python that does nothing."""
    del folder
    runs = {
        "python -c pass": ["-c", "pass"],
        "motemap --version": ["-m", "motemap", "--version"],
        "motemap --help": ["-m", "motemap", "--help"],
        "motemap check --help": ["-m", "motemap", "check", "--help"],
    }
    return in_turns(runs, 2 * size.n_times - 1)


def stages(size: Size, folder: Path) -> Figures:
    """Look at the clock before and after each stage of one check, of a raw and of a JPEG."""
    taken = {}
    for form in ("dng", "jpeg"):
        path, _, _ = material.draw_single(size, folder, form)
        runs = [
            json.loads(_said(["-m", "speed_parts.stages", str(path)])) for _ in range(size.n_times)
        ]
        taken[form] = {
            name: {
                "wall_s": statistics.median(run[name][0] for run in runs),
                "cpu_s": statistics.median(run[name][1] for run in runs),
            }
            for name in runs[0]
        }
    return taken


def slope(amounts: list[float], times_s: list[float]) -> float | None:
    """Return the slope of the logarithms: 1 when the cost grows as the amount does."""
    pairs = [(amount, took) for amount, took in zip(amounts, times_s, strict=True) if took > 0]
    if len(pairs) < FEWEST_FOR_SLOPE:
        return None
    logs = np.log(np.array(pairs))
    return float(np.polyfit(logs[:, 0], logs[:, 1], 1)[0])


def _said(words: list[str]) -> str:
    told = subprocess.run(
        [sys.executable, *words], env=one_thread_each(), check=False, capture_output=True, text=True
    )
    if told.returncode:
        msg = f"{' '.join(words)} ended with {told.returncode}: {told.stderr}"
        raise RuntimeError(msg)
    return told.stdout


PARTS: Final[dict[str, Callable[[Size, Path], Figures]]] = {
    "decoding": decoding,
    "stages": stages,
    "contest": contest,
    "frames": frames,
    "pixels": pixels,
    "spots": spots,
    "starting": starting,
}
