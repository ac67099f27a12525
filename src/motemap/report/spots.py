"""The spots of a report, rounded column by column, as plain dictionaries and back."""

from __future__ import annotations

from itertools import islice
from typing import TYPE_CHECKING, Any

from motemap.records import Spot
from motemap.report.columns import positions, significants
from motemap.report.plain import encodable
from motemap.report.reading import known_keys

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence


def spot_columns(spots: Sequence[Spot]) -> dict[str, Sequence[Any]]:
    """Return what a report says of spots, a column for each key and in their order."""
    return {
        "id": [spot.id for spot in spots],
        "image_x_px": positions([spot.image_x_px for spot in spots]),
        "image_y_px": positions([spot.image_y_px for spot in spots]),
        "from_left_mm": positions([spot.from_left_mm for spot in spots]),
        "from_top_mm": positions([spot.from_top_mm for spot in spots]),
        "place": [None if spot.place is None else encodable(spot.place) for spot in spots],
        "depth_frac": significants([spot.depth_frac for spot in spots]),
        "snr": significants([spot.snr for spot in spots]),
        "width_um": significants([spot.width_um for spot in spots]),
        "length_um": significants([spot.length_um for spot in spots]),
        "lost_area_um2": significants([spot.lost_area_um2 for spot in spots]),
        "particle_um": significants([spot.particle_um for spot in spots]),
        "particle_um_range": _ranges([spot.particle_um_range for spot in spots]),
        "kind": [spot.kind for spot in spots],
        "layer": [spot.layer for spot in spots],
        "shows_from_f": significants([spot.shows_from_f for spot in spots]),
        "depth_at": _depths_at([spot.depth_at for spot in spots]),
        "reasons": [[encodable(reason) for reason in spot.reasons] for spot in spots],
    }


def spots_to_dicts(spots: Sequence[Spot]) -> list[dict[str, Any]]:
    """Return spots as plain dictionaries, in their order."""
    columns = spot_columns(spots)
    return [
        dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)
    ]


def spot_from_dict(record: Mapping[str, Any]) -> Spot:
    """Return the spot that `spots_to_dicts` wrote.

    Raises
    ------
    KeyError, TypeError, ValueError
        If it did not.
    """
    low_high = record["particle_um_range"]
    for stop in record.get("depth_at") or ():
        # Damage that would come to light no sooner than somebody asks for a depth between.
        float(stop)
    return Spot(
        **{
            **known_keys(Spot, record),
            "particle_um_range": None if low_high is None else (low_high[0], low_high[1]),
            "reasons": tuple(record["reasons"]),
        }
    )


def _ranges(ranges: Sequence[tuple[float, float] | None]) -> list[list[float] | None]:
    """Round ranges; None where either end is no number."""
    lows, highs = (
        significants([None if ends is None else ends[side] for ends in ranges]) for side in (0, 1)
    )
    return [
        None if low is None or high is None else [low, high]
        for low, high in zip(lows, highs, strict=True)
    ]


def _depths_at(
    depths: Sequence[Mapping[str, float] | None],
) -> list[dict[str, float | None] | None]:
    """Round the depths of many marks at other apertures."""
    rounded = iter(significants([depth for one in depths for depth in (one or {}).values()]))
    return [
        None if one is None else dict(zip(one, islice(rounded, len(one)), strict=True))
        for one in depths
    ]
