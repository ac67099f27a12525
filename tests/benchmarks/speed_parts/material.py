"""The files that are timed: drawn by the package, the largest from a drawn patch."""

from __future__ import annotations

import math
import shutil
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.spatial import cKDTree

from motemap.synth.files import write_dng
from motemap.synth.frame import DrawnFrame, draw_frame, make_marks
from motemap.synth.marks import MarkMix
from motemap.synth.spec import FileSpec, FrameSpec
from motemap.synth.store import SUFFIXES, frame_tags, write_frame
from speed_parts.sizes import PX_PER_MP, Size

if TYPE_CHECKING:
    from pathlib import Path

    from motemap.synth.camera import Codes
    from motemap.synth.marks import Mark
    from motemap.synth.spec import FileFormat

SENSOR_WIDTH_UM: Final = 36_000.0
COARSEST_UM: Final = 6.0
"""Frames too small for a whole sensor are drawn as a part of one."""
LONG_SIDE, SHORT_SIDE = 3, 2
N_KINDS: Final = 4
"""Frames of a folder that are drawn; the others are copies of these."""
MARGIN_PX: Final = 14
"""Marks of a dense frame keep so far from its edge."""
APART_PX: Final = 26.0
"""They lie so far apart: most can be told from each other."""
THROWN_PER_MARK: Final = 4


def spec_of(width_px: int, height_px: int, *, form: FileFormat = "dng", seed: int = 1) -> FrameSpec:
    """Return the record of a plain frame of a full-frame body with some dust."""
    return FrameSpec(
        seed=seed,
        width_px=width_px,
        height_px=height_px,
        pitch_um=min(SENSOR_WIDTH_UM / width_px, COARSEST_UM),
        file=FileSpec(format=form, compression="ljpeg" if form == "dng" else "none"),
    )


def draw_single(
    size: Size, folder: Path, form: FileFormat
) -> tuple[Path, DrawnFrame, tuple[Mark, ...]]:
    """Draw the frame that is timed by itself; return what lies on it too."""
    spec = spec_of(*size.single_px, form=form)
    laid = make_marks(spec)
    drawn = draw_frame(spec, laid)
    path = folder / f"single{SUFFIXES[form]}"
    write_frame(drawn, path)
    return path, drawn, laid


def draw_folder(size: Size, folder: Path) -> dict[int, Path]:
    """Draw a folder of frames for each number of frames."""
    drawn = [folder / f"kind-{seed}.dng" for seed in range(N_KINDS)]
    for seed, path in enumerate(drawn):
        write_frame(draw_frame(spec_of(*size.folder_px, seed=seed + 1)), path)
    folders = {}
    for n_frames in size.n_frames:
        folders[n_frames] = folder / f"of-{n_frames}"
        folders[n_frames].mkdir()
        for number in range(n_frames):
            target = folders[n_frames] / f"MOTE{number:04}.dng"
            # Links of the file system: 40 copies would fill a small disk.
            target.hardlink_to(drawn[number % N_KINDS])
    return folders


def draw_scale(size: Size, folder: Path) -> dict[float, Path]:
    """Draw one frame of each number of megapixels, all of the same patch."""
    spec = even(spec_of(*size.patch_px))
    patch = draw_frame(spec)
    paths = {}
    for wished_mp in size.pixels_mp:
        long_px = 2 * round(math.sqrt(wished_mp * PX_PER_MP * LONG_SIDE / SHORT_SIDE) / 2)
        short_px = 2 * round(long_px * SHORT_SIDE / LONG_SIDE / 2)
        path = folder / f"of-{wished_mp:g}-mp.dng"
        write_mirrored(patch, path, width_px=long_px, height_px=short_px)
        paths[wished_mp] = path
    return paths


def draw_spots(size: Size, folder: Path) -> dict[int, Path]:
    """Draw frames of one size with few and with many marks."""
    spec = spec_of(*size.folder_px)
    paths = {}
    for n_spots in size.n_spots:
        paths[n_spots] = folder / f"spots-{n_spots}.dng"
        write_frame(draw_frame(spec, spread_marks(spec, n_spots)), paths[n_spots])
    return paths


def spread_marks(spec: FrameSpec, n_marks: int) -> tuple[Mark, ...]:
    """Return so many specks anywhere, none of which touches another.

    Not on a grid: the search would have to take out its period, as it does that of a screen.
    """
    specks = make_marks(replace(spec, mix=MarkMix(n_specks=n_marks, n_fibres=0, smallest_um=15.0)))
    rng = np.random.default_rng(spec.seed)
    sides_px = np.array([spec.height_px, spec.width_px])
    thrown = rng.uniform(MARGIN_PX, sides_px - MARGIN_PX, size=(THROWN_PER_MARK * n_marks, 2))
    # Who lies near an earlier one goes (a hard-core process of B. Matern's second type, 1960).
    pairs = cKDTree(thrown).query_pairs(APART_PX, output_type="ndarray")
    alone = np.delete(thrown, np.unique(pairs.max(axis=1)), axis=0)
    if len(alone) < n_marks:
        raise ValueError(f"A frame of {sides_px} px has no room for {n_marks} marks.")
    return tuple(
        replace(mark, row_px=float(row_px), col_px=float(col_px))
        for mark, (row_px, col_px) in zip(specks, alone[:n_marks], strict=True)
    )


def even(spec: FrameSpec) -> FrameSpec:
    """Return the record with even light, so that mirrored copies join without an edge."""
    scene = replace(spec.scene, vignetting_frac=0.0, tilt_frac=0.0)
    return replace(spec, scene=scene)


def write_mirrored(patch: DrawnFrame, path: Path, *, width_px: int, height_px: int) -> None:
    """Write a raw made of a patch and its mirror images.

    Mirrored about the last photosite, so that the mosaic goes on as it should.
    """
    spec = patch.spec
    codes = mirrored(mirrored(patch.codes, height_px, 0), width_px, 1)
    write_dng(
        path,
        codes.astype(np.uint16, copy=False),
        tags=frame_tags(patch),
        cfa=spec.file.mosaic,
        black=spec.sensor.black,
        white=spec.sensor.white,
        compression=spec.file.compression,
    )


def mirrored(codes: Codes, length_px: int, axis: int) -> Codes:
    """Return a plane that runs to and fro along an axis until it is as long as wished."""
    span = codes.shape[axis] - 1
    along = np.arange(length_px) % (2 * span)
    taken: Codes = np.take(codes, np.where(along > span, 2 * span - along, along), axis=axis)
    return taken


def clear(folder: Path) -> None:
    """Remove what was drawn for one part, so that the next has room."""
    shutil.rmtree(folder, ignore_errors=True)
