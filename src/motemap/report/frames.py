"""One frame as plain dictionaries, key by key as in ``docs/reference/json.md``, and back."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

from motemap.records import (
    Camera,
    Counts,
    ErrorNote,
    Exposure,
    FrameReport,
    ImageInfo,
    Sensitivity,
    Sensor,
    ShotCheck,
    Stack,
    Verdict,
)
from motemap.report.order import require_order
from motemap.report.plain import encodable
from motemap.report.reading import known_keys
from motemap.report.rounding import finite, significant
from motemap.report.spots import spot_from_dict, spots_to_dicts
from motemap.tallies import ApertureTally, Cleanliness

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

FINE_DIGITS = 6
"""Significant digits of what a camera states exactly: pitch, focal length, shutter time."""

BITS_BY_KIND = {"jpeg": 8}
"""Bits per sample taken when a report is read back, which does not carry them."""

MOST_BITS = 16


def frame_to_dict(frame: FrameReport) -> dict[str, Any]:
    """Return one frame of a report; an unreadable one has every key too.

    Raises
    ------
    OutputError
        If the spots are out of order, which is a fault of the program.
    """
    require_order(frame.spots, path=frame.file)
    return {
        "file": encodable(frame.file),
        "state": frame.state,
        "error": _error(frame.error),
        "camera": _texts(frame.camera, ("maker", "model", "serial", "lens")),
        "image": _image(frame.image),
        "sensor": _sensor(frame.sensor),
        "exposure": _exposure(frame.exposure),
        "shot_checks": [_shot_check(check) for check in frame.shot_checks],
        "sensitivity": _numbers(
            frame.sensitivity, ("noise_frac", "smallest_depth_frac", "smallest_particle_um")
        ),
        "stack": {
            **_numbers(frame.stack, ("distance_mm", "uncertainty_mm")),
            "source": frame.stack.source,
            "is_from_record": frame.stack.is_from_record,
        },
        "spots": spots_to_dicts(frame.spots),
        "counts": {
            "found": frame.counts.found,
            "showing": frame.counts.showing,
            "showing_on_lens": frame.counts.showing_on_lens,
        },
        "forecast": [tally_to_dict(tally) for tally in frame.forecast],
        "cleanliness": _cleanliness(frame.cleanliness),
        "verdict": _verdict(frame.verdict),
        "notes": _lines(frame.notes),
    }


def frame_from_dict(record: Mapping[str, Any]) -> FrameReport:
    """Return the frame that `frame_to_dict` wrote, to the digits it wrote.

    Keys that a later version added are passed over; what an earlier one did not tell is unknown.
    Bits, mosaic and curve of the image are not in the report and come back as they are
    usual for its kind.
    """
    return FrameReport(
        file=record["file"],
        state=record["state"],
        error=ErrorNote(**known_keys(ErrorNote, record["error"])) if record["error"] else None,
        camera=Camera(**known_keys(Camera, record["camera"])),
        image=_read_image(record["image"]),
        sensor=_read_sensor(record["sensor"]),
        exposure=Exposure(**known_keys(Exposure, record["exposure"])),
        shot_checks=tuple(
            ShotCheck(**known_keys(ShotCheck, check)) for check in record["shot_checks"]
        ),
        sensitivity=Sensitivity(**known_keys(Sensitivity, record["sensitivity"])),
        stack=Stack(**known_keys(Stack, record["stack"])),
        spots=tuple(spot_from_dict(spot) for spot in record["spots"]),
        # Records kept before these three were reported do not have them.
        counts=Counts(**{"showing_on_lens": None, **known_keys(Counts, record["counts"])}),
        forecast=tuple(tally_from_dict(row) for row in record.get("forecast", ())),
        cleanliness=_read_cleanliness(record.get("cleanliness")),
        verdict=_read_verdict(record["verdict"]),
        notes=tuple(record.get("notes", ())),
    )


def tally_to_dict(tally: ApertureTally) -> dict[str, Any]:
    """Return what pictures at one aperture would show."""
    return {
        "f_number": _number(tally.f_number),
        "showing": tally.n_showing,
        "unknown": tally.n_unknown,
        "worst": list(tally.worst),
        "worst_depth_frac": [significant(depth) for depth in tally.worst_depth_frac],
    }


def tally_from_dict(record: Mapping[str, Any]) -> ApertureTally:
    """Return the tally that `tally_to_dict` wrote."""
    return ApertureTally(
        f_number=record["f_number"],
        n_showing=record["showing"],
        n_unknown=record["unknown"],
        worst=tuple(record["worst"]),
        worst_depth_frac=tuple(record["worst_depth_frac"]),
    )


def _read_sensor(record: Mapping[str, Any]) -> Sensor | None:
    return Sensor(**known_keys(Sensor, record)) if record["source"] else None


def _read_image(record: Mapping[str, Any]) -> ImageInfo | None:
    kind = record["kind"]
    if kind is None:
        return None
    usual = {
        "bits": BITS_BY_KIND.get(kind, MOST_BITS),
        "curve": "linear" if kind == "raw" else "srgb",
    }
    return ImageInfo(**{**known_keys(ImageInfo, record), **usual})


def _read_cleanliness(record: Mapping[str, Any] | None) -> Cleanliness | None:
    if record is None:
        return None
    return Cleanliness(
        at_um=record["at_um"],
        n_particles=record["particles"],
        equivalent_level=record["equivalent_level"],
        is_upper_bound=record["is_upper_bound"],
        covered_frac=record["covered_frac"],
    )


def _read_verdict(record: Mapping[str, Any]) -> Verdict | None:
    if record["level"] is None:
        return None
    return Verdict(
        level=record["level"],
        method=record["method"],
        reasons=tuple(record["reasons"]),
        cautions=tuple(record["cautions"]),
    )


def _text(value: str | None) -> str | None:
    return None if value is None else encodable(value)


def _lines(values: Iterable[str]) -> list[str]:
    return [encodable(value) for value in values]


def _number(value: float | None, digits: int | None = None) -> float | None:
    value = finite(value)
    if value is None:
        return None
    return significant(value) if digits is None else significant(value, digits)


def _numbers(record: object, names: tuple[str, ...]) -> dict[str, float | None]:
    return {name: _number(getattr(record, name)) for name in names}


def _texts(record: object, names: tuple[str, ...]) -> dict[str, str | None]:
    return {name: _text(getattr(record, name)) for name in names}


def _error(error: ErrorNote | None) -> dict[str, str] | None:
    if error is None:
        return None
    return {"cause": encodable(error.cause), "repair": encodable(error.repair)}


def _image(image: ImageInfo | None) -> dict[str, Any]:
    names = ("kind", "width_px", "height_px", "exif_orientation")
    return {name: None if image is None else getattr(image, name) for name in names}


def _sensor(sensor: Sensor | None) -> dict[str, Any]:
    if sensor is None:
        return dict.fromkeys(("format", "width_mm", "height_mm", "pitch_um", "source"))
    return {
        "format": _text(sensor.format),
        "width_mm": _number(sensor.width_mm, FINE_DIGITS),
        "height_mm": _number(sensor.height_mm, FINE_DIGITS),
        "pitch_um": _number(sensor.pitch_um, FINE_DIGITS),
        "source": sensor.source,
    }


def _exposure(exposure: Exposure) -> dict[str, Any]:
    return {
        "f_number": _number(exposure.f_number, FINE_DIGITS),
        "iso": _number(exposure.iso, FINE_DIGITS),
        "shutter_s": _number(exposure.shutter_s, FINE_DIGITS),
        "focal_length_mm": _number(exposure.focal_length_mm, FINE_DIGITS),
        "taken_at": _text(exposure.taken_at),
    }


def _shot_check(check: ShotCheck) -> dict[str, Any]:
    is_word = isinstance(check.value, str)
    return {
        "name": encodable(check.name),
        "value": _text(cast("str", check.value))
        if is_word
        else _number(cast("float | None", check.value)),
        "wanted": encodable(check.wanted),
        "outcome": check.outcome,
        "advice": _text(check.advice),
    }


def _cleanliness(dirt: Cleanliness | None) -> dict[str, Any] | None:
    if dirt is None:
        return None
    return {
        "covered_frac": _number(dirt.covered_frac),
        "at_um": _number(dirt.at_um),
        "particles": dirt.n_particles,
        "equivalent_level": _number(dirt.equivalent_level),
        "is_upper_bound": dirt.is_upper_bound,
    }


def _verdict(verdict: Verdict | None) -> dict[str, Any]:
    if verdict is None:
        return {"level": None, "method": None, "reasons": [], "cautions": []}
    return {
        "level": verdict.level,
        "method": verdict.method,
        "reasons": _lines(verdict.reasons),
        "cautions": _lines(verdict.cautions),
    }
