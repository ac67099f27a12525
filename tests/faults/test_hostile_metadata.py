"""Metadata and names meant to do harm to a terminal, a browser or a spreadsheet."""

import csv
import io
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from commanding import Captured
from drawn import dust, shoot
from faults.pages import Page
from motemap.cli.main import main
from motemap.synth.files import FileTags, write_dng, write_jpeg

SHAPE = (64, 92)
HARM = {
    "terminal": "\x1b]0;owned\x07\x1b[2J\x9b31m\x08\r",
    "direction": "safe\u202egnp.exe\u2066",
    "script": "<script>alert(1)</script>",
    "attribute": "\" onload=alert(1) x='",
    "entity": "&lt;img src=x onerror=alert(1)&gt;",
    "style": "</style><img src=http://example.net/x>",
    "end of comment": "--><!--[if IE]>]]><svg onload=alert(1)>",
    "formula": "=cmd|' /C calc'!A0",
    "plus": "+1+1",
    "minus": "-2+3",
    "at": "@SUM(1,2)",
    "tab": "\t=1+1",
    "lines": "one\r\n=1+1\u2028two",
}
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def is_number(cell: str) -> bool:
    """Whether a cell is a number of our own, which may have a sign."""
    try:
        float(cell)
    except ValueError:
        return False
    return True


def picture(path: Path, said: str) -> Path:
    """Write a raw file whose every word of metadata is `said`, and a picture beside it."""
    codes = np.random.default_rng(3).normal(9000, 90, SHAPE).astype(np.uint16)
    tags = FileTags(maker=said, model=said, serial=said, lens=said, f_number=22.0, iso=100)
    write_dng(path, codes, cfa="RGGB", black=0, white=16383, tags=tags)
    shades = (codes // 60).astype(np.uint8)
    write_jpeg(path.with_name("b.jpg"), shades, quality=90, tags=replace(tags, lens=None))
    return path


def trip(folder: Path, said: str) -> Path:
    """Make a folder with hostile words in metadata, and in the name of a frame with marks."""
    folder.mkdir()
    picture(folder / "a.dng", said)
    shoot(folder / (said.replace("/", ":") + ".dng"), dust())
    return folder


@pytest.fixture(params=HARM)
def said(request: pytest.FixtureRequest) -> str:
    return HARM[str(request.param)]


@pytest.mark.parametrize("args", [(), ("-v", "--debug"), ("--format", "csv"), ("--format", "json")])
def test_metadata_steers_no_terminal(
    tmp_path: Path, capsys: Captured, said: str, args: tuple[str, ...]
) -> None:
    picture(tmp_path / "a.dng", said)
    assert main(["check", *args, str(tmp_path)]) == 4
    for stream in capsys.readouterr():
        assert stream.replace("\n", "").isprintable()


def test_csv_cells_are_harmless(
    tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch, said: str
) -> None:
    folder = trip(tmp_path / "trip", said)
    monkeypatch.chdir(folder)
    names = sorted(path.name for path in folder.iterdir())
    assert main(["check", "--format", "csv", "--", *names]) == 4
    rows = list(csv.reader(io.StringIO(capsys.readouterr().out)))
    assert len(rows) > 15
    for cell in (cell for row in rows for cell in row):
        assert not cell.startswith(FORMULA_STARTS) or is_number(cell)
        assert "\n" not in cell
        assert "\r" not in cell


@pytest.fixture(scope="module")
def harmless(tmp_path_factory: pytest.TempPathFactory) -> Page:
    folder = tmp_path_factory.mktemp("harmless")
    return page_of(trip(folder / "trip", "Ratal"))


def test_a_page_holds_words_and_nothing_else(tmp_path: Path, harmless: Page, said: str) -> None:
    harmful = page_of(trip(tmp_path / "trip", said))
    assert harmful.elements == harmless.elements
    assert harmful.attributes == harmless.attributes
    assert len(harmful.addresses) == len(harmless.addresses)
    marked = letters_of(said)[:8]
    assert letters_of(harmful.words).count(marked) > 2


def test_a_page_runs_nothing(harmless: Page) -> None:
    unsafe = {"script", "iframe", "object", "embed", "base", "form"}
    assert not unsafe & harmless.elements
    assert not {name for name in harmless.attributes if name.startswith("on")}
    for address in harmless.addresses:
        assert address == "data:," or address.startswith(("#", "data:image/"))


def page_of(folder: Path) -> Page:
    target = folder.parent / "page.html"
    assert main(["check", "--page", str(target), "-o", f"{target}.txt", str(folder)]) == 4
    return Page(target.read_text(encoding="utf-8"))


def letters_of(text: str) -> str:
    return "".join(letter for letter in text if letter.isalnum())


def test_words_in_json_can_be_shown(tmp_path: Path, capsys: Captured, said: str) -> None:
    picture(tmp_path / "a.dng", said)
    main(["check", "--format", "json", str(tmp_path)])
    frames = json.loads(capsys.readouterr().out)["frames"]
    assert len(frames) == 2
    cameras = [frame["camera"] for frame in frames]
    for word in (camera[key] or "" for camera in cameras for key in ("maker", "model", "lens")):
        assert word.isprintable()
