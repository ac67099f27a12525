"""Paths that lead to no picture, and what is said about them."""

import errno
import os
from pathlib import Path

import numpy as np
import pytest

from motemap.errors import MotemapError, UnreadableFile
from motemap.load import load_picture, read_metadata
from motemap.load.boundary import reading
from motemap.load.source import Source, path_fault
from motemap.synth.files import FileTags, write_png


def refusal(path: Path, content: bytes | None = None) -> UnreadableFile:
    """Return the error of loading, which is also that of reading metadata."""
    with pytest.raises(UnreadableFile) as by_head:
        read_metadata(path, content=content)
    with pytest.raises(UnreadableFile) as by_load:
        load_picture(path, lambda _info, _metadata: 4, content=content)
    assert str(by_load.value) == str(by_head.value)
    assert by_load.value.path == str(path)
    assert by_load.value.repair.endswith(".")
    return by_load.value


def test_a_missing_file(tmp_path: Path) -> None:
    assert refusal(tmp_path / "none.nef").cause == "There is no such file."


def test_a_file_used_as_a_folder(tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"x")
    assert refusal(tmp_path / "a" / "b.nef").cause == "There is no such file."


def test_a_folder(tmp_path: Path) -> None:
    assert "folder" in refusal(tmp_path).cause


def test_an_empty_file(tmp_path: Path) -> None:
    (tmp_path / "a.nef").touch()
    assert refusal(tmp_path / "a.nef").cause == "The file is empty."


def test_nothing_on_standard_input() -> None:
    assert refusal(Path("-"), b"").cause == "The file is empty."


def test_a_text_file_under_a_raw_name(tmp_path: Path) -> None:
    (tmp_path / "a.nef").write_text("Shopping: swabs, blower")
    assert refusal(tmp_path / "a.nef").cause == "The file holds text, not a picture."


def test_a_dangling_link(tmp_path: Path) -> None:
    (tmp_path / "a.nef").symlink_to(tmp_path / "gone.nef")
    assert refusal(tmp_path / "a.nef").cause == "The link leads nowhere."


def test_a_link_in_a_circle(tmp_path: Path) -> None:
    (tmp_path / "a.nef").symlink_to(tmp_path / "b.nef")
    (tmp_path / "b.nef").symlink_to(tmp_path / "a.nef")
    assert refusal(tmp_path / "a.nef").cause == "The link leads in a circle."


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "a.nef")
    assert "device or a pipe" in refusal(tmp_path / "a.nef").cause


@pytest.mark.parametrize("name", ["x" * 300 + ".nef", "a\0b.nef"])
def test_names_that_cannot_be(tmp_path: Path, name: str) -> None:
    assert refusal(tmp_path / name).cause


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.EACCES, "may not be read"),
        (errno.EIO, "cannot be read (Input/output error)"),
    ],
)
def test_faults_of_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, number: int, words: str
) -> None:
    path = tmp_path / "a.png"
    write_png(path, np.full((40, 60), 150, np.uint8), tags=FileTags())

    def refuse(_self: Path, _mode: str) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(Path, "open", refuse)
    assert words in refusal(path).cause


def test_a_file_that_vanishes_while_it_is_read(tmp_path: Path) -> None:
    source = Source(path=tmp_path / "gone.nef")
    with pytest.raises(UnreadableFile, match="no such file"):
        source.open()


def test_a_fault_without_a_number_is_quoted(tmp_path: Path) -> None:
    fault = path_fault(ValueError("embedded null byte"), tmp_path / "a")
    assert "embedded null byte" in fault.cause


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (OSError("image file is truncated"), "is damaged or cut off (image file is truncated)"),
        (SyntaxError("not a PNG file"), "(not a PNG file)"),
        (ZeroDivisionError(), "(ZeroDivisionError)"),
        (UnboundLocalError("x"), "(x)"),
        (ValueError(b"Input/output error"), "(Input/output error)"),
        (ValueError("bell \x07 and \x1b[31mred"), "(bell   and  [31mred)"),
        (ValueError("long " * 50), "long long ..."),
        (MemoryError(), "too large for the memory"),
    ],
    ids=["OS", "syntax", "no words", "unbound", "bytes", "control", "long", "memory"],
)
def test_faults_of_decoders_become_one_error(fault: Exception, words: str) -> None:
    with pytest.raises(UnreadableFile) as raised, reading("PNG file", "a.png"):
        raise fault
    assert words in raised.value.cause
    assert raised.value.path == "a.png"
    assert raised.value.__cause__ is fault


@pytest.mark.parametrize("signal", [KeyboardInterrupt, SystemExit])
def test_stops_are_no_faults_of_a_file(signal: type[BaseException]) -> None:
    with pytest.raises(signal), reading("PNG file", "a.png"):
        raise signal


def test_a_fault_of_the_caller_is_not_blamed_on_the_file(tmp_path: Path) -> None:
    path = tmp_path / "a.png"
    write_png(path, np.full((40, 60), 150, np.uint8), tags=FileTags())

    def choose(_info: object, _metadata: object) -> int:
        message = "a bug"
        raise LookupError(message)

    with pytest.raises(LookupError, match="a bug"):
        load_picture(path, choose)


def test_every_refusal_is_one_of_ours(tmp_path: Path) -> None:
    with pytest.raises(MotemapError):
        read_metadata(tmp_path / "none")
