"""Measures how well dust is found in frames of which everything is drawn at random.

The grid of the accuracy page changes one thing at a time. What two things do together - coarse
pixels and a thin filter stack, say - shows here. Run by hand, from the repository's root; a frame
takes some seconds::

    python tests/benchmarks/random_frames.py --frames 40
    python tests/benchmarks/random_frames.py --frames 20 --first 1000
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from accuracy_parts.frames import score_job
from accuracy_parts.rows import Job
from accuracy_parts.tables import frame_line

from motemap.synth.camera import SensorSpec
from motemap.synth.marks import MarkMix
from motemap.synth.scene import SceneSpec
from motemap.synth.spec import FileSpec, FrameSpec

if TYPE_CHECKING:
    from accuracy_parts.frames import FrameScore

    from motemap.synth.files.dng import Cfa

ROW: Final = "at random"
SIDES_PX: Final = (1800, 1200)
F_NUMBERS: Final = (11.0, 13.0, 16.0, 18.0, 20.0, 22.0, 25.0, 29.0, 32.0)
STACK_MM: Final = (0.5, 2.5)
PITCH_UM: Final = (3.0, 8.5)
WIDE_MOSAIC_UM: Final = (3.5, 5.5)
"""Bodies with a 6x6 mosaic have small pixels."""
MOSAICS: Final[tuple[Cfa, ...]] = ("RGGB", "GRBG", "GBRG", "BGGR", "XTRANS", "MONO", "LINEAR")
QUALITIES: Final = (85, 90, 92, 95, 98)
ISO: Final = (100.0, 100.0, 200.0, 400.0, 800.0)


def spec_of(seed: int) -> FrameSpec:
    """Return a frame of which optics, light, sensor and file are drawn at random."""
    dice = random.Random(seed)
    file = _file(dice)
    width_px, height_px = SIDES_PX if dice.random() < 0.75 else SIDES_PX[::-1]
    is_wide = file.format == "dng" and file.mosaic == "XTRANS"
    return FrameSpec(
        seed=seed,
        width_px=width_px,
        height_px=height_px,
        pitch_um=dice.uniform(*(WIDE_MOSAIC_UM if is_wide else PITCH_UM)),
        stack_mm=dice.uniform(*STACK_MM),
        f_number=dice.choice(F_NUMBERS),
        mix=MarkMix(n_specks=30, n_fibres=2, smallest_um=8.0),
        scene=_scene(dice),
        sensor=SensorSpec(
            iso=dice.choice(ISO), n_hot=dice.randint(50, 300), n_dead=dice.randint(20, 100)
        ),
        file=file,
    )


def _file(dice: random.Random) -> FileSpec:
    kind = dice.choice(("raw", "raw", "raw", "jpeg", "jpeg", "tiff"))
    if kind == "raw":
        return FileSpec(format="dng", mosaic=dice.choice(MOSAICS))
    if kind == "jpeg":
        return FileSpec(format="jpeg", quality=dice.choice(QUALITIES))
    return FileSpec(format="tiff")


def _scene(dice: random.Random) -> SceneSpec:
    def sometimes(share: float, most: float) -> float:
        return dice.uniform(0.0, most) if dice.random() < share else 0.0

    return SceneSpec(
        exposure_frac=dice.uniform(0.25, 0.8),
        vignetting_frac=dice.uniform(0.0, 0.6),
        tilt_frac=sometimes(0.5, 0.25),
        tilt_deg=dice.uniform(0.0, 360.0),
        mottle_frac=sometimes(0.5, 0.006),
        row_banding_frac=sometimes(0.5, 0.004),
        col_banding_frac=sometimes(0.3, 0.003),
        screen_frac=sometimes(0.3, 0.004),
        screen_period_px=dice.uniform(4.0, 12.0),
    )


def measure(first: int, n_frames: int) -> list[FrameScore]:
    """Draw, judge and score frames; one line about each while it goes on."""
    scores = []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + n_frames):
            spec = spec_of(seed)
            job = Job(row=ROW, variant=_words(spec), seed=seed, spec=spec)
            score = score_job(job, Path(folder)).score
            print(frame_line(score), flush=True)
            scores.append(score)
    return scores


def _words(spec: FrameSpec) -> str:
    """Say what a frame is drawn from, as far as it matters most."""
    kinds = {"dng": spec.file.mosaic, "jpeg": f"JPEG {spec.file.quality}", "tiff": "TIFF"}
    return (
        f"{kinds[spec.file.format]}, f/{spec.f_number:g}, stack {spec.stack_mm:.2f} mm, "
        f"pitch {spec.pitch_um:.2f} um, ISO {spec.sensor.iso:g}"
    )


def summary(scores: list[FrameScore]) -> str:
    """Return what all frames come to."""
    marks = [mark for score in scores for mark in score.marks if mark.is_counting]
    n_found = sum(mark.is_found for mark in marks)
    n_false = sum(len(score.false_marks) for score in scores)
    n_refused = sum(score.state != "judged" for score in scores)
    return (
        f"{n_found} of {len(marks)} found ({n_found / len(marks):.1%}), {n_false} false marks in "
        f"{len(scores)} frames, {n_refused} of them not judged"
    )


def main(words: list[str]) -> None:
    """Do what the command line asks for."""
    parser = argparse.ArgumentParser(description="Measure how well dust is found anywhere.")
    parser.add_argument("--frames", type=int, default=20, help="how many")
    parser.add_argument("--first", type=int, default=0, help="seed of the first")
    chosen = parser.parse_args(words)
    print(summary(measure(chosen.first, chosen.frames)))


if __name__ == "__main__":
    main(sys.argv[1:])
