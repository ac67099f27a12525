"""Damaged files of every format: an answer or one of our errors, never anything else."""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from motemap.errors import LoadError
from motemap.load import LoadedPicture, load_picture
from motemap.synth.files import FileTags, write_dng, write_jpeg, write_png, write_tiff

SHAPE = (64, 92)
TAGS = FileTags(
    maker="Norrland Optik",
    model="Ratal 3",
    serial="NL-00417",
    f_number=22.0,
    iso=100,
    shutter_s=0.004,
    taken_at="2025-03-14T09:26:53",
    focal_plane_pitch_um=4.35,
)
N_EACH = 40
HEAD_BYTES = 700
CODES = np.random.default_rng(1).integers(120, 180, (*SHAPE, 3)).astype(np.uint8)
WIDE = CODES[..., 0].astype(np.uint16) * 60

WRITERS: dict[str, Callable[[Path], None]] = {
    "a.dng": lambda path: write_dng(path, WIDE, cfa="RGGB", black=0, white=16383, tags=TAGS),
    "b.dng": lambda path: write_dng(
        path, WIDE, cfa="XTRANS", black=0, white=16383, tags=TAGS, compression="ljpeg"
    ),
    "a.jpg": lambda path: write_jpeg(path, CODES, quality=90, tags=TAGS),
    "a.png": lambda path: write_png(path, CODES, tags=TAGS),
    "b.png": lambda path: write_png(path, CODES.astype(np.uint16) * 257, tags=TAGS),
    "a.tif": lambda path: write_tiff(path, CODES, tags=TAGS),
}


def mutated(content: bytes, rng: np.random.Generator) -> bytes:
    """Cut, flip, overwrite, double or forge a length: most of it where the structure lies."""
    spoiled = bytearray(content)
    span = min(len(spoiled), HEAD_BYTES) if rng.random() < 0.7 else len(spoiled)
    at = int(rng.integers(0, span))
    match int(rng.integers(0, 5)):
        case 0:
            del spoiled[at:]
        case 1:
            for place in rng.integers(0, span, 6):
                spoiled[int(place)] ^= 1 << int(rng.integers(0, 8))
        case 2:
            spoiled[at : at + 4] = b"\xff\xff\xff\xff"
        case 3:
            spoiled[at : at + 8] = spoiled[at : at + 8] * 3
        case _:
            spoiled[at : at + 60] = rng.bytes(60)
    return bytes(spoiled)


def attempt(path: Path) -> LoadedPicture | LoadError:
    try:
        return load_picture(path, lambda _info, _metadata: 4)
    except LoadError as fault:
        return fault


@pytest.mark.parametrize("name", WRITERS)
def test_damage_is_answered_in_our_words(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    WRITERS[name](path)
    content = path.read_bytes()
    rng = np.random.default_rng(len(name) + ord(name[0]))
    faults = []
    for _ in range(N_EACH):
        path.write_bytes(mutated(content, rng))
        answer = attempt(path)
        if isinstance(answer, LoadError):
            faults.append(answer)
        else:
            assert np.isfinite(answer.plane.light).all()
            assert answer.plane.light.shape == answer.plane.valid.shape
    assert faults
    for fault in faults:
        assert fault.path == str(path)
        assert fault.cause.endswith(".")
        assert fault.repair.endswith(".")
