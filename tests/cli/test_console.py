import io
import logging
import sys

import pytest

from motemap.cli.console import Console, complain, wants_colour


@pytest.mark.parametrize(
    ("console", "level"),
    [
        (Console(), logging.WARNING),
        (Console(is_quiet=True), logging.ERROR),
        (Console(n_verbose=1), logging.INFO),
        (Console(n_verbose=5), logging.DEBUG),
        (Console(is_debug=True), logging.DEBUG),
    ],
)
def test_levels(console: Console, level: int) -> None:
    assert console.log_level == level


def test_messages_cannot_steer_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    complain("bad \x1b[2J name\n")
    Console().start_logging()
    logging.getLogger("motemap.test").warning("odd file %s", "a\x1b[2J\nERROR: all is lost")
    stdout, stderr = capsys.readouterr()
    assert stdout == ""
    assert stderr.splitlines() == [
        r"bad \x1b[2J name\n",
        r"WARNING: odd file a\x1b[2J\nERROR: all is lost",
    ]


def test_messages_in_a_poor_locale(monkeypatch: pytest.MonkeyPatch) -> None:
    written = io.BytesIO()
    monkeypatch.setattr(sys, "stderr", io.TextIOWrapper(written, encoding="ascii"))
    complain("caf\u00e9")
    sys.stderr.flush()
    assert written.getvalue() == b"caf\\xe9\n"


def test_quiet_keeps_quiet(capsys: pytest.CaptureFixture[str]) -> None:
    Console(is_quiet=True).say("by the way")
    Console().say("mind this")
    assert capsys.readouterr().err == "mind this\n"


def test_no_bar_where_nobody_looks(capsys: pytest.CaptureFixture[str]) -> None:
    with Console().progress(5, label="Judging") as step:
        step()
    assert capsys.readouterr() == ("", "")


class Screen(io.StringIO):
    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


def test_a_bar_on_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    with Console().progress(2, label="Judging") as step:
        step()
        step()
    assert "Judging" in screen.getvalue()
    assert "100%" in screen.getvalue()


def test_no_bar_when_quiet(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = Screen()
    monkeypatch.setattr(sys, "stderr", screen)
    with Console(is_quiet=True).progress(2, label="Judging") as step:
        step()
    assert screen.getvalue() == ""


@pytest.mark.parametrize(
    ("variables", "wanted"),
    [
        ({}, True),
        ({"NO_COLOR": "1"}, False),
        ({"NO_COLOR": ""}, True),
        ({"TERM": "dumb"}, False),
    ],
)
def test_colour_on_a_terminal(
    monkeypatch: pytest.MonkeyPatch, variables: dict[str, str], wanted: object
) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setenv("TERM", "xterm")
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "stdout", Screen())
    assert wants_colour() is wanted


def test_no_colour_into_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    assert not wants_colour()
