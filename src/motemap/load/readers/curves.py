"""Tone curves: from stored codes back to linear light."""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

import numpy as np

from motemap.facts import srgb

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Curve = NDArray[np.float64]

# The shape of a colour profile, by ISO 15076-1.
_TAG_TABLE_AT, _TAG_ROW_BYTES = 128, 12
_CURVE_NAMES = (b"gTRC", b"kTRC", b"rTRC")
_MOST_TAGS = 256
"""What claims to have more is damaged."""
_TRIED = 256
"""Codes at which a curve is looked at, whether it rises and runs from black to white."""
_TYPE_BYTES = 8
_FIXED_ONE, _GAMMA_ONE, _LARGEST = 65536.0, 256.0, 65535.0
_PARAMETERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}
_FULL_SCALE_TOLERANCE = 0.05
"""How far from black and white a curve may begin and end; another kind of curve is meant beyond."""


def srgb_light(codes: Curve) -> Curve:
    """Return the linear light of sRGB codes, both 0-1.

    Examples
    --------
    >>> float(srgb_light(np.array([118 / 255]))[0].round(6))
    0.181164
    """
    toe = codes / srgb.TOE_SLOPE
    above = ((codes + srgb.OFFSET) / (1 + srgb.OFFSET)) ** srgb.EXPONENT
    return np.where(codes <= srgb.TOE_CODE, toe, above)


def power_light(codes: Curve, gamma: float) -> Curve:
    """Return the linear light of codes that follow a plain power law, both 0-1."""
    return np.asarray(codes**gamma)


def profile_curve(profile: bytes | None) -> Callable[[Curve], Curve] | None:
    """Return the tone curve of an embedded colour profile; None when it has none of use.

    The green curve stands for all three: in profiles of pictures they are equal. Source of
    the layout: ICC.1:2022, sections 7.2, 7.3, 10.6 (curveType), 10.18 (parametricCurveType).
    """
    if not profile:
        return None
    try:
        curve = _parse_curve(profile)
        with np.errstate(all="ignore"):
            light = curve(np.linspace(0.0, 1.0, _TRIED)) if curve else np.zeros(1)
    except (struct.error, ValueError, IndexError, ArithmeticError):
        return None
    rises = bool(np.all(np.isfinite(light)) and np.all(np.diff(light) >= 0))
    is_full = abs(light[-1] - 1) < _FULL_SCALE_TOLERANCE and light[0] < _FULL_SCALE_TOLERANCE
    return curve if rises and is_full else None


def _parse_curve(profile: bytes) -> Callable[[Curve], Curve] | None:
    """Return the curve of the first of the wanted tags of a profile; None when it has none."""
    (n_tags,) = struct.unpack_from(">I", profile, _TAG_TABLE_AT)
    places: dict[bytes, tuple[int, int]] = {}
    for row in range(min(n_tags, _MOST_TAGS)):
        at = _TAG_TABLE_AT + 4 + row * _TAG_ROW_BYTES
        name, offset, n_bytes = struct.unpack_from(">4sII", profile, at)
        places[name] = (offset, n_bytes)
    for name in _CURVE_NAMES:
        if name in places:
            offset, n_bytes = places[name]
            return _curve(profile[offset : offset + n_bytes])
    return None


def _curve(tag: bytes) -> Callable[[Curve], Curve] | None:
    if tag.startswith(b"curv"):
        return _sampled_curve(tag)
    if tag.startswith(b"para"):
        return _parametric_curve(tag)
    return None


def _sampled_curve(tag: bytes) -> Callable[[Curve], Curve]:
    """Return a curve given as points: none is the identity, one an exponent."""
    (n_points,) = struct.unpack_from(">I", tag, _TYPE_BYTES)
    points = np.frombuffer(tag, dtype=">u2", offset=_TYPE_BYTES + 4)[:n_points]
    if n_points == 0:
        return lambda codes: codes
    if n_points == 1:
        gamma = float(points[0]) / _GAMMA_ONE
        return lambda codes: power_light(codes, gamma)
    light = points / _LARGEST
    return lambda codes: np.interp(codes, np.linspace(0.0, 1.0, len(light)), light)


def _parametric_curve(tag: bytes) -> Callable[[Curve], Curve]:
    """Return a curve of function type 0 to 4, written as the most general of them."""
    (kind,) = struct.unpack_from(">H", tag, _TYPE_BYTES)
    n_numbers = _PARAMETERS.get(kind, 1)
    given = [number / _FIXED_ONE for number in struct.unpack_from(f">{n_numbers}i", tag, 12)]
    gamma = given[0]
    a, b, c, d, e, f = _general_form(kind, given[1:])

    def light(codes: Curve) -> Curve:
        base = np.maximum(a * codes + b, 0.0)
        return np.where(codes >= d, base**gamma + e, c * codes + f)

    return light


def _general_form(kind: int, given: list[float]) -> tuple[float, ...]:
    """Return a, b, c, d, e, f of ``(a x + b)**g + e`` from d on and ``c x + f`` below."""
    match kind, given:
        case 0, []:
            return 1.0, 0.0, 0.0, 0.0, 0.0, 0.0
        case 1, [a, b]:
            return a, b, 0.0, -b / a, 0.0, 0.0
        case 2, [a, b, c]:
            return a, b, 0.0, -b / a, c, c
        case 3, [a, b, c, d]:
            return a, b, c, d, 0.0, 0.0
        case 4, [a, b, c, d, e, f]:
            return a, b, c, d, e, f
    msg = f"parametric curve of type {kind}"
    raise ValueError(msg)
