"""Writes docs/explanation/accuracy.md and its plots from the figures of a run."""

from __future__ import annotations

import statistics
from typing import TYPE_CHECKING

from accuracy_parts import page_text as text
from accuracy_parts.plots import all_plots
from accuracy_parts.tables import percent, pixels, relative
from publishing import Figures, how_made, paragraphs, table, write_text

if TYPE_CHECKING:
    from pathlib import Path

PAGE = "docs/explanation/accuracy.md"
PICTURES = "docs/pictures"


def write_page(results: Figures, root: Path) -> None:
    """Write the page and its plots below the repository's root."""
    for name, plot in all_plots(results).items():
        write_text(root / PICTURES / name, plot)
    write_text(root / PAGE, page_of(results))


def page_of(results: Figures) -> str:
    """Return the page as Markdown."""
    made = results["made"]
    sections = (
        text.HEAD,
        _three_figures(results),
        _rows(results),
        _bands(results),
        _causes(results),
        _limits(results),
        _promises(results),
        _contests(results),
        _rough(results),
        _worst(results),
        how_made(made, f"seeds {', '.join(map(str, made['seeds']))}"),
    )
    return paragraphs(*sections) + "\n"


def headline(results: Figures) -> Figures:
    """Return the figures that the README quotes."""
    ratios = [one["most_ratio"] for one in results["distances"]]
    found = [one["found_frac"] for one in results["promises"]]
    return {
        "recall_frac": results["barred"]["recall_frac"],
        "n_counting": results["barred"]["n_counting"],
        "n_found": results["barred"]["n_found"],
        "false_per_frame": results["barred"]["false_per_frame"],
        "n_frames": results["barred"]["n_frames"],
        "usual_ratio": statistics.median(ratios) if ratios else None,
        "worst_ratio": max(ratios, default=None),
        "promise_range": (min(found), max(found)) if found else None,
    }


def _three_figures(results: Figures) -> str:
    figures = headline(results)
    lines = [
        (
            f"* **Found:** {figures['n_found']} of {figures['n_counting']} marks at least 1 % deep "
            f"and clear of the noise ({percent(figures['recall_frac'])})."
        ),
        (
            f"* **False:** {figures['false_per_frame']:.2f} marks a frame, over "
            f"{figures['n_frames']} frames."
        ),
    ]
    if figures["worst_ratio"] is not None:
        lines.append(
            "* **Limit:** 95 % of specks are found from a depth on that is "
            f"{figures['usual_ratio']:.2f} times the one the best possible filter needs, in the "
            f"median of {len(results['distances'])} kinds of frames; {figures['worst_ratio']:.2f} "
            "times in the worst."
        )
    return "\n".join(lines)


def _rows(results: Figures) -> str:
    head = ["frames", "n", "found", "share", "wanted", "false a frame", "wanted"]
    head += ["centre, px", "depth", "width", "lost area", "lens dust named"]
    rows = []
    for row in results["rows"]:
        recall_bar, false_bar = results["bars"][row["name"]]
        lens = f"{row['n_lens_named']} of {row['n_lens']}" if row["n_lens"] else "-"
        rows.append(
            [
                row["name"],
                str(row["n_frames"]),
                f"{row['n_found']} of {row['n_counting']}",
                percent(row["recall_frac"]),
                percent(recall_bar),
                f"{row['false_per_frame']:.2f}",
                f"{false_bar:g}",
                pixels(row["offset_px"]),
                relative(row["depth"]),
                relative(row["width"]),
                relative(row["area"]),
                lens,
            ]
        )
    return paragraphs(text.ROWS, table(head, rows), text.ROWS_NOTE)


def _bands(results: Figures) -> str:
    by_depth = _band_table("depth", results["by_depth"], 100.0, " %")
    by_snr = _band_table("signal to noise", results["by_snr"], 1.0, "")
    return paragraphs(text.BANDS, by_depth, text.BY_SNR, by_snr)


def _band_table(title: str, parts: dict[str, list[Figures]], factor: float, unit: str) -> str:
    """Return a table with one row a band and two columns a part of the grid."""
    head = [title]
    for name in parts:
        head += [f"marks, {name}", "found"]
    rows = []
    for bands in zip(*parts.values(), strict=True):
        cells = [_range(bands[0], factor, unit)]
        for band in bands:
            cells += [str(band["n_marks"]), percent(_share(band))]
        if any(band["n_marks"] for band in bands):
            rows.append(cells)
    return table(head, rows)


