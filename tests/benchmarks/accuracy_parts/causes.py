"""Says where a false mark probably comes from, from what is known of the drawn frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from accuracy_parts.scoring import Found, Match
    from accuracy_parts.truths import Truth
    from motemap.synth.frame import DrawnFrame
    from motemap.synth.spec import FrameSpec

BORDER_PX = 40.0
CORNER_OF_SIDE = 0.06
STEEP_VIGNETTING = 0.4
DEFECT_REACH_PX = 3
RAW_DEFECT_FRAC, PICTURE_DEFECT_FRAC = 0.2, 0.04
DEFECT_WIDTH_PX = 6.0
SHALLOW_CODES_FRAC = 0.02
FRAGMENT_OF_REACH = 2.5


@dataclass(frozen=True, slots=True, kw_only=True)
class FalseMark:
    """A report of something that is not there, or of something twice."""

    cause: str
    row_px: float
    col_px: float
    depth_frac: float | None
    width_px: float | None
    snr: float | None
    layer: str
    kind: str


def false_marks(
    drawn: DrawnFrame, truths: Sequence[Truth], found: Sequence[Found], result: Match
) -> tuple[FalseMark, ...]:
    """Return every extra report with its probable cause."""
    return tuple(
        FalseMark(
            cause=_piece_of(found[index], truths) or _source(found[index], drawn),
            row_px=found[index].row_px,
            col_px=found[index].col_px,
            depth_frac=found[index].depth_frac,
            width_px=found[index].width_px,
            snr=found[index].snr,
            layer=found[index].layer,
            kind=found[index].kind,
        )
        for index in result.extra
    )


PIECES = {"fibre": "fragment of a fibre", "speck": "split speck"}


def _piece_of(mark: Found, truths: Sequence[Truth]) -> str | None:
    """Return which drawn mark a report is a piece of, when it lies on one."""
    at = np.array([mark.row_px]), np.array([mark.col_px])
    nearest, cause = FRAGMENT_OF_REACH, None
    for truth in truths:
        ratio = float(truth.reach_ratio(*at)[0])
        if truth.is_lens and ratio < 1.0 and mark.layer != "lens side":
            return "lens dust taken for sensor dust"
        if ratio < nearest:
            nearest = ratio
            cause = PIECES.get(truth.form, "fragment of a film or drop")
            cause = "fragment of lens dust" if truth.is_lens else cause
            if mark.layer == "lens side" and not truth.is_lens:
                cause = f"{truth.form} taken for lens dust"
    return cause


def _source(mark: Found, drawn: DrawnFrame) -> str:
    """Return what in the frame most likely raised a report where no mark is."""
    spec = drawn.spec
    height_px, width_px = drawn.codes.shape[:2]
    from_edge_px = min(
        mark.row_px, mark.col_px, height_px - 1 - mark.row_px, width_px - 1 - mark.col_px
    )
    if _is_corner(mark, height_px, width_px) and _is_dark_in_corners(spec):
        return "vignetted corner"
    if from_edge_px < BORDER_PX:
        return "border"
    if _has_defect(drawn, mark):
        return "hot or dead pixels"
    if mark.layer == "lens side":
        return "lens dust that is not there"
    return _texture(mark, spec)


def _is_corner(mark: Found, height_px: int, width_px: int) -> bool:
    near_row = min(mark.row_px, height_px - 1 - mark.row_px) < CORNER_OF_SIDE * width_px
    near_col = min(mark.col_px, width_px - 1 - mark.col_px) < CORNER_OF_SIDE * width_px
    return bool(near_row and near_col)


def _is_dark_in_corners(spec: FrameSpec) -> bool:
    scene = spec.scene
    return scene.vignetting_frac > STEEP_VIGNETTING or scene.corner_frac + scene.circle_frac > 0


def _has_defect(drawn: DrawnFrame, mark: Found) -> bool:
    """Whether single photosites near a narrow report stick out from those of their colour."""
    sensor = drawn.spec.sensor
    if sensor.n_hot + sensor.n_dead + sensor.n_clusters == 0:
        return False
    if mark.width_px is not None and mark.width_px > DEFECT_WIDTH_PX * 2:
        return False
    window = _light_near(drawn, mark)
    if window.size == 0:
        return False
    level = np.median(window)
    # A finished picture has smoothed its defects down to a few codes.
    least = PICTURE_DEFECT_FRAC if drawn.spec.is_picture else RAW_DEFECT_FRAC
    return bool((np.abs(window / level - 1.0) > least).any())


def _light_near(drawn: DrawnFrame, mark: Found) -> NDArray[np.float32]:
    """Stored values round a report, each colour of a mosaic brought to its own median."""
    row, col = round(mark.row_px), round(mark.col_px)
    reach = DEFECT_REACH_PX
    codes = drawn.codes[
        max(row - reach, 0) : row + reach + 1, max(col - reach, 0) : col + reach + 1
    ]
    window: NDArray[np.float32] = codes.astype(np.float32)
    if drawn.spec.is_picture or window.ndim > 2:
        return window
    window = window - drawn.spec.sensor.black
    step = 6 if drawn.spec.file.mosaic == "XTRANS" else 2
    for r in range(min(step, window.shape[0])):
        for c in range(min(step, window.shape[1])):
            phase = window[r::step, c::step]
            phase /= max(float(np.median(phase)), 1.0)
    return window


def _texture(mark: Found, spec: FrameSpec) -> str:
    scene = spec.scene
    is_shallow = mark.depth_frac is not None and mark.depth_frac < SHALLOW_CODES_FRAC
    present = {
        "hand's shadow": scene.hand_frac > 0,
        "screen structure": scene.screen_frac > 0,
        "mottling": scene.mottle_frac > 0,
        "banding": scene.row_banding_frac + scene.col_banding_frac > 0,
        "phase-detect rows": spec.sensor.phase_frac != 0,
        "contour ring of codes": spec.is_picture and spec.picture.bits == 8 and is_shallow,
        "edge of the lens's circle": scene.circle_frac + scene.corner_frac > 0,
    }
    likely = [name for name, is_there in present.items() if is_there]
    return " or ".join(likely[:2]) if likely else "noise"
