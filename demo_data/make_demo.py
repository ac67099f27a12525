"""Draws the demo frames again: ``python demo_data/make_demo.py``.

The scenario is made up. A hire desk gets two bodies of an invented maker back from a trip. One is
dusty: it is shot, blown out, shot, wiped wet and shot again. The other comes back clean. A third
body's test shot went wrong. Frames, truth files and the table of sums in the README come from
here. The same versions of Python's packages give the same pictures; the last digits of a truth file
may differ with the processor.
"""

import hashlib
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from motemap.synth.camera import PictureSpec, SensorSpec
from motemap.synth.files import FileTags
from motemap.synth.frame import DrawnFrame, draw_frame
from motemap.synth.marks import Mark, MarkMix
from motemap.synth.pupil import Pupil
from motemap.synth.scatter import Field, scatter_marks
from motemap.synth.scene import SceneSpec
from motemap.synth.spec import FileSpec, FrameSpec
from motemap.synth.store import write_frame, write_truth

HERE = Path(__file__).parent
SUMS_BEGIN, SUMS_END = "<!-- sums: begin -->", "<!-- sums: end -->"

DUSTY = FileTags(
    maker="Larkfield",
    model="LF-6",
    serial="600142",
    lens="LF 50mm F2",
    shutter_s=1 / 8,
    focal_length_mm=50.0,
    focal_length_35mm=50.0,
)
CLEAN = FileTags(
    maker="Larkfield",
    model="LF-2c",
    serial="210077",
    lens="LF 35mm F2.4",
    shutter_s=1 / 6,
    focal_length_mm=35.0,
    taken_at="2024-05-11T10:02:31",
)
SPOILED = replace(DUSTY, serial="600188", shutter_s=1.0, taken_at="2024-05-11T10:09:12")

