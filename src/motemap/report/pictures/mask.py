"""The retouch mask: white where a mark shows in pictures taken at some aperture."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from PIL import Image

from motemap.coords import UM_PER_MM, cell_to_px
from motemap.errors import OutputError
from motemap.facts.orientation import orientations
from motemap.optics.overlap import blur_um
from motemap.report.pictures.mark_shape import mark_shape
from motemap.settings import WorkSettings
from motemap.showing import shows_on_sensor

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.records import FlatFrame, FrameReport, Spot

MaskForm = Literal["png", "tif"]

SPARE_FRAC: Final = 0.1
SPARE_PX: Final = 2.0
"""How much farther than its forecast shadow a mark is masked, on each side: the soft rim."""

SOFT_PX: Final = 1.0
"""Width of the rim between white and black [px]."""

WHITE: Final = 255
HALF_PX: Final = 0.5
"""Whole numbers lie at pixel centres."""

SAME_SIZE_FRAC: Final = 0.02
"""Up to this difference two pictures of a sensor differ by a cut at the edges, not in scale."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoShape:
    """Size of a photograph as stored [px], and its Exif orientation (1-8, None if unknown)."""

    width_px: int
    height_px: int
    exif_orientation: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """From pixels of the test shot to pixels of the photograph: about the middles of both."""

    scale: float
    test_middle: tuple[float, float]
    photo_middle: tuple[float, float]

    def point(self, image_x_px: float, image_y_px: float) -> tuple[float, float]:
        """Return column and row in the stored photograph [px]."""
        column = self.photo_middle[0] + self.scale * (image_x_px - self.test_middle[0])
        row = self.photo_middle[1] + self.scale * (image_y_px - self.test_middle[1])
        return column, row


def retouch_mask(
    report: FrameReport,
    *,
    f_number: float,
    form: MaskForm = "png",
    work: WorkSettings | None = None,
    photo: PhotoShape | None = None,
    flat: FlatFrame | None = None,
) -> bytes:
    """Return a mask for pictures taken at an aperture, as a grey 8-bit PNG or TIFF file.

    Parameters
    ----------
    report : FrameReport
        Test shot of the body that took the pictures.
    f_number : float
        Aperture of the pictures.
    work : WorkSettings, optional
        The depth from which on a mark shows.
    photo : PhotoShape, optional
        Size and orientation of the pictures; the test shot's own when left out.
    flat : FlatFrame, optional
        The flattened test shot, which gives fibres and smears their shape; without it they
        get a disc that covers them whatever their direction.

    Raises
    ------
    OutputError
        If there is no forecast for this frame, or the pictures cannot be laid over it.
    """
    mask = mask_pixels(report, f_number=f_number, work=work, photo=photo, flat=flat)
    stream = io.BytesIO()
    if form == "png":
        Image.fromarray(mask).save(stream, format="PNG")
    else:
        Image.fromarray(mask).save(stream, format="TIFF", compression="tiff_adobe_deflate")
    return stream.getvalue()


def mask_pixels(
    report: FrameReport,
    *,
    f_number: float,
    work: WorkSettings | None = None,
    photo: PhotoShape | None = None,
    flat: FlatFrame | None = None,
) -> NDArray[np.uint8]:
    """Return the mask as (H, W) uint8, turned as the photograph is displayed.

    Otherwise as `retouch_mask`.
    """
    target = photo or _own_shape(report)
    fit = fit_shapes(report, target)
    at_aperture = replace(work or WorkSettings(), shoot_at_f=f_number)
    mask = np.zeros((target.height_px, target.width_px), np.uint8)
    for spot in report.spots:
        if shows_on_sensor(spot, at_aperture):
            _paint(mask, spot, _Shadow.of(spot, report, f_number), fit, flat)
    return displayed(mask, target.exif_orientation)


def _own_shape(report: FrameReport) -> PhotoShape:
    if report.image is None:
        raise OutputError(
            "There is no mask for a picture that could not be read.",
            repair="Take another test shot.",
            path=report.file,
        )
    return PhotoShape(
        width_px=report.image.width_px,
        height_px=report.image.height_px,
        exif_orientation=report.image.exif_orientation,
    )


