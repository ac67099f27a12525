import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import click
import pytest

from commanding import Captured
from motemap import __version__
from motemap.cli.main import COMMANDS, THREAD_VARIABLES, main, program
from motemap.cli.pretrip import moment
from motemap.errors import GeometryError, RecordError, SettingsError, UnreadableFile


def commands() -> list[str]:
    return program.list_commands(click.Context(program))


def test_alone_it_helps(capsys: Captured) -> None:
    assert main([]) == 0
    stdout, stderr = capsys.readouterr()
    assert stdout.rstrip().endswith("motemap check trip/ --shoot-at 8")
    assert stderr == ""
    assert len(stdout.splitlines()) <= 30
    assert "..." not in stdout.replace("[ARGS]...", "")  # no summary is cut


def test_the_list_says_of_each_command_what_its_own_help_does() -> None:
    context = click.Context(program)
    for name, summary in COMMANDS.items():
        command = program.get_command(context, name)
        assert command is not None
        assert command.get_short_help_str(80) == summary


def test_version(capsys: Captured) -> None:
    assert main(["--version"]) == 0
    assert __version__ in capsys.readouterr().out


@pytest.mark.parametrize("name", commands())
def test_every_help_ends_in_an_example_and_fits(name: str, capsys: Captured) -> None:
    for option in ("--help", "-h"):
        assert main([name, option]) == 0
        lines = capsys.readouterr().out.rstrip().splitlines()
        assert max(map(len, lines)) <= 80
        assert lines[-1].startswith("    motemap ")
        assert "  Example:" in lines


@pytest.mark.parametrize(
    ("written", "stands_for"),
    [
        ("2024-05-12", datetime(2024, 5, 12)),
        (" 2024-05-12T18:30 ", datetime(2024, 5, 12, 18, 30)),
        ("2024-05-12T18:30:05Z", datetime(2024, 5, 12, 18, 30, 5, tzinfo=UTC)),
    ],
)
def test_moments_as_people_write_them(written: str, stands_for: datetime) -> None:
    assert moment(written) == stands_for


def test_what_is_no_date_is_told_in_words(capsys: Captured) -> None:
    assert main(["pretrip", "trip", "--as-of", "yesterday"]) == 2
    told = capsys.readouterr().err
    assert "'yesterday' is no date; write 2024-05-12" in told
    assert "%" not in told


@pytest.mark.parametrize("name", commands())
def test_every_command_says_what_it_does_and_can_be_debugged(name: str) -> None:
    command = program.get_command(click.Context(program), name)
    assert command is not None
    assert command.get_short_help_str()
    assert {"quiet", "verbose", "debug"} <= {each.name for each in command.params}


def test_commands_are_listed_in_the_order_of_work() -> None:
    assert commands() == [name for name in COMMANDS if name in commands()]
    assert {"check", "guide"} <= set(commands())


@pytest.mark.parametrize(
    "args", [["chekc"], ["--nonsense"], ["check", "--nonsense"], ["check"], ["check", "--jobs"]]
)
def test_wrong_usage(args: list[str], capsys: Captured) -> None:
    assert main(args) == 2
    stdout, stderr = capsys.readouterr()
    assert stdout == ""
    assert stderr.startswith("Error: ")
    assert "--help" in stderr


def test_a_path_in_place_of_a_command(
    capsys: Captured, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("trip")
    assert main([str(folder)]) == 2
    assert f"Did you mean: motemap check {folder}" in capsys.readouterr().err


def raising(monkeypatch: pytest.MonkeyPatch, error: BaseException) -> None:
    def fail(*_args: object, **_options: object) -> int:
        raise error

    monkeypatch.setattr(program, "invoke", fail)


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (
            UnreadableFile("It is cut off.", repair="Copy it again.", path="a.dng"),
            1,
            "Error: a.dng: It is cut off.\n  Copy it again.\n",
        ),
        (RecordError("It is newer.", repair="Update."), 1, "Error: It is newer.\n  Update.\n"),
        (GeometryError("No.", repair="Yes."), 1, "Error: No.\n  Yes.\n"),
        (SettingsError("Too wide.", repair="Less."), 2, "Error: Too wide.\n  Less.\n"),
        (click.UsageError("Not so."), 2, "Error: Not so.\n  Try 'motemap --help'.\n"),
        (click.ClickException("No good."), 1, "Error: No good.\n"),
        (KeyboardInterrupt(), 130, "\nStopped.\n"),
        (click.Abort(), 130, "Stopped.\n"),
    ],
)
def test_errors_become_codes(
    monkeypatch: pytest.MonkeyPatch,
    capsys: Captured,
    error: BaseException,
    code: int,
    said: str,
) -> None:
    raising(monkeypatch, error)
    assert main(["guide"]) == code
    assert capsys.readouterr() == ("", said)


