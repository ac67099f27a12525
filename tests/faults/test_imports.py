"""Exported records that were spoilt: kept whole or not at all, and said so."""

import copy
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from commanding import Captured
from drawn import dust, shoot
from motemap.cli.main import main

ODD_VALUES: tuple[Any, ...] = (None, [], {}, "words", -1, 2**80, 1e400, True, [[]], {"a": 1})


@pytest.fixture(scope="module")
def export(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("record")
    shot = shoot(folder / "a.dng", dust())
    record, target = folder / "record", folder / "export.json"
    assert main(["check", "--record", "--db", str(record), "-o", f"{target}.txt", str(shot)]) == 3
    assert main(["history", "--db", str(record), "--export", str(target)]) == 0
    document: dict[str, Any] = json.loads(target.read_text(encoding="utf-8"))
    return document


def places(value: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Yield the way to every value of a document; of a list to its first one."""
    if way:
        yield way
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from places(inner, (*way, key))
    elif isinstance(value, list) and value:
        yield from places(value[0], (*way, 0))


def with_value(document: dict[str, Any], way: tuple[Any, ...], value: Any) -> dict[str, Any]:
    spoilt = copy.deepcopy(document)
    home: Any = spoilt
    for step in way[:-1]:
        home = home[step]
    home[way[-1]] = value
    return spoilt


def test_odd_values_anywhere_in_an_export(
    tmp_path: Path, capsys: Captured, export: dict[str, Any]
) -> None:
    """A value of the wrong kind is refused, or kept where nothing depends on it."""
    ways = list(places(export))
    assert len(ways) > 60
    source = tmp_path / "export.json"
    tally = {0: 0, 1: 0}
    for number, way in enumerate(ways):
        value = ODD_VALUES[number % len(ODD_VALUES)]
        source.write_text(json.dumps(with_value(export, way, value)), encoding="utf-8")
        record = tmp_path / f"record-{number}"
        code = main(["history", "--db", str(record), "--import", str(source)])
        said = capsys.readouterr()
        tally[code] += 1
        assert "fault of the program" not in said.err, (way, value)
        again = main(["history", "--db", str(record)])
        shown = capsys.readouterr()
        assert "fault of the program" not in shown.err, (way, value, shown.err)
        assert again in ({0, 1} if record.exists() else {2}), (way, value)
    assert tally[1] > 20


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"[]",
        b"null",
        b"{",
        b"[" * 100_000,
        b"\xff\xfe",
        b'{"report": 1}',
        b'"words"',
        b"1e999",
    ],
)
def test_what_is_no_export(tmp_path: Path, capsys: Captured, content: bytes) -> None:
    source = tmp_path / "export.json"
    source.write_bytes(content)
    record = tmp_path / "record"
    assert main(["history", "--db", str(record), "--import", str(source)]) == 1
    said = capsys.readouterr().err
    assert "fault of the program" not in said
    assert "export" in said
