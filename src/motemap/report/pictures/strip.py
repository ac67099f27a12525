"""The contact strip: the worst marks cut out of the flattened frame and magnified alike."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np
from scipy import ndimage

from motemap.coords import px_to_cell
from motemap.report.pictures.marks import numbered_ids
from motemap.report.pictures.plate import Plate, plate_for
from motemap.report.pictures.view import FACING
from motemap.settings import WorkSettings
from motemap.showing import worst_first

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from motemap.records import FlatFrame, FrameReport, Spot
    from motemap.report.pictures.view import Hold

Item = TypeVar("Item", bound=np.generic)

TILE_PX: Final = 240
"""Side of a tile [px]."""

FIELDS_UM: Final = (150.0, 250.0, 400.0, 600.0, 1000.0, 1500.0, 2500.0, 4000.0, 6000.0)
FIELDS_PX: Final = (40.0, 60.0, 100.0, 150.0, 250.0, 400.0, 600.0, 1000.0)
"""Sides of the piece of frame that a tile may show: on the sensor [um], or stored [px]."""

ROOM_ROUND: Final = 3.5
"""Side of a tile over the width of an ordinary mark."""

ROOM_ALONG: Final = 1.25
"""Side of a tile over the length of a long mark."""

SOFT_FRAC: Final = 0.02
"""Contrast up to which grey follows light in proportion; beyond, ever slower, so that faint
and deep marks can be seen side by side."""

SHALLOWEST_BLACK_FRAC: Final = 0.05
"""Least depth that is drawn black, so that bare noise is not blown up."""

GROUND_GREY: Final = 205
WHITE: Final = 255
"""Grey of the background, and the brightest."""

OUTSIDE_GREY: Final = 238
"""Grey of what lies beyond the picture's edge."""

HALF_CELL: Final = 0.5
"""Whole numbers lie at the middle of cells and pixels."""

DARKEST_PERCENTILE: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tile:
    """One mark, magnified, turned as the body is held.

    Parameters
    ----------
    grey : (TILE_PX, TILE_PX) uint8
        Contrast as grey.
    field : float
        Side of the piece of frame shown: on the sensor [um] if `is_um`, else stored [px].
    """

    spot: Spot
    grey: NDArray[np.uint8]
    field: float
    is_um: bool

    def __post_init__(self) -> None:
        self.grey.setflags(write=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """The worst marks of one frame; small enough to keep when the frame is gone.

    Parameters
    ----------
    black_frac : float
        Share of light lost that is drawn black, in every tile (0-1).
    """

    tiles: tuple[Tile, ...]
    black_frac: float


def cut_strip(
    report: FrameReport,
    flat: FlatFrame,
    *,
    work: WorkSettings | None = None,
    hold: Hold = FACING,
) -> Strip:
    """Cut the worst marks out of a flattened frame.

    Parameters
    ----------
    report : FrameReport
        With marks in image positions, and sensor pitch where it is known.
    flat : FlatFrame
        The frame the report was made from.

    Notes
    -----
    Grey is the same function of contrast in all tiles: ``asinh(contrast / 0.02)`` scaled so
    that `Strip.black_frac` is black.
    """
    work = work or WorkSettings()
    plate = plate_for(report, hold)
    wanted = numbered_ids(report.spots, work)
    spots = [spot for spot in worst_first(report.spots, work) if spot.id in wanted]
    pitch_um = report.sensor.pitch_um if report.sensor else None
    pieces = [
        _piece(flat, spot, field / (pitch_um or 1.0), plate)
        for spot, field in zip(spots, _fields(spots, pitch_um), strict=True)
    ]
    black_frac = _black_frac([contrast for contrast, _ in pieces])
    tiles = tuple(
        Tile(
            spot=spot,
            grey=_grey(contrast, is_inside, black_frac),
            field=field,
            is_um=pitch_um is not None,
        )
        for spot, field, (contrast, is_inside) in zip(
            spots, _fields(spots, pitch_um), pieces, strict=True
        )
    )
    return Strip(tiles=tiles, black_frac=black_frac)


def _fields(spots: Sequence[Spot], pitch_um: float | None) -> list[float]:
    """Return the side of each tile: one for all, save for marks too long for it."""
    ladder = FIELDS_PX if pitch_um is None else FIELDS_UM
    if pitch_um is None:
        return [ladder[1]] * len(spots)
    widths = sorted(spot.width_um or 0.0 for spot in spots)
    usual = _fitting(ladder, widths[len(widths) // 2] * ROOM_ROUND) if widths else ladder[0]
    return [
        max(usual, _fitting(ladder, max(spot.length_um or 0.0, spot.width_um or 0.0) * ROOM_ALONG))
        for spot in spots
    ]


def _fitting(ladder: Sequence[float], wanted: float) -> float:
    return next((side for side in ladder if side >= wanted), ladder[-1])


def _piece(
    flat: FlatFrame, spot: Spot, field_px: float, plate: Plate
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Return contrast round a mark, as seen, and which of it lies in the frame."""
    steps = ((np.arange(TILE_PX) + 0.5) / TILE_PX - 0.5) * field_px
    rows = px_to_cell(spot.image_y_px + steps, flat.bin_px)
    columns = px_to_cell(spot.image_x_px + steps, flat.bin_px)
    n_rows, n_columns = flat.contrast.shape
    first_row, last_row = _window(rows, n_rows)
    first_column, last_column = _window(columns, n_columns)
    near = flat.contrast[first_row:last_row, first_column:last_column]
    where = np.meshgrid(rows - first_row, columns - first_column, indexing="ij")
    # Linear on purpose: higher orders overshoot and would draw bright rims that are not there.
    contrast = ndimage.map_coordinates(near, where, order=1, mode="nearest")
    is_inside = np.outer(_within(rows, n_rows), _within(columns, n_columns))
    return _as_seen(contrast.astype(np.float32), plate), _as_seen(is_inside, plate)


def _window(places: NDArray[np.float64], n_cells: int) -> tuple[int, int]:
    """Return first and last but one cell needed to interpolate at `places`, at least one."""
    margin = 4
    first = min(max(int(places[0]) - margin, 0), n_cells - 1)
    return first, max(min(int(places[-1]) + margin + 1, n_cells), first + 1)


def _within(places: NDArray[np.float64], n_cells: int) -> NDArray[np.bool_]:
    return (places >= -HALF_CELL) & (places <= n_cells - HALF_CELL)


def _as_seen(stored: NDArray[Item], plate: Plate) -> NDArray[Item]:
    """Turn a piece of the stored picture as the person at the bench sees it."""
    if not plate.is_sensor:
        return stored
    # The lens turned the picture: upright, looking into the mount, only top and bottom swap.
    seen = stored[::-1]
    if plate.view.is_mirrored:
        seen = seen[:, ::-1]
    return np.rot90(seen, k=-plate.view.quarter_turns)


def _black_frac(pieces: Sequence[NDArray[np.float32]]) -> float:
    deepest = max((-float(np.percentile(piece, DARKEST_PERCENTILE)) for piece in pieces), default=0)
    return min(max(deepest, SHALLOWEST_BLACK_FRAC), 1.0)


def _grey(
    contrast: NDArray[np.float32], is_inside: NDArray[np.bool_], black_frac: float
) -> NDArray[np.uint8]:
    reach = np.arcsinh(black_frac / SOFT_FRAC)
    level = GROUND_GREY * (1.0 + np.arcsinh(contrast / SOFT_FRAC) / reach)
    grey = np.clip(np.rint(level), 0, WHITE)
    return np.where(is_inside, grey, OUTSIDE_GREY).astype(np.uint8)
