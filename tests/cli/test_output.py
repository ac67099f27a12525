import io
import sys
from pathlib import Path

import pytest

from motemap.cli.output import emit
from motemap.errors import OutputError
from motemap.report.forms import Form


def test_a_file_is_utf_8(tmp_path: Path) -> None:
    emit("caf\u00e9\n", tmp_path / "report.txt")
    assert (tmp_path / "report.txt").read_bytes() == b"caf\xc3\xa9\n"


@pytest.mark.parametrize("form", ["json", "csv"])
def test_a_poor_locale_gets_text_it_can_show(form: Form, monkeypatch: pytest.MonkeyPatch) -> None:
    written = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(written, encoding="ascii"))
    emit("caf\u00e9\n", None)
    emit('{"file": "caf\u00e9"}\n', None, form=form)
    assert written.getvalue() == b'caf\\xe9\n{"file": "caf\xc3\xa9"}\n'


def test_a_closed_standard_output(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", None)
    with pytest.raises(OutputError, match="closed"):
        emit("report", None)


def test_a_full_standard_output(monkeypatch: pytest.MonkeyPatch) -> None:
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        monkeypatch.setattr(sys, "stdout", full)
        with pytest.raises(OutputError, match="No space left"):
            emit("report", None)