FULL_FRAME = FrameSpec(
    width_px=4256,
    height_px=2832,
    pitch_um=8.45,
    f_number=22.0,
    stack_mm=1.3,
    pupil=Pupil(n_blades=7, rotation_deg=12.0),
    scene=SceneSpec(
        exposure_frac=0.55, vignetting_frac=0.28, tilt_frac=0.05, mottle_frac=0.001, mottle_px=700.0
    ),
    sensor=SensorSpec(n_hot=40, n_dead=8),
    picture=PictureSpec(smoothing_px=0.55, sharpening_frac=0.3),
)
CROP_FRAME = FrameSpec(
    seed=31,
    width_px=2400,
    height_px=1808,
    pitch_um=7.2,
    f_number=22.0,
    stack_mm=1.1,
    pupil=Pupil(n_blades=5, rotation_deg=40.0),
    scene=SceneSpec(exposure_frac=0.5, vignetting_frac=0.2, tilt_frac=0.06, tilt_deg=130.0),
    sensor=SensorSpec(full_well_e=40000.0, n_hot=180, n_dead=45, black=128, white=4095),
    file=FileSpec(format="dng", mosaic="GRBG", compression="ljpeg", tags=CLEAN),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One demo frame: where it goes, and what is on the sensor."""

    path: str
    spec: FrameSpec
    marks: tuple[Mark, ...]


def strew(spec: FrameSpec, mix: MarkMix, seed: int) -> tuple[Mark, ...]:
    """Return random marks for a body."""
    field = Field(height_px=spec.height_px, width_px=spec.width_px, tau_um=1000.0 * spec.stack_mm)
    return scatter_marks(mix, field, np.random.default_rng(seed))


def dusty_body() -> tuple[Shot, ...]:
    """Return the dusty body before cleaning, after the blower and after the wet swab.

    Blowing takes the loose dust and one fibre, sends one flake elsewhere and lets a new speck
    in. The wet swab takes what was stuck, all but two small specks.
    """
    loose = strew(FULL_FRAME, MarkMix(n_specks=16, n_fibres=1, smallest_um=14.0), seed=11)
    stuck = strew(FULL_FRAME, MarkMix(n_specks=8, n_fibres=1, smallest_um=12.0), seed=12)
    stays = strew(
        FULL_FRAME, MarkMix(n_specks=2, n_fibres=0, smallest_um=5.5, largest_um=7.0), seed=13
    )
    lens = strew(FULL_FRAME, MarkMix(n_specks=0, n_fibres=0, n_lens=1), seed=15)
    new = strew(
        FULL_FRAME, MarkMix(n_specks=1, n_fibres=0, smallest_um=20.0, largest_um=30.0), seed=16
    )
    flake = strew(
        FULL_FRAME, MarkMix(n_specks=1, n_fibres=0, smallest_um=58.0, largest_um=62.0), seed=14
    )
    moved = replace(flake[0], row_px=1903.4, col_px=3120.7)
    always = (*stays, *lens)
    return (
        _dusty_shot("1-before/LF60001.jpg", 21, "10:15:08", (*loose, *flake, *stuck, *always)),
        _dusty_shot("2-after-blower/LF60002.jpg", 22, "10:21:40", (moved, *new, *stuck, *always)),
        _dusty_shot("3-after-wet-swab/LF60003.jpg", 23, "10:40:02", always),
    )


def _dusty_shot(name: str, seed: int, time: str, marks: tuple[Mark, ...]) -> Shot:
    tags = replace(DUSTY, taken_at=f"2024-05-11T{time}")
    file = FileSpec(format="jpeg", quality=96, tags=tags)
    return Shot(
        path=f"LF-6_600142/{name}", spec=replace(FULL_FRAME, seed=seed, file=file), marks=marks
    )


def clean_body() -> Shot:
    """Return the clean body: a raw file with three specks too small to show at f/11."""
    marks = strew(
        CROP_FRAME, MarkMix(n_specks=3, n_fibres=0, smallest_um=4.0, largest_um=5.5), seed=17
    )
    return Shot(path="LF-2c_210077/LF20031.dng", spec=CROP_FRAME, marks=marks)


def spoiled_shot() -> Shot:
    """Return the shot that went wrong: wide open by mistake, and burnt out."""
    marks = strew(FULL_FRAME, MarkMix(n_specks=9, n_fibres=0), seed=18)
    spec = replace(
        FULL_FRAME,
        seed=24,
        f_number=5.6,
        scene=replace(FULL_FRAME.scene, exposure_frac=1.25, vignetting_frac=0.35),
        file=FileSpec(format="jpeg", quality=96, tags=SPOILED),
    )
    return Shot(path="LF-6_600188/LF60220.jpg", spec=spec, marks=marks)


def shots() -> tuple[Shot, ...]:
    """Return all demo frames."""
    return (*dusty_body(), clean_body(), spoiled_shot())


def draw(shot: Shot) -> DrawnFrame:
    """Draw one demo frame."""
    return draw_frame(shot.spec, shot.marks)


def write(shot: Shot, frames: Path, truths: Path) -> None:
    """Draw one demo frame and write it with its truth."""
    frame = frames / shot.path
    truth = (truths / shot.path).with_suffix(".json")
    for path in (frame, truth):
        path.parent.mkdir(parents=True, exist_ok=True)
    drawn = draw(shot)
    write_frame(drawn, frame)
    write_truth(drawn, truth, file_name=frame.name)


def sums_table(folder: Path) -> str:
    """Return the README's table: size and SHA-256 of every frame and truth file."""
    lines = ["| file | bytes | SHA-256 |", "|---|---|---|"]
    paths = sorted(path for part in ("frames", "truth") for path in (folder / part).rglob("*.*"))
    for path in paths:
        content = path.read_bytes()
        name = path.relative_to(folder).as_posix()
        lines.append(f"| `{name}` | {len(content)} | `{hashlib.sha256(content).hexdigest()}` |")
    return "\n".join(lines)


def main() -> None:
    """Draw everything and renew the table in the README."""
    for shot in shots():
        write(shot, HERE / "frames", HERE / "truth")
        sys.stderr.write(f"drawn: {shot.path}\n")
    readme = HERE / "README.md"
    head, _, rest = readme.read_text(encoding="utf-8").partition(SUMS_BEGIN)
    tail = rest.partition(SUMS_END)[2]
    table = f"{SUMS_BEGIN}\n{sums_table(HERE)}\n{SUMS_END}"
    readme.write_text(f"{head}{table}{tail}", encoding="utf-8")


if __name__ == "__main__":
    main()