@pytest.mark.parametrize(
    "error", [RuntimeError("odd \x1b[2J"), EOFError("cut off"), OSError(5, "x")]
)
def test_a_crash_is_one_line_and_never_a_verdict(
    monkeypatch: pytest.MonkeyPatch, capsys: Captured, error: Exception
) -> None:
    raising(monkeypatch, error)
    assert main(["guide"]) == 1
    stdout, stderr = capsys.readouterr()
    assert stdout == ""
    assert type(error).__name__ in stderr
    assert "--debug" in stderr
    assert "Traceback" not in stderr
    assert "\x1b" not in stderr


def test_debug_shows_the_trace(monkeypatch: pytest.MonkeyPatch, capsys: Captured) -> None:
    def fail(ctx: click.Context) -> int:
        del ctx
        raise RuntimeError("odd")

    monkeypatch.setattr(program, "invoke", fail)
    assert main(["--debug"]) == 1
    stderr = capsys.readouterr().err
    assert "Traceback (most recent call last)" in stderr
    assert "RuntimeError: odd" in stderr


def test_a_code_that_is_no_number_is_success(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(program, "invoke", lambda _ctx: None)
    assert main(["guide"]) == 0


@pytest.mark.parametrize(
    "args", [["--help"], ["--version"], *([name, "--help"] for name in commands())]
)
def test_help_loads_nothing_heavy(args: list[str]) -> None:
    script = (
        "import sys; from motemap.cli.main import main; code = main(sys.argv[1:]);"
        "heavy = {'numpy', 'scipy', 'cv2', 'PIL', 'rawpy', 'imageio', 'tifffile', 'sqlite3'};"
        "print(sorted(heavy & set(sys.modules)), code, file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *args],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert done.stderr == "[] 0\n"


@pytest.mark.parametrize("shot", ["LF-2c_210077/LF20031.dng", "LF-6_600188/LF60220.jpg"])
def test_a_check_does_without_scipy(shot: str) -> None:
    # Importing its filters takes longer than all that a check would do with them.
    script = (
        "import sys; from motemap.cli.main import main; code = main(sys.argv[1:]);"
        "print(sorted({'cv2', 'scipy'} & set(sys.modules)), code, file=sys.stderr)"
    )
    path = Path(__file__).parents[2] / "demo_data" / "frames" / shot
    done = subprocess.run(
        [sys.executable, "-c", script, "check", "--exit-zero", "--quiet", str(path)],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert done.stderr == "['cv2'] 0\n"


def test_as_a_module() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "motemap", "--version"],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert done.stdout.strip().endswith(__version__)


def test_a_process_that_is_stopped_leaves_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    left: list[int] = []
    raising(monkeypatch, KeyboardInterrupt())
    monkeypatch.setattr(os, "_exit", left.append)
    monkeypatch.setattr(sys, "argv", ["motemap", "guide"])
    assert main() == 130
    assert left == [130]


def test_linear_algebra_keeps_to_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    # Else a report would change in its last digit with the number of cores.
    for name in THREAD_VARIABLES:
        monkeypatch.setenv(name, "7")
    main(["--version"])
    assert {os.environ[name] for name in THREAD_VARIABLES} == {"1"}


def completed(**variables: str) -> str:
    done = subprocess.run(
        [sys.executable, "-m", "motemap"],
        env={**os.environ, **variables},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.stderr == ""
    return done.stdout


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_shells_can_complete(shell: str) -> None:
    # bash_source asks the installed bash for its version; the others need nothing.
    assert "_MOTEMAP_COMPLETE" in completed(_MOTEMAP_COMPLETE=f"{shell}_source")


def test_completion_knows_commands_and_options() -> None:
    asked = {"_MOTEMAP_COMPLETE": "bash_complete", "COMP_WORDS": "motemap ch", "COMP_CWORD": "1"}
    assert "check" in completed(**asked)
    asked |= {"COMP_WORDS": "motemap check --sh", "COMP_CWORD": "2"}
    assert "--shoot-at" in completed(**asked)