def fit_shapes(report: FrameReport, photo: PhotoShape) -> Fit:
    """Return how a photograph lies over a test shot of the same sensor.

    A picture cut at the edges (raw against the camera's own, 16:9, square) keeps its middle; a
    reduced one its scale as well.

    Raises
    ------
    OutputError
        If one of the two stands upright and the other does not: it was turned after the shot.
    """
    test = _own_shape(report)
    if (test.width_px < test.height_px) != (photo.width_px < photo.height_px):
        raise OutputError(
            "The photograph's pixels were turned by a program; which way is lost.",
            repair="Use the picture as it came out of the camera, or turn the mask yourself.",
            path=report.file,
        )
    scale = max(photo.width_px / test.width_px, photo.height_px / test.height_px)
    if abs(scale - 1) <= SAME_SIZE_FRAC:
        scale = 1.0
    return Fit(
        scale=scale,
        test_middle=((test.width_px - 1) / 2, (test.height_px - 1) / 2),
        photo_middle=((photo.width_px - 1) / 2, (photo.height_px - 1) / 2),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Shadow:
    """Forecast size of a mark's shadow, in pixels of the test shot.

    `grown_px` is how much farther its rim lies from the particle than in the test shot.
    """

    width_px: float
    length_px: float
    grown_px: float

    @classmethod
    def of(cls, spot: Spot, report: FrameReport, f_number: float) -> _Shadow:
        """Return the shadow at an aperture: the particle's size plus the blur on both sides.

        Notes
        -----
        Ray model, width = d + tau / N; wave optics keeps the mark inside that width.
        """
        pitch_um = report.sensor.pitch_um if report.sensor else None
        distance_mm = report.stack.distance_mm
        if pitch_um is None or distance_mm is None or spot.width_um is None:
            raise OutputError(
                "The size of shadows cannot be forecast: sensor or stack distance are unknown.",
                repair="Give --sensor and --stack-mm.",
                path=report.file,
            )
        blur = blur_um(distance_mm * UM_PER_MM, f_number)
        test_f = report.exposure.f_number or f_number
        grown = blur - blur_um(distance_mm * UM_PER_MM, test_f)
        across = spot.particle_um if spot.particle_um is not None else spot.width_um
        along = max(across, (spot.length_um or 0.0) if _is_long(spot) else 0.0)
        return cls(
            width_px=(across + blur) / pitch_um,
            length_px=(along + blur) / pitch_um,
            grown_px=grown / 2 / pitch_um,
        )


def _is_long(spot: Spot) -> bool:
    return spot.kind in {"fibre", "smear"}


def _paint(
    mask: NDArray[np.uint8], spot: Spot, shadow: _Shadow, fit: Fit, flat: FlatFrame | None
) -> None:
    """Paint one mark white; fibres and smears by their shape where it is known."""
    spare_px = SPARE_PX + SPARE_FRAC * shadow.width_px / 2
    shape = mark_shape(flat, spot) if flat is not None and _is_long(spot) else None
    if flat is None or shape is None:
        column, row = fit.point(spot.image_x_px, spot.image_y_px)
        radius_px = (shadow.length_px / 2 + spare_px) * fit.scale
        _paint_disc(mask, column, row, radius_px)
        return
    # Discs round every cell of the shape: exact enough, and safe under any scale and crop.
    reach_px = max(shadow.grown_px, 0.0) + spare_px + flat.bin_px / 2
    for cell_row, cell_column in shape:
        column, row = fit.point(
            cell_to_px(cell_column, flat.bin_px),
            cell_to_px(cell_row, flat.bin_px),
        )
        _paint_disc(mask, column, row, reach_px * fit.scale)


def _paint_disc(mask: NDArray[np.uint8], column: float, row: float, radius_px: float) -> None:
    reach = radius_px + SOFT_PX
    n_rows, n_columns = mask.shape
    top, bottom = max(math.floor(row - reach), 0), min(math.ceil(row + reach) + 1, n_rows)
    left, right = max(math.floor(column - reach), 0), min(math.ceil(column + reach) + 1, n_columns)
    if top >= bottom or left >= right:
        return
    aside = np.arange(left, right) - column
    below = np.arange(top, bottom) - row
    distance = np.hypot(below[:, None], aside[None, :])
    level = np.clip((radius_px - distance) / SOFT_PX + HALF_PX, 0, 1)
    window = mask[top:bottom, left:right]
    np.maximum(window, np.rint(level * WHITE).astype(np.uint8), out=window)


def displayed(stored: NDArray[np.uint8], exif_orientation: int | None) -> NDArray[np.uint8]:
    """Return a stored picture as it is displayed; unknown orientation counts as upright.

    References
    ----------
    CIPA DC-008 (Exif), Orientation: where stored row 0 and column 0 lie when displayed.
    """
    fact = orientations()[exif_orientation or 1]
    is_turned = fact.row0_side in {"left", "right"}
    seen = stored.T if is_turned else stored
    if "bottom" in {fact.row0_side, fact.col0_side}:
        seen = seen[::-1]
    if "right" in {fact.row0_side, fact.col0_side}:
        seen = seen[:, ::-1]
    return np.ascontiguousarray(seen)
