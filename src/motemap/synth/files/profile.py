"""Embedded colour profiles with a plain power law as tone curve.

Source of the layout: ICC.1:2022 (profile version 4.4), sections 7.2, 7.3, 10.6 and 10.31.
"""

import struct

_HEADER_BYTES = 128
_FIXED_ONE = 65536
_GAMMA_ONE = 256
_D50 = (0.9642, 1.0, 0.8249)


def gamma_profile(gamma: float, *, is_grey: bool = False) -> bytes:
    """Return an ICC profile whose tone curve is ``light = code ** gamma``.

    Parameters
    ----------
    gamma : float
        Exponent, kept to 1/256.
    is_grey : bool
        One grey curve rather than three colour curves.
    """
    curve = b"curv\0\0\0\0" + struct.pack(">IHxx", 1, round(gamma * _GAMMA_ONE))
    white = _xyz(_D50)
    if is_grey:
        tags = {b"wtpt": white, b"kTRC": curve}
    else:
        third = _xyz((_D50[0] / 3, _D50[1] / 3, _D50[2] / 3))
        tags = {b"wtpt": white, b"rXYZ": third, b"gXYZ": third, b"bXYZ": third}
        tags |= {b"rTRC": curve, b"gTRC": curve, b"bTRC": curve}
    table, body = _tag_table(tags)
    length = _HEADER_BYTES + len(table) + len(body)
    return _header(length, b"GRAY" if is_grey else b"RGB ") + table + body


def _xyz(values: tuple[float, float, float]) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(value * _FIXED_ONE) for value in values))


def _tag_table(tags: dict[bytes, bytes]) -> tuple[bytes, bytes]:
    offset = _HEADER_BYTES + 4 + 12 * len(tags)
    table = [struct.pack(">I", len(tags))]
    for name, payload in tags.items():
        table.append(name + struct.pack(">II", offset, len(payload)))
        offset += len(payload)
    return b"".join(table), b"".join(tags.values())


def _header(length_bytes: int, colours: bytes) -> bytes:
    head = struct.pack(">I4sI4s4s4s", length_bytes, b"", 0x02400000, b"mntr", colours, b"XYZ ")
    head += struct.pack(">6H4s", 2026, 1, 1, 0, 0, 0, b"acsp")
    head = head.ljust(68, b"\0") + _xyz(_D50)[8:]
    return head.ljust(_HEADER_BYTES, b"\0")
