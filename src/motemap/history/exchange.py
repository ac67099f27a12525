"""The whole record as one plain document, and back."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING, Any

from motemap.bodies import BodyKey
from motemap.errors import RecordError
from motemap.history.store import Entry

if TYPE_CHECKING:
    from collections.abc import Mapping

    from motemap.history.store import Store

REPORT_NAME = "motemap.history"
REPORT_VERSION = 1
MISFITS = (sqlite3.IntegrityError, sqlite3.ProgrammingError, sqlite3.InterfaceError)
"""What SQLite raises for values that are of no use; a damaged file it calls otherwise."""


def export_document(store: Store, tool_version: str) -> dict[str, Any]:
    """Return everything that is kept, for a JSON file.

    Parameters
    ----------
    tool_version : str
        Version of the program, for those who read the file.
    """
    return {
        "report": REPORT_NAME,
        "report_version": REPORT_VERSION,
        "tool_version": tool_version,
        "bodies": [
            {
                "maker": kept.body.maker,
                "model": kept.body.model,
                "serial": kept.body.serial,
                "states": [_state(entry) for entry in store.entries(kept.body)],
            }
            for kept in store.bodies()
        ],
    }


def import_document(store: Store, document: object, path: str) -> int:
    """Keep everything in an exported document; what is there already stays one record.

    Parameters
    ----------
    document : dict
        As read from JSON; anything else is refused.
    path : str
        Where the document came from, for messages.

    Returns
    -------
    int
        Number of states in the document.

    Raises
    ------
    RecordError
        If the document is no export of this program, or of a newer version.
    """
    export = known_export(document, path)
    try:
        entries = [
            _entry(BodyKey(body["maker"], body["model"], body["serial"]), state)
            for body in export["bodies"]
            for state in body["states"]
        ]
        store.put(entries)
    except RecordError as error:
        if isinstance(error.__cause__, MISFITS):
            raise _incomplete(error.__cause__, path) from error
        raise
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise _incomplete(error, path) from error
    return len(entries)


def known_export(document: object, path: str) -> Mapping[str, Any]:
    """Return a document that says of itself that it is an export this program can read.

    Raises
    ------
    RecordError
        If it is none, or of a newer version.
    """
    if not isinstance(document, dict) or document.get("report") != REPORT_NAME:
        raise RecordError(
            "This is no exported record.",
            repair="Give a file written by `motemap history --export`.",
            path=path,
        )
    version = document.get("report_version")
    if isinstance(version, int) and version > REPORT_VERSION:
        raise RecordError(
            f"The export was written by a newer version (report_version {version}, known here: "
            f"{REPORT_VERSION}).",
            repair="Update motemap.",
            path=path,
        )
    return document


def _incomplete(error: BaseException, path: str) -> RecordError:
    return RecordError(
        f"The export is incomplete ({error!r}): nothing was kept of it.",
        repair="Export it again.",
        path=path,
    )


def _state(entry: Entry) -> dict[str, Any]:
    return {
        "digest": entry.digest,
        "recorded_at": entry.recorded_at,
        "done": list(entry.done),
        "shoot_at_f": entry.shoot_at_f,
        "show_depth_frac": entry.show_depth_frac,
        "frame": entry.frame,
    }


def _entry(body: BodyKey, state: Mapping[str, Any]) -> Entry:
    return Entry(
        body=body,
        digest=str(state["digest"]),
        recorded_at=str(state["recorded_at"]),
        done=tuple(str(name) for name in state["done"]),
        shoot_at_f=float(state["shoot_at_f"]),
        show_depth_frac=float(state["show_depth_frac"]),
        frame=dict(state["frame"]),
    )
