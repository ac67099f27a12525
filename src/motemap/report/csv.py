"""The CSV report: one row a spot, nested names joined with a dot, no frame left out."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from motemap.facts.stops import DEPTH_AT_LABELS
from motemap.optics.apertures import stop_name
from motemap.report.frames import frame_to_dict
from motemap.report.rows import cells, write_cells

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from motemap.records import FrameReport
    from motemap.settings import Settings

FRAME_COLUMNS = (
    "file",
    "state",
    "error.cause",
    "error.repair",
    "camera.maker",
    "camera.model",
    "camera.serial",
    "camera.lens",
    "image.kind",
    "image.width_px",
    "image.height_px",
    "image.exif_orientation",
    "sensor.format",
    "sensor.width_mm",
    "sensor.height_mm",
    "sensor.pitch_um",
    "sensor.source",
    "exposure.f_number",
    "exposure.iso",
    "exposure.shutter_s",
    "exposure.focal_length_mm",
    "exposure.taken_at",
    "shot_checks",
    "sensitivity.noise_frac",
    "sensitivity.smallest_depth_frac",
    "sensitivity.smallest_particle_um",
    "stack.distance_mm",
    "stack.uncertainty_mm",
    "stack.source",
    "stack.is_from_record",
    "counts.found",
    "counts.showing",
    "counts.showing_on_lens",
    *(f"forecast.{label}" for label in DEPTH_AT_LABELS),
    "cleanliness.covered_frac",
    "cleanliness.at_um",
    "cleanliness.particles",
    "cleanliness.equivalent_level",
    "cleanliness.is_upper_bound",
    "verdict.level",
    "verdict.method",
    "verdict.reasons",
    "verdict.cautions",
    "notes",
)
"""What every row says about its frame."""

SPOT_COLUMNS = (
    "id",
    "image_x_px",
    "image_y_px",
    "from_left_mm",
    "from_top_mm",
    "place",
    "depth_frac",
    "snr",
    "width_um",
    "length_um",
    "lost_area_um2",
    "particle_um",
    "particle_um_range.low",
    "particle_um_range.high",
    "kind",
    "layer",
    "shows_from_f",
    *(f"depth_at.{label}" for label in DEPTH_AT_LABELS),
    "reasons",
)
"""What a row says about its spot; empty for a frame without spots. Depths at other apertures that
were asked for stand among those at the full stops."""

DEPTH_PREFIX: Final = "depth_at."
"""What the names of the columns of depths begin with."""


def render(frames: Sequence[FrameReport], settings: Settings | None = None) -> str:
    """Return the report as CSV text with a header row, lines ending in a line feed.

    Parameters
    ----------
    frames : sequence of FrameReport
    settings : Settings, optional
        The photographer's aperture has a column of depths even where no spot is forecast.

    Raises
    ------
    OutputError
        If the spots of a frame are out of order, which is a fault of the program.
    """
    spot_columns = _spot_columns(frames, settings)
    rows = (row for frame in frames for row in _rows(frame_to_dict(frame), spot_columns))
    return write_cells((*FRAME_COLUMNS, *spot_columns), rows)


def _spot_columns(frames: Sequence[FrameReport], settings: Settings | None) -> list[str]:
    """Return `SPOT_COLUMNS` with every aperture at which a depth is told, widest first."""
    told = {label for frame in frames for spot in frame.spots for label in spot.depth_at or ()}
    if settings is not None:
        told.add(stop_name(settings.work.shoot_at_f))
    labels = sorted({*DEPTH_AT_LABELS, *told}, key=float)
    columns = [column for column in SPOT_COLUMNS if not column.startswith(DEPTH_PREFIX)]
    at = SPOT_COLUMNS.index(f"{DEPTH_PREFIX}{DEPTH_AT_LABELS[0]}")
    columns[at:at] = [f"{DEPTH_PREFIX}{label}" for label in labels]
    return columns


def _rows(frame: Mapping[str, Any], spot_columns: Sequence[str]) -> Iterable[list[Any]]:
    checks = [f"{check['name']}: {check['outcome']}" for check in frame["shot_checks"]]
    showing = {f"{tally['f_number']:g}": tally["showing"] for tally in frame["forecast"]}
    flat = _flat({**frame, "shot_checks": checks, "forecast": showing, "spots": None})
    shared = cells(FRAME_COLUMNS, flat)
    for spot in frame["spots"] or [{}]:
        yield shared + cells(spot_columns, _flat(spot))


def _flat(record: Mapping[str, Any], prefix: str = "") -> dict[str, Any]:
    cells: dict[str, Any] = {}
    for key, value in record.items():
        name = f"{prefix}{key}"
        if isinstance(value, dict):
            cells |= _flat(value, prefix=f"{name}.")
        elif name == "particle_um_range" and value is not None:
            cells |= {f"{name}.low": value[0], f"{name}.high": value[1]}
        else:
            cells[name] = value
    return cells
