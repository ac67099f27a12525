"""The plots of the accuracy page."""

from __future__ import annotations

import math
import statistics
from typing import Any

import numpy as np

from accuracy_parts.limit import Efficiency
from accuracy_parts.svg_plot import Axis, Series, bar_plot, dot_plot, line_plot

Figures = dict[str, Any]
MOST_BARS = 16
N_LIMIT_POINTS = 80
RATIO_TOP = 2.5
GOAL_RATIO = 1.5
LEAST_RECALL_SHOWN = 0.5
FOUND = Axis(
    title="found",
    low=0.0,
    high=1.0,
    ticks=[(share / 10, f"{10 * share} %") for share in range(0, 11, 2)],
)


def all_plots(results: Figures) -> dict[str, str]:
    """Return file names and SVG texts of all plots there are figures for."""
    plots = {"accuracy-depth.svg": depth_plot(results), "accuracy-snr.svg": snr_plot(results)}
    if results["causes"]:
        plots["accuracy-false.svg"] = causes_plot(results)
    if results["distances"]:
        plots["accuracy-limit.svg"] = limit_plot(results)
    if results["contests"]:
        plots["accuracy-others.svg"] = contest_plot(results)
    return plots


def depth_plot(results: Figures) -> str:
    """Recall against depth, on a logarithmic scale."""
    ticks = [(math.log(depth), f"{100 * depth:g} %") for depth in (0.003, 0.01, 0.03, 0.1, 0.3, 1)]
    across = Axis(title="depth", low=ticks[0][0], high=ticks[-1][0], ticks=ticks)
    series = [
        Series(name=name, points=_points(bands, 1.0)) for name, bands in results["by_depth"].items()
    ]
    return line_plot("Share of marks found, by depth", across, FOUND, series)


def snr_plot(results: Figures) -> str:
    """Recall against signal to noise, on a logarithmic scale."""
    ticks = [(math.log(snr), f"{snr:g}") for snr in (3, 6, 12, 24, 48, 96)]
    across = Axis(title="signal to noise", low=ticks[0][0], high=ticks[-1][0], ticks=ticks)
    series = [
        Series(name=name, points=_points(bands, 96.0)) for name, bands in results["by_snr"].items()
    ]
    if results["distances"]:
        half_snr = statistics.median(one["limit_half_snr"] for one in results["distances"])
        limit = Efficiency(half_snr=half_snr)
        values = np.geomspace(3.0, 96.0, N_LIMIT_POINTS)
        points = [(math.log(x), y) for x, y in zip(values, limit.share(values), strict=True)]
        series.append(Series(name="best possible", points=points, has_dots=False))
    return line_plot("Share of marks found, by signal to noise", across, FOUND, series)


def _points(bands: list[Figures], top: float) -> list[tuple[float, float]]:
    """Return middle and share of every band that holds marks; open ends are held inside."""
    points = []
    for band in bands:
        if band["n_marks"]:
            low = band["low"] or 0.5 * band["high"]
            high = min(band["high"] or top, top)
            points.append((math.log(math.sqrt(low * high)), band["n_found"] / band["n_marks"]))
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
    ticks = [(share / 10, f"{10 * share} %") for share in range(5, 11)]
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
