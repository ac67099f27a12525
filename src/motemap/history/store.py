"""The SQLite file: opened, brought up to date, written in whole transactions, read."""

from __future__ import annotations

import json
import sqlite3
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from motemap.bodies import BodyKey, KeptBody
from motemap.errors import RecordError
from motemap.history.schema import (
    APPLICATION_ID,
    MIGRATIONS,
    SCHEMA_VERSION,
    SPOT_COLUMNS,
)
from motemap.history.trouble import explained

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

WAIT_S = 30.0
"""How long to wait for another process that is writing [s]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One state as it is stored.

    Parameters
    ----------
    digest : str
        What makes it one record: SHA-256 of the picture.
    recorded_at : str
        ISO 8601 with zone.
    done : tuple of str
        Cleaning methods used since the state before.
    shoot_at_f, show_depth_frac : float
        What "showing" meant when it was judged.
    frame : dict
        The frame of the JSON report, spots and all.
    """

    body: BodyKey
    digest: str
    recorded_at: str
    done: tuple[str, ...]
    shoot_at_f: float
    show_depth_frac: float
    frame: dict[str, Any]


class Store:
    """The record in one file; make one with `Store.open`."""

    def __init__(self, connection: sqlite3.Connection, path: Path) -> None:
        self._connection = connection
        self._path = path

    @classmethod
    @contextmanager
    def open(cls, path: Path, *, can_write: bool = True) -> Iterator[Store]:
        """Open a record for the length of a ``with`` block.

        Parameters
        ----------
        path : Path
            Made, with its folder, when it is not there and `can_write`.
        can_write : bool
            Whether to make and update the file; without it nothing on the disk changes.

        Raises
        ------
        RecordError
            If the file is damaged, of a newer version, another program's, not there for
            reading, or cannot be written.
        """
        with explained(path):
            connection = _opened(path, can_write=can_write)
        try:
            yield cls(connection, path)
        finally:
            connection.close()

    def put(self, entries: Sequence[Entry]) -> None:
        """Keep states, all or none; one that is there already is brought up to date.

        What was said to have been done before a state is kept when nothing new is said.
        """
        with explained(self._path), _transaction(self._connection):
            for entry in entries:
                self._put_one(entry)

    def drop(self, digests: Sequence[str]) -> None:
        """Take states out, all or none; those that are not there are no fault."""
        with explained(self._path), _transaction(self._connection):
            self._connection.executemany(
                "DELETE FROM state WHERE digest = ?", [(digest,) for digest in digests]
            )

    def bodies(self) -> tuple[KeptBody, ...]:
        """Return every body, by maker, model and serial."""
        rows = self._rows(
            "SELECT maker, model, serial, count(*), min(coalesce(taken_at, recorded_at)),"
            " max(coalesce(taken_at, recorded_at)) FROM body JOIN state ON body_id = body.id"
            " GROUP BY body.id ORDER BY maker, model, serial"
        )
        with explained(self._path):
            for row in rows:
                self._refuse_mismatch(row[:3])
        return tuple(
            KeptBody(
                body=BodyKey(*row[:3]), n_states=row[3], first_moment=row[4], last_moment=row[5]
            )
            for row in rows
        )

    def _refuse_mismatch(self, names: tuple[Any, ...]) -> None:
        """Refuse a file whose index does not know a body that its table holds."""
        asked = "SELECT count(*) FROM body WHERE maker = ? AND model = ? AND serial = ?"
        if self._connection.execute(asked, names).fetchone()[0] != 1:
            msg = "index and table do not agree"
            raise sqlite3.DatabaseError(msg)

    def entries(self, body: BodyKey) -> tuple[Entry, ...]:
        """Return the states of a body in order of time; none for one that is not there."""
        rows = self._rows(
            "SELECT state.id, digest, recorded_at, done, shoot_at_f, show_depth_frac, frame"
            " FROM state JOIN body ON body_id = body.id WHERE maker = ? AND model = ?"
            " AND serial = ? ORDER BY coalesce(taken_at, recorded_at), state.id",
            (body.maker, body.model, body.serial),
        )
        with explained(self._path):
            return tuple(self._entry(body, row) for row in rows)

    def _entry(self, body: BodyKey, row: tuple[Any, ...]) -> Entry:
        state_id, digest, recorded_at, done, shoot_at_f, show_depth_frac, frame = row
        names = ", ".join(SPOT_COLUMNS)
        spots = self._rows(
            f"SELECT {names}, rest FROM spot WHERE state_id = ? ORDER BY id", (state_id,)
        )
        return Entry(
            body=body,
            digest=digest,
            recorded_at=recorded_at,
            done=tuple(json.loads(done)),
            shoot_at_f=shoot_at_f,
            show_depth_frac=show_depth_frac,
            frame={**json.loads(frame), "spots": [_spot_from_row(spot) for spot in spots]},
        )

    def _rows(self, statement: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        with explained(self._path):
            rows: list[tuple[Any, ...]] = self._connection.execute(statement, values).fetchall()
            return rows

    def _put_one(self, entry: Entry) -> None:
        body_id = self._body_id(entry.body)
        values = _state_values(entry, body_id)
        names, marks = ", ".join(values), ", ".join("?" * len(values))
        updates = ", ".join(f"{name} = excluded.{name}" for name in values if name not in _KEPT)
        state_id = self._connection.execute(
            f"INSERT INTO state ({names}) VALUES ({marks}) ON CONFLICT (digest) DO UPDATE SET"
            f" {updates}, done = CASE excluded.done WHEN '[]' THEN done ELSE excluded.done END"
            " RETURNING id",
            tuple(values.values()),
        ).fetchone()[0]
        self._connection.execute("DELETE FROM spot WHERE state_id = ?", (state_id,))
        holes = ", ".join("?" * (len(SPOT_COLUMNS) + 2))
        self._connection.executemany(
            f"INSERT INTO spot (state_id, {', '.join(SPOT_COLUMNS)}, rest) VALUES ({holes})",
            [(state_id, *_spot_row(spot)) for spot in entry.frame["spots"]],
        )

    def _body_id(self, body: BodyKey) -> int:
        names = (body.maker, body.model, body.serial)
        self._connection.execute(
            "INSERT INTO body (maker, model, serial) VALUES (?, ?, ?) ON CONFLICT DO NOTHING", names
        )
        found: int = self._connection.execute(
            "SELECT id FROM body WHERE maker = ? AND model = ? AND serial = ?", names
        ).fetchone()[0]
        return found


_KEPT = frozenset({"digest", "recorded_at", "done"})
"""Columns that a second recording of the same state leaves, or treats by itself."""


def _opened(path: Path, *, can_write: bool) -> sqlite3.Connection:
    if can_write:
        path.parent.mkdir(parents=True, exist_ok=True)
    elif not path.is_file():
        raise RecordError(
            "There is no record yet.",
            repair="Keep states with --record, or name the file with --db.",
            path=str(path),
        )
    mode = "rwc" if can_write else "ro"
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}", timeout=WAIT_S, isolation_level=None, uri=True
    )
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        _bring_up_to_date(connection, path, can_write=can_write)
    except BaseException:
        connection.close()
        raise
    return connection


