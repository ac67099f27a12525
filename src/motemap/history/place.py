"""Where the record lies when nobody says otherwise.

Three rules of three platforms, written out rather than taken from a library: they have not
changed in a decade, and a dependency costs every user a download and a start-up.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

FOLDER = "motemap"
FILE = "history.sqlite3"
VARIABLE = "MOTEMAP_DB"
"""Environment variable that names the file itself."""


def default_place(environment: Mapping[str, str], home: Path, platform: str = sys.platform) -> Path:
    """Return the path of the record.

    Parameters
    ----------
    environment : mapping
        The process's environment variables.
    home : Path
        The user's home folder.
    platform : str
        As `sys.platform` names it.

    Returns
    -------
    Path
        ``MOTEMAP_DB`` if set; else in the platform's folder for data: XDG base directory
        specification, Apple's file system guide, Windows' LocalAppData.
    """
    if environment.get(VARIABLE):
        return Path(environment[VARIABLE])
    if platform == "win32":
        local = environment.get("LOCALAPPDATA")
        base = Path(local) if local else home / "AppData" / "Local"
    elif platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        # The specification: relative paths are invalid and to be ignored.
        given = environment.get("XDG_DATA_HOME", "")
        base = Path(given) if given.startswith("/") else home / ".local" / "share"
    return base / FOLDER / FILE
