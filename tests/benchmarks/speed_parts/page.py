"""Writes docs/explanation/speed.md from the figures of a run."""

from __future__ import annotations

from typing import TYPE_CHECKING

from publishing import Figures, how_made, paragraphs, table, write_text
from speed_parts import page_text as text
from speed_parts.goals import gain_of_two, goals_of, ratio
from speed_parts.pipelines import OWN

if TYPE_CHECKING:
    from pathlib import Path

PAGE = "docs/explanation/speed.md"
MS = 1000.0


def write_page(results: Figures, root: Path) -> None:
    """Write the page below the repository's root."""
    write_text(root / PAGE, page_of(results))


def page_of(results: Figures) -> str:
    """Return the page as Markdown."""
    sections = [text.HEAD, *([] if results["made"]["size"] == "full" else [text.SHORT])]
    sections.append(_goals(results))
    sections += [write(results[part]) for part, write in SECTIONS.items() if part in results]
    sections += [_before(results), _made(results["made"])]
    return paragraphs(*sections) + "\n"


def _goals(results: Figures) -> str:
    goals = goals_of(results)
    reached = table(
        ["goal", "wanted", "measured", "reached"],
        [
            [goal.what, goal.wanted, goal.measured, "yes" if goal.is_reached else "**no**"]
            for goal in goals
        ],
    )
    missed = dict.fromkeys(goal.key for goal in goals if not goal.is_reached)
    said = text.ALL_REACHED
    if missed:
        lines = [f"* {key}: {text.WHY[key]}" for key in missed]
        said = "\n".join([text.MISSED, "", *lines])
    return paragraphs(text.GOALS, reached, said)


def seconds(figures: Figures, kind: str = "wall") -> str:
    """Return the least time and the median."""
    return f"{figures[f'{kind}_min_s']:.2f} ({figures[f'{kind}_median_s']:.2f})"


def _megabytes(figures: Figures) -> str:
    return f"{figures['peak_mb']:.0f}"


def _decoding(figures: Figures) -> str:
    rows = []
    for key, name in (("raw", "raw"), ("jpeg", "JPEG")):
        runs = figures[key]
        for what, run in runs.items():
            times = "" if what == "check" else f"{ratio(runs['check'], run, 'wall_min_s'):.2f}"
            cpu = "" if what == "check" else f"{ratio(runs['check'], run, 'cpu_min_s'):.2f}"
            rows.append(
                [f"{name}, {what}", seconds(run), times, seconds(run, "cpu"), cpu, _megabytes(run)]
            )
    head = ["what", "wall, s", "check over it", "processor, s", "check over it", "memory, MB"]
    size = (
        f"Frames of {figures['mp']:.2g} megapixels: a raw with losslessly compressed tiles "
        f"({figures['raw_mb']:.0f} MB) and a JPEG ({figures['jpeg_mb']:.1f} MB)."
    )
    return paragraphs(text.DECODING, size, table(head, rows), text.DECODING_NOTE)


def _stages(figures: Figures) -> str:
    names = dict.fromkeys(name for taken in figures.values() for name in taken)
    rows = [
        [name, *(_milliseconds(taken.get(name)) for taken in figures.values())] for name in names
    ]
    totals = [
        {key: sum(stage[key] for stage in taken.values()) for key in ("wall_s", "cpu_s")}
        for taken in figures.values()
    ]
    rows.append(["together", *(_milliseconds(total) for total in totals)])
    head = ["stage", *(f"{'raw' if form == 'dng' else 'JPEG'}, ms" for form in figures)]
    return paragraphs(text.STAGES, table(head, rows))


def _milliseconds(stage: Figures | None) -> str:
    return "-" if stage is None else f"{MS * stage['wall_s']:.0f} ({MS * stage['cpu_s']:.0f})"


def _contest(figures: Figures) -> str:
    planes = [_contest_on(plane) for plane in figures["planes"]]
    return paragraphs(text.CONTEST, *planes, text.CONTEST_NOTE)