@contextmanager
def _transaction(connection: sqlite3.Connection) -> Iterator[None]:
    """Take the right to write at once: a lock asked for later is not waited for by SQLite."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def _bring_up_to_date(connection: sqlite3.Connection, path: Path, *, can_write: bool) -> None:
    """Refuse a file that is not ours or too new; migrate an older one."""
    if _known_version(connection, path) == SCHEMA_VERSION:
        return
    if not can_write:
        raise RecordError(
            "The record was written by an older version.",
            repair="Keep one more state with --record: that brings it up to date.",
            path=str(path),
        )
    with _transaction(connection):
        # Asked again inside the lock: another process may have been faster.
        for statements in MIGRATIONS[_known_version(connection, path) :]:
            for statement in statements:
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")


def _known_version(connection: sqlite3.Connection, path: Path) -> int:
    version, owner, n_tables = _read_together(
        connection,
        "PRAGMA user_version",
        "PRAGMA application_id",
        "SELECT count(*) FROM sqlite_master",
    )
    if n_tables and owner != APPLICATION_ID:
        raise RecordError(
            "This is another program's database.",
            repair="Name a file of its own with --db.",
            path=str(path),
        )
    if version > SCHEMA_VERSION:
        raise RecordError(
            f"The record was written by a newer version (layout {version}, known here: "
            f"{SCHEMA_VERSION}).",
            repair="Update motemap, or name another file with --db. It was left as it is.",
            path=str(path),
        )
    return version


def _read_together(connection: sqlite3.Connection, *questions: str) -> tuple[int, ...]:
    """Ask several things of one state of the file.

    Asked one by one, another process may lay out the tables between two answers, and its new
    file then looks like a stranger's.
    """
    is_outermost = not connection.in_transaction
    if is_outermost:
        connection.execute("BEGIN")
    try:
        return tuple(int(connection.execute(each).fetchone()[0]) for each in questions)
    finally:
        if is_outermost:
            connection.execute("COMMIT")


def _state_values(entry: Entry, body_id: int) -> dict[str, Any]:
    frame = entry.frame
    verdict, sensitivity, stack = frame["verdict"], frame["sensitivity"], frame["stack"]
    return {
        "body_id": body_id,
        "digest": entry.digest,
        "recorded_at": entry.recorded_at,
        "taken_at": frame["exposure"]["taken_at"],
        "done": json.dumps(entry.done),
        "found": frame["counts"]["found"],
        "showing": _on_sensor(frame["counts"]),
        "shoot_at_f": entry.shoot_at_f,
        "show_depth_frac": entry.show_depth_frac,
        "level": verdict["level"],
        "method": verdict["method"],
        "f_number": frame["exposure"]["f_number"],
        "noise_frac": sensitivity["noise_frac"],
        "smallest_depth_frac": sensitivity["smallest_depth_frac"],
        "smallest_particle_um": sensitivity["smallest_particle_um"],
        "stack_distance_mm": stack["distance_mm"],
        "stack_source": stack["source"],
        "frame": json.dumps({key: value for key, value in frame.items() if key != "spots"}),
    }


def _spot_row(spot: dict[str, Any]) -> tuple[Any, ...]:
    rest = {key: value for key, value in spot.items() if key not in SPOT_COLUMNS}
    return (*(spot[name] for name in SPOT_COLUMNS), json.dumps(rest))


def _spot_from_row(row: tuple[Any, ...]) -> dict[str, Any]:
    return {**dict(zip(SPOT_COLUMNS, row[:-1], strict=True)), **json.loads(row[-1])}


def _on_sensor(counts: dict[str, int | None]) -> int:
    """Return how many marks on the sensor show; older frames did not tell them from the lens's."""
    return (counts["showing"] or 0) - (counts.get("showing_on_lens") or 0)
