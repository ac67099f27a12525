"""Measures how well a comparison tells what a cleaning did, on drawn frames.

Run by hand, from the repository's root; a sequence of 3000 x 2000 px takes some seconds::

    python tests/benchmarks/cleanings.py --sequences 40 --seed 1
    python tests/benchmarks/cleanings.py --sequences 4 --width 1500

Every third sequence is one state shot twice. The others lose and gain marks between the two
frames, which differ in lens (scale about the middle), shift, aperture and kind of file.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from motemap.changes import FATES, StateChange
from motemap.compare import compare_states
from motemap.pipeline.frame import analyse
from motemap.settings import Settings
from motemap.synth.frame import draw_frame, make_marks
from motemap.synth.marks import Mark, MarkMix
from motemap.synth.scene import SceneSpec
from motemap.synth.spec import FileSpec, FrameSpec
from motemap.synth.store import write_frame

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FrameReport, Spot

LEAST_DEPTH_FRAC = 0.01
NEAR_PX = 8.0
"""A spot this near to a mark is that mark, half of a fibre's length apart."""

N_MARKS = (8, 30, 80, 150)
SHARE_STAYED = 0.4
SHARE_NEW = 0.1


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A drawn sequence: the marks of both frames, in their own pixels, and what stayed."""

    specs: tuple[FrameSpec, FrameSpec]
    before: list[Mark]
    after: list[Mark]
    n_stayed: int
    stayed: list[int]

    @property
    def is_one_state(self) -> bool:
        return self.n_stayed == len(self.before) == len(self.after)


@dataclass(kw_only=True)
class Tally:
    """What was told of which truth, and frames of one state that showed a change."""

    told: Counter[tuple[str, str]]
    n_states: int = 0
    n_states_changed: int = 0

    @property
    def right_share(self) -> float:
        right = {("stayed", "stayed"), ("gone", "gone"), ("new", "new")}
        n_right = sum(number for pair, number in self.told.items() if pair in right)
        return n_right / max(1, sum(self.told.values()))


def draw(rng: np.random.Generator, number: int, width_px: int) -> Drawn:
    """Draw the truth of one sequence."""
    n_marks = int(rng.choice(N_MARKS)) * width_px // 3000
    base = FrameSpec(
        seed=int(rng.integers(1 << 30)),
        width_px=width_px,
        height_px=width_px * 2 // 3,
        f_number=float(rng.choice([16.0, 22.0])),
        stack_mm=float(rng.uniform(0.8, 1.6)),
        mix=MarkMix(n_specks=max(3, n_marks), n_fibres=int(rng.integers(0, 4)), largest_um=90.0),
    )
    before = list(make_marks(base))
    is_one_state = number % 3 == 0
    lot = rng.random(len(before))
    stayed = [i for i in range(len(before)) if is_one_state or lot[i] < SHARE_STAYED]
    new_mix = MarkMix(n_specks=max(1, int(SHARE_NEW * n_marks)), n_fibres=0)
    new = [] if is_one_state else list(make_marks(replace(base, seed=base.seed + 1, mix=new_mix)))
    scale = float(rng.uniform(0.985, 1.015)) if number % 2 else 1.0
    shift_px = rng.uniform(-20.0, 20.0, 2) if number % 2 else np.zeros(2)
    after = [moved(mark, base, scale, shift_px) for mark in [*(before[i] for i in stayed), *new]]
    second = replace(
        base,
        seed=base.seed + 2,
        f_number=float(rng.choice([16.0, 22.0])),
        scene=SceneSpec(vignetting_frac=0.3, tilt_deg=float(rng.uniform(0, 360))),
        file=FileSpec(format="jpeg" if number % 4 == 3 else "dng"),
    )
    return Drawn(
        specs=(base, second), before=before, after=after, n_stayed=len(stayed), stayed=stayed
    )


def moved(mark: Mark, spec: FrameSpec, scale: float, shift_px: NDArray[np.float64]) -> Mark:
    """Lay a mark where another lens draws it."""
    middle = ((spec.height_px - 1) / 2.0, (spec.width_px - 1) / 2.0)
    return replace(
        mark,
        row_px=middle[0] + scale * (mark.row_px - middle[0]) + float(shift_px[1]),
        col_px=middle[1] + scale * (mark.col_px - middle[1]) + float(shift_px[0]),
    )


def judge(drawn: Drawn, folder: Path) -> tuple[FrameReport, FrameReport]:
    """Write and judge the two frames."""
    reports = []
    marks = (drawn.before, drawn.after)
    for name, spec, laid in zip(("before", "after"), drawn.specs, marks, strict=True):
        suffix = ".dng" if spec.file.format == "dng" else ".jpg"
        path = folder / f"{name}{suffix}"
        write_frame(draw_frame(spec, tuple(laid)), path)
        reports.append(analyse(path, Settings()))
        path.unlink()
    return reports[0], reports[1]


def nearest(spot: Spot, marks: list[Mark]) -> int | None:
    """Return which mark a spot is; None when it is none."""
    gaps = [math.hypot(m.row_px - spot.image_y_px, m.col_px - spot.image_x_px) for m in marks]
    if not gaps:
        return None
    best = min(range(len(gaps)), key=gaps.__getitem__)
    return best if gaps[best] <= NEAR_PX + marks[best].length_um / 12.0 else None


def score(
    drawn: Drawn, reports: tuple[FrameReport, FrameReport], change: StateChange, tally: Tally
) -> None:
    """Hold the fates of marks of 1 % depth and more against the truth."""
    one = {spot.id: spot for spot in reports[0].spots}
    two = {spot.id: spot for spot in reports[1].spots}
    for mark in change.marks:
        is_before = mark.before_id is not None
        spot = one[mark.before_id] if mark.before_id is not None else two[mark.after_id or 0]
        if spot.depth_frac < LEAST_DEPTH_FRAC:
            continue
        index = nearest(spot, drawn.before if is_before else drawn.after)
        if index is None:
            continue
        if is_before:
            truth = "stayed" if index in drawn.stayed else "gone"
        else:
            truth = "stayed" if index < drawn.n_stayed else "new"
        tally.told[truth, mark.fate] += 1
    if drawn.is_one_state:
        counts = change.counts
        tally.n_states += 1
        tally.n_states_changed += bool(counts["gone"] or counts["new"] or counts["moved"])


def measure(n_sequences: int, seed: int, width_px: int) -> Tally:
    """Draw, judge, compare and score."""
    rng = np.random.default_rng(seed)
    tally = Tally(told=Counter())
    with tempfile.TemporaryDirectory() as folder:
        for number in range(n_sequences):
            drawn = draw(rng, number, width_px)
            reports = judge(drawn, Path(folder))
            score(drawn, reports, compare_states(*reports), tally)
    return tally


def table(tally: Tally) -> str:
    """Return what was told of which truth."""
    lines = [f"{'truth':<8}" + "".join(f"{fate:>11}" for fate in FATES)]
    for truth in ("stayed", "gone", "new"):
        row = "".join(f"{tally.told[truth, fate]:>11}" for fate in FATES)
        lines.append(f"{truth:<8}{row}")
    lines.append(f"right: {tally.right_share:.1%}")
    lines.append(f"states shot twice that changed: {tally.n_states_changed} of {tally.n_states}")
    return "\n".join(lines)


def main(words: list[str] | None = None) -> None:
    """Do what the command line asks for."""
    parser = argparse.ArgumentParser(description="Measure how well comparisons tell.")
    parser.add_argument("--sequences", type=int, default=12)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--width", type=int, default=3000, help="of the frames [px]")
    chosen = parser.parse_args(words)
    sys.stdout.write(table(measure(chosen.sequences, chosen.seed, chosen.width)) + "\n")


if __name__ == "__main__":
    main()