def _contest_on(plane: Figures) -> str:
    own = plane["rows"][OWN]
    rows = [
        [
            name,
            f"{MS * row['wall_s']:.0f} ({MS * row['wall_median_s']:.0f})",
            f"{row['wall_s'] / own['wall_s']:.2f}",
            f"{MS * row['cpu_s']:.0f}",
            f"{row['cpu_s'] / own['cpu_s']:.2f}",
            f"{row['n_found']} of {row['n_counting']}",
            str(row["n_extra"]),
        ]
        for name, row in plane["rows"].items()
    ]
    head = ["pipeline", "wall, ms", "over ours", "processor, ms", "over ours", "found", "else"]
    size = f"A raw of {plane['mp']:.2g} megapixels, {own['plane_mp']:.1f} million cells:"
    return paragraphs(size, table(head, rows))


def _frames(figures: Figures) -> str:
    said = (
        f"{figures['n_frames']} frames of {figures['mp']:.2g} megapixels are done "
        f"{gain_of_two(figures):.2f} times as fast with two jobs as with one."
    )
    rows = [
        [
            str(row["n_frames"]),
            str(row["n_jobs"]),
            seconds(row),
            f"{row['wall_min_s'] / row['n_frames']:.3f}",
            seconds(row, "cpu"),
            _megabytes(row),
        ]
        for row in figures["rows"]
    ]
    head = ["frames", "jobs", "wall, s", "a frame, s", "processor, s", "memory of a process, MB"]
    slope = f"Slope of the processor time of one job against frames: {_slope(figures['slope'])}."
    return paragraphs(text.FRAMES, said, table(head, rows), slope)


def _pixels(figures: Figures) -> str:
    rows = [
        [
            f"{row['mp']:g}",
            seconds(row),
            seconds(row, "cpu"),
            f"{row['cpu_min_s'] / row['mp']:.4f}",
            _megabytes(row),
        ]
        for row in figures["rows"]
    ]
    head = ["megapixels", "wall, s", "processor, s", "processor, s a megapixel", "memory, MB"]
    said = (
        f"Slope of the processor time: {_slope(figures['slope'])}; "
        f"{_slope(figures['slope_without_start'])} without the start of the program, "
        f"{figures['start']['cpu_min_s']:.2f} s."
    )
    return paragraphs(text.PIXELS, table(head, rows), said)


def _slope(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"


def _spots(figures: Figures) -> str:
    rows = [
        [
            str(row["n_drawn"]),
            "-" if row["n_found"] is None else str(row["n_found"]),
            seconds(row),
            seconds(row, "cpu"),
            _megabytes(row),
        ]
        for row in figures["rows"]
    ]
    head = ["drawn", "found", "wall, s", "processor, s", "memory, MB"]
    return paragraphs(text.SPOTS, f"Frames of {figures['mp']:.2g} megapixels.", table(head, rows))


def _starting(figures: Figures) -> str:
    rows = [
        [name, f"{MS * run['wall_min_s']:.0f} ({MS * run['wall_median_s']:.0f})"]
        for name, run in figures.items()
    ]
    return paragraphs(text.STARTING, table(["command", "wall, ms"], rows))


def _before(results: Figures) -> str:
    """Return what was before, as ratios, and beside it what is now if measured at that size."""
    if "decoding" not in results or results["made"]["size"] != "full":
        return text.BEFORE
    rows = []
    for kind, bare, before, before_mb in text.BEFORE_TABLE:
        runs = results["decoding"][kind]
        now = runs["check"]["wall_min_s"] / runs[bare]["wall_min_s"]
        name = f"{'JPEG' if kind == 'jpeg' else kind}, check over {bare}"
        rows.append(
            [name, f"{before:.2f}", f"{now:.2f}", str(before_mb), _megabytes(runs["check"])]
        )
    head = ["what", "before", "now", "memory before, MB", "now, MB"]
    return paragraphs(text.BEFORE, table(head, rows))


def _made(made: Figures) -> str:
    return how_made(
        made,
        f"on {made['system']}, {made['processor']}, {made['n_cores']} cores; load of the machine "
        f"before the run {made['load']:.1f}",
    )


SECTIONS = {
    "decoding": _decoding,
    "stages": _stages,
    "contest": _contest,
    "frames": _frames,
    "pixels": _pixels,
    "spots": _spots,
    "starting": _starting,
}
