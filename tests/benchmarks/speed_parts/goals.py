"""What was aimed at, what was measured, and whether it was reached."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from speed_parts.pipelines import OWN, OWN_WHOLE

Figures = dict[str, Any]
MOST_RAW_RATIO, MOST_JPEG_RATIO = 1.6, 2.0
MOST_MB = 500.0
LEAST_GAIN = 1.8
MOST_GROWTH = 1.1
MOST_SPOTS_S = 1.0
MOST_START_S = 0.2
STEEPEST = 1.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """One goal; `wanted` and `measured` are for people, `key` names why it may be missed."""

    key: str
    what: str
    wanted: str
    measured: str
    is_reached: bool


def goals_of(results: Figures) -> list[Goal]:
    """Return every goal that the parts which were run can tell of."""
    goals: list[Goal] = []
    for part, judge in JUDGES.items():
        if part in results:
            goals += judge(results[part])
    return goals


def _decoding(figures: Figures) -> list[Goal]:
    goals = []
    for key, bare, most in (
        ("raw", "decoding", MOST_RAW_RATIO),
        ("jpeg", "decoding to colours", MOST_JPEG_RATIO),
        ("jpeg", "decoding to brightness", MOST_JPEG_RATIO),
    ):
        runs = figures[key]
        times = ratio(runs["check"], runs[bare], "wall_min_s")
        what = f"{'raw' if key == 'raw' else 'JPEG'}: time over that of {bare}"
        goals.append(_at_most(f"{key} time", what, times, most, ""))
    for key in ("raw", "jpeg"):
        name = "raw" if key == "raw" else "JPEG"
        peak_mb = figures[key]["check"]["peak_mb"]
        goals.append(_at_most(f"{key} memory", f"{name}: memory", peak_mb, MOST_MB, " MB", ".0f"))
    return goals


def _contest(figures: Figures) -> list[Goal]:
    return [_contest_on(plane) for plane in figures["planes"]]


def _contest_on(plane: Figures) -> Goal:
    rows = plane["rows"]
    own_s = rows[OWN]["wall_s"]
    others = {
        name: row["wall_s"] / own_s for name, row in rows.items() if name not in (OWN, OWN_WHOLE)
    }
    behind = sorted(name for name, times in others.items() if times < 1.0)
    n_ahead = len(others) - len(behind)
    said = f"{n_ahead} of {len(others)}" + (f"; behind {'; '.join(behind)}" if behind else "")
    return Goal(
        key="contest",
        what=f"faster than other pipelines on the plane of a raw of {plane['mp']:.2g} megapixels",
        wanted="all",
        measured=said,
        is_reached=not behind,
    )


def _frames(figures: Figures) -> list[Goal]:
    gain = gain_of_two(figures)
    growth = max(_growth(figures["rows"], n) for n in (1, 2))
    return [
        Goal(
            key="jobs",
            what=f"{figures['n_frames']} frames: two jobs over one",
            wanted=f"at least {LEAST_GAIN:g} times as fast",
            measured=f"{gain:.2f}",
            is_reached=gain >= LEAST_GAIN,
        ),
        _at_most("flat memory", "largest over least memory of folders", growth, MOST_GROWTH, ""),
        _at_most("linear frames", "growth of cost with frames", figures["slope"], STEEPEST, ""),
    ]


def gain_of_two(figures: Figures) -> float:
    """Return how many times as fast the longest folder is done with two jobs."""
    one, two = (
        next(
            row
            for row in figures["rows"]
            if (row["n_frames"], row["n_jobs"]) == (figures["n_frames"], n_jobs)
        )
        for n_jobs in (1, 2)
    )
    return ratio(one, two, "wall_min_s")


def _growth(rows: list[Figures], n_jobs: int) -> float:
    """Return the largest over the least memory of folders, for one number of jobs."""
    peaks = [row["peak_mb"] for row in rows if row["n_jobs"] == n_jobs]
    return float(max(peaks) / min(peaks))


def _pixels(figures: Figures) -> list[Goal]:
    what = "growth of cost with pixels, the start left out"
    return [_at_most("linear pixels", what, figures["slope_without_start"], STEEPEST, "")]


def _spots(figures: Figures) -> list[Goal]:
    rows = figures["rows"]
    more_s = rows[-1]["wall_min_s"] - rows[0]["wall_min_s"]
    what = f"{rows[-1]['n_drawn']} marks in one frame cost more than none by"
    return [_at_most("spots", what, more_s, MOST_SPOTS_S, " s")]


def _starting(figures: Figures) -> list[Goal]:
    return [
        _at_most("start", name, figures[name]["wall_min_s"], MOST_START_S, " s")
        for name in ("motemap --version", "motemap --help")
    ]


def _at_most(
    key: str, what: str, value: float | None, most: float, unit: str, form: str = ".2f"
) -> Goal:
    return Goal(
        key=key,
        what=what,
        wanted=f"at most {most:g}{unit}",
        measured="-" if value is None else f"{value:{form}}{unit}",
        is_reached=value is not None and value <= most,
    )


def ratio(one: Figures, other: Figures, key: str) -> float:
    """Return how many times one run's figure is another's."""
    return float(one[key] / other[key])


JUDGES = {
    "decoding": _decoding,
    "contest": _contest,
    "frames": _frames,
    "pixels": _pixels,
    "spots": _spots,
    "starting": _starting,
}
