"""Files that vanish, grow, shrink or change while they are read."""

import errno
import io
import os
import threading
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from faults.samples import SAMPLES
from faults.trial import FORMS, Trial
from motemap import api
from motemap.cli.main import main

N_ANSWERS = 40


@pytest.mark.parametrize("name", ["rggb.dng", "rggb-ljpeg.dng", "colour.jpg", "deflate.tif"])
def test_a_file_that_changes_all_the_time(tmp_path: Path, name: str) -> None:
    place = tmp_path / name
    SAMPLES[name](place)
    content = place.read_bytes()
    is_over = threading.Event()

    def meddle() -> None:
        rng = np.random.default_rng(5)
        while not is_over.is_set():
            with place.open("r+b") as stream:
                os.truncate(place, int(rng.integers(0, len(content))))
                stream.seek(int(rng.integers(0, len(content))))
                stream.write(rng.bytes(50))
                stream.seek(0)
                stream.write(content)
            if rng.random() < 0.2:
                place.unlink()
                place.write_bytes(content)

    tally: Counter[int | None] = Counter()
    complaints = []
    with Trial() as trial:
        trial.judge(place)
        meddler = threading.Thread(target=meddle)
        meddler.start()
        try:
            for number in range(N_ANSWERS):
                form = FORMS[number % len(FORMS)]
                answer = trial.judge(place, form)
                tally[answer.code] += 1
                # Not there at that moment: that is wrong usage, and said on standard error.
                if answer.code != 2:
                    complaints += answer.complaints(form)
        finally:
            is_over.set()
            meddler.join()
    assert complaints == []
    assert set(tally) <= {1, 2, 4}


def test_files_that_vanish_before_they_are_read(tmp_path: Path) -> None:
    for number in range(4):
        SAMPLES["grey.jpg"](tmp_path / f"{number}.jpg")
    found = api.find_frames([tmp_path])
    (tmp_path / "1.jpg").unlink()
    (tmp_path / "2.jpg").unlink()
    (tmp_path / "2.jpg").mkdir()
    reports = api.analyse_many(found.paths, api.Settings(), jobs=1)
    causes = [report.error and report.error.cause for report in reports]
    assert causes == [None, "There is no such file.", "This is a folder, not a picture.", None]


def test_a_folder_that_vanishes_while_it_is_walked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        SAMPLES["grey.jpg"](tmp_path / folder / "shot.jpg")
    listed: Any = Path.iterdir

    def iterdir(self: Path) -> Any:
        if self.name == "a":
            raise FileNotFoundError(2, "No such file or directory", str(self))
        return listed(self)

    monkeypatch.setattr(Path, "iterdir", iterdir)
    # From inside: long names of folders are shortened in reports.
    monkeypatch.chdir(tmp_path)
    assert main(["check", "."]) == 1
    said = capsys.readouterr().out
    assert "cannot be opened (No such file or directory)" in " ".join(said.split())
    assert str(Path("b", "shot.jpg")) in said


def failure(path: object) -> OSError:
    return OSError(errno.EIO, os.strerror(errno.EIO), str(path))


class FailingFile(io.BytesIO):
    """A file that could be opened, and then the card was pulled out."""

    def read(self, *_sizes: int | None) -> bytes:
        raise failure("bad.jpg")


@pytest.mark.parametrize("call", ["stat", "open", "read"])
def test_a_card_that_fails(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    call: str,
) -> None:
    """A disk that gives up: input/output error wherever the file is touched."""
    for name in ("bad.jpg", "good.jpg"):
        SAMPLES["grey.jpg"](tmp_path / name)
    stat: Any = Path.stat
    opened: Any = Path.open

    def failing_stat(self: Path, **options: bool) -> Any:
        if self.name == "bad.jpg":
            raise failure(self)
        return stat(self, **options)

    def failing_open(self: Path, *args: Any, **options: Any) -> Any:
        if self.name != "bad.jpg":
            return opened(self, *args, **options)
        if call == "open":
            raise failure(self)
        return FailingFile()

    if call == "stat":
        monkeypatch.setattr(Path, "stat", failing_stat)
    else:
        monkeypatch.setattr(Path, "open", failing_open)
    assert main(["check", str(tmp_path)]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "Input/output error" in said
    assert "good.jpg SHOOT AGAIN" in said
