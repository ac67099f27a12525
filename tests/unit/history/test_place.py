"""Where the record lies."""

from pathlib import Path

import pytest

from motemap.history import default_place

HOME = Path("/home/mara")


@pytest.mark.parametrize(
    ("platform", "environment", "expected"),
    [
        ("linux", {}, "/home/mara/.local/share/motemap/history.sqlite3"),
        ("linux", {"XDG_DATA_HOME": "/data"}, "/data/motemap/history.sqlite3"),
        ("linux", {"XDG_DATA_HOME": "data"}, "/home/mara/.local/share/motemap/history.sqlite3"),
        ("linux", {"XDG_DATA_HOME": ""}, "/home/mara/.local/share/motemap/history.sqlite3"),
        ("darwin", {}, "/home/mara/Library/Application Support/motemap/history.sqlite3"),
        ("win32", {}, "/home/mara/AppData/Local/motemap/history.sqlite3"),
        ("win32", {"LOCALAPPDATA": "/local"}, "/local/motemap/history.sqlite3"),
        ("linux", {"MOTEMAP_DB": "/x/y.db", "XDG_DATA_HOME": "/data"}, "/x/y.db"),
    ],
)
def test_each_platform_has_its_folder(
    platform: str, environment: dict[str, str], expected: str
) -> None:
    assert default_place(environment, HOME, platform) == Path(expected)
