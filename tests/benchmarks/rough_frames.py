"""Has frames judged that are as rough as those of older cameras, and pictures that are no
test shot.

Run by hand, from the repository's root::

    python tests/benchmarks/rough_frames.py --seeds 1,2
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

from rough_parts.judging import OddScore, RoughScore, judge_all


def rough_lines(score: RoughScore) -> list[str]:
    """Return what is to be said of one rough frame."""
    lines = [
        (
            f"{score.name}: {score.state}, {score.n_found} of {score.n_marks} found, "
            f"{len(score.false)} false"
        )
    ]
    lines.extend(f"  missed at column {col:.0f}, row {row:.0f}" for row, col in score.missed_px)
    lines.extend(
        f"  false {mark.kind}, {mark.layer} at column {mark.col_px:.0f}, row {mark.row_px:.0f}: "
        f"depth {100 * (mark.depth_frac or 0.0):.2f} %, width {mark.width_px or 0.0:.0f} px, "
        f"SNR {mark.snr or 0.0:.0f}"
        for mark in score.false
    )
    return lines


def odd_line(score: OddScore) -> str:
    """Return what is to be said of one odd picture."""
    failed = ", ".join(sorted(score.failed)) or score.fault or "nothing"
    return f"{score.name}: {score.state}, failed {failed}: {'right' if score.is_right else 'WRONG'}"


def main() -> None:
    """Judge and print."""
    parser = argparse.ArgumentParser(description="Judge rough frames and odd pictures.")
    parser.add_argument("--seeds", default="1,2", help="seeds, parted by commas")
    chosen = parser.parse_args()
    seeds = tuple(int(seed) for seed in chosen.seeds.split(","))
    with tempfile.TemporaryDirectory() as folder:
        rough, odd = judge_all(seeds, Path(folder))
    for score in rough:
        print("\n".join(rough_lines(score)))
    for one in odd:
        print(odd_line(one))


if __name__ == "__main__":
    main()