def _range(band: Figures, factor: float, unit: str) -> str:
    low = f"{factor * band['low']:g}"
    is_last = band["high"] is None or band["high"] > 1.0 > 1.0 / factor
    return f"{low}{unit} and more" if is_last else f"{low} to {factor * band['high']:g}{unit}"


def _share(band: Figures) -> float | None:
    return band["n_found"] / band["n_marks"] if band["n_marks"] else None


def _causes(results: Figures) -> str:
    if not results["causes"]:
        return paragraphs(text.CAUSES, "There was none.")
    rows = [[cause, str(count)] for cause, count in results["causes"].items()]
    return paragraphs(text.CAUSES, text.CAUSES_PLOT, table(["probable cause", "n"], rows))


def _limits(results: Figures) -> str:
    if not results["distances"]:
        return ""
    head = ["frame", "half found at", "95 % found at", "half, over the limit"]
    head += ["95 %, over the limit", "kept by the file", "95 %, over the photosites' limit"]
    rows = [
        [
            one["name"],
            f"{100 * one['half_depth_frac']:.2f} %",
            f"{100 * one['most_depth_frac']:.2f} %",
            f"{one['half_ratio']:.2f}",
            f"{one['most_ratio']:.2f}",
            percent(one["stored_share"]),
            f"{one['photosite_ratio']:.2f}",
        ]
        for one in results["distances"]
    ]
    return paragraphs(text.LIMIT, table(head, rows), text.LIMIT_NOTE)


def _promises(results: Figures) -> str:
    if not results["promises"]:
        return ""
    head = ["frame", "smallest speck", "smallest depth", "true depth", "drawn", "found"]
    rows = [
        [
            one["name"],
            f"{one['particle_um']:.1f} um",
            f"{100 * one['depth_frac']:.2f} %",
            f"{100 * one['true_depth_frac']:.2f} %",
            str(one["n_specks"]),
            percent(one["found_frac"]),
        ]
        for one in results["promises"]
    ]
    return paragraphs(text.PROMISE, table(head, rows))


def _contests(results: Figures) -> str:
    if not results["contests"]:
        return ""
    names = list(results["contests"][0]["kind"])
    tables = []
    for key in ("strict", "kind"):
        rows = [
            [one["row"], percent(one["own_recall_frac"]), str(one[_ALLOWED[key]])]
            + [_equal(one[key][name]) for name in names]
            for one in results["contests"]
        ]
        tables.append(table(["frames", "motemap", "false marks", *names], rows))
    behind = [one for one in results["contests"] if one["beaten_by"]]
    said = "; ".join(f"{one['row']}: {', '.join(one['beaten_by'])}" for one in behind)
    where = f"It is behind in these rows: {said}." if behind else "It leads or ties in every row."
    return paragraphs(text.CONTEST, tables[0], text.CONTEST_KIND, tables[1], where)


_ALLOWED = {"strict": "n_false", "kind": "n_wrong"}


def _equal(equal: Figures) -> str:
    if equal["recall_frac"] is None:
        return f"never under {equal['least_false']} false"
    return percent(equal["recall_frac"])


def _rough(results: Figures) -> str:
    if not results["rough"]:
        return ""
    rough = table(
        ["frame", "state", "found", "false"],
        [
            [
                one["name"],
                one["state"],
                f"{one['n_found']} of {one['n_marks']}",
                str(one["n_false"]),
            ]
            for one in results["rough"]
        ],
    )
    odd = table(
        ["picture", "said", "because of", "right"],
        [
            [
                one["name"],
                one["state"],
                ", ".join(one["failed"]) or "-",
                "yes" if one["is_right"] else "**no**",
            ]
            for one in results["odd"]
        ],
    )
    return paragraphs(text.ROUGH, rough, text.ODD, odd)


def _worst(results: Figures) -> str:
    if not results["worst"]:
        return paragraphs(text.WORST, "Nowhere: every mark was found, and nothing else.")
    return paragraphs(text.WORST, "```\n" + "\n".join(results["worst"]) + "\n```")
