"""The plots of the accuracy page."""

from __future__ import annotations

import math
from typing import Any

from accuracy_parts.svg_plot import Axis, Series, bar_plot, dot_plot, line_plot
from accuracy_parts.tables import percent

Figures = dict[str, Any]
MOST_BARS = 16
RATIO_TOP = 2.5
GOAL_RATIO = 1.5
LEAST_RECALL_SHOWN = 0.5
SHARE_TICKS = [(share / 10, f"{10 * share} %") for share in range(0, 11, 2)]


def all_plots(results: Figures) -> dict[str, str]:
    """Return file names and SVG texts of all plots there are figures for."""
    plots = {"accuracy-recall.svg": recall_plot(results)}
    if results["causes"]:
        plots["accuracy-false.svg"] = causes_plot(results)
    if results["distances"]:
        plots["accuracy-limit.svg"] = limit_plot(results)
    if results["contests"]:
        plots["accuracy-others.svg"] = contest_plot(results)
    return plots


def recall_plot(results: Figures) -> str:
    """Recall against depth and against signal to noise, both scales logarithmic."""
    up = Axis(title="found", low=0.0, high=1.0, ticks=SHARE_TICKS)
    ticks = [(math.log(depth), f"{100 * depth:g} %") for depth in (0.003, 0.01, 0.03, 0.1, 0.3, 1)]
    across = Axis(
        title="depth (upper labels) - or signal to noise / 1000",
        low=math.log(0.003),
        high=math.log(1.0),
        ticks=ticks,
    )
    by_depth = Series(name="by depth", points=_points(results["by_depth"], 1.0))
    by_snr = Series(name="by SNR / 1000", points=_points(results["by_snr"], 1e-3))
    return line_plot("Share of marks found", across, up, [by_depth, by_snr])


def _points(bands: list[Figures], unit: float) -> list[tuple[float, float]]:
    points = []
    for band in bands:
        if band["n_marks"]:
            low = band["low"] or 0.5 * band["high"]
            high = band["high"] or 2.0 * band["low"]
            middle = math.sqrt(low * min(high, 1.0 / unit)) * unit
            points.append((math.log(middle), band["n_found"] / band["n_marks"]))
    return points


def causes_plot(results: Figures) -> str:
    """Number of false marks by cause."""
    causes = list(results["causes"].items())[:MOST_BARS]
    top = max(count for _, count in causes)
    step = max(1, math.ceil(top / 5))
    ticks = [(float(at), str(at)) for at in range(0, top + step, step)]
    across = Axis(title="false marks, all rows", low=0.0, high=ticks[-1][0], ticks=ticks)
    bars = [(cause, float(count), str(count)) for cause, count in causes]
    return bar_plot("False marks by probable cause", across, bars)


def limit_plot(results: Figures) -> str:
    """Depth at which 95 % are found, over that of the best possible filter."""
    ticks = [(ratio / 2, f"{ratio / 2:g}") for ratio in range(6)]
    across = Axis(title="times the limit's depth", low=0.0, high=RATIO_TOP, ticks=ticks)
    bars = [
        (one["name"], one["most_ratio"], f"{one['most_ratio']:.2f}") for one in results["distances"]
    ]
    marks = [(1.0, "limit"), (GOAL_RATIO, "goal")]
    return bar_plot("Depth at which 95 % are found, over the limit's", across, bars, marks)


def contest_plot(results: Figures) -> str:
    """Recall at equal false marks, pieces forgiven."""
    names = list(results["contests"][0]["kind"])
    ticks = [(share / 10, percent(share / 10)) for share in range(5, 11)]
    across = Axis(
        title="found at equal false marks (left edge: half or fewer)",
        low=LEAST_RECALL_SHOWN,
        high=1.0,
        ticks=ticks,
    )
    rows = [
        (
            one["row"],
            [one["own_recall_frac"], *(one["kind"][name]["recall_frac"] for name in names)],
        )
        for one in results["contests"]
    ]
    return dot_plot("Against general-purpose detectors", across, rows, ["motemap", *names])
