"""Drawn frames of one body, and a record of its own for every test."""

from pathlib import Path

import pytest

from drawn import blemishes, dust, shoot

DIRTY = dust()
CLEANER = DIRTY[4:]


@pytest.fixture(scope="session")
def frames(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One body before and after a cleaning, a burst of it, and another body."""
    folder = tmp_path_factory.mktemp("frames")
    shoot(folder / "before.dng", DIRTY, taken_at="2031-05-02T10:00:00")
    shoot(folder / "after.dng", CLEANER, taken_at="2031-05-02T10:20:00", seed=2)
    for number in (3, 4):
        shoot(
            folder / "burst" / f"{number}.dng",
            (*CLEANER, *blemishes(number)),
            taken_at=f"2031-05-02T10:40:{10 * number}",
            seed=number,
        )
    shoot(folder / "other.dng", DIRTY, serial="K-99999")
    (folder / "cut.dng").write_bytes((folder / "before.dng").read_bytes()[:3000])
    return folder


@pytest.fixture
def own_record(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep every test away from the record of whoever runs it."""
    place = tmp_path / "own.sqlite3"
    monkeypatch.setenv("MOTEMAP_DB", str(place))
    return place
