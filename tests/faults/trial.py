"""The parent's side of a trial: hands files to a child, watches it, and weighs its answers."""

from __future__ import annotations

import json
import os
import selectors
import subprocess
import sys
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Self

if TYPE_CHECKING:
    from types import TracebackType

LONGEST_CPU_S: Final = 10.0
MOST_MB: Final = 2000
PATIENCE_S: Final = 60.0
"""Without an answer for so long a file counts as a hang: other work may slow this machine."""

CODES: Final = frozenset({0, 1, 3, 4})
FORMS: Final = ("json", "text", "csv")
TESTS: Final = Path(__file__).parents[1]
_OWN_FAULTS: Final = ("The program failed on this picture", "a fault of the program", "Traceback")


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the program did with one file; `code` is None when it gave no answer."""

    code: int | None
    stdout: str = ""
    stderr: str = ""
    cpu_s: float = 0.0
    peak_mb: int = 0
    end: str = ""

    def complaints(self, form: str) -> list[str]:
        """Return what is wrong with the answer; nothing, if the program kept its word."""
        if self.code is None:
            return [self.end]
        said = self.stdout + self.stderr
        found = [f"it says {fault!r}" for fault in _OWN_FAULTS if fault in said]
        if self.code not in CODES:
            found.append(f"it ends with {self.code}")
        if self.cpu_s > LONGEST_CPU_S:
            found.append(f"it takes {self.cpu_s:.1f} s")
        if self.peak_mb > MOST_MB:
            found.append(f"it takes {self.peak_mb} MB")
        if self.stderr:
            found.append(f"it says on standard error: {self.stderr!r}")
        if not self.stdout.replace("\n", "").isprintable():
            found.append("what it says would steer a terminal")
        if form == "json" and self.code in CODES:
            found += _document_complaints(self.code, self.stdout)
        return found


def _document_complaints(code: int, stdout: str) -> list[str]:
    try:
        document: dict[str, Any] = json.loads(stdout, parse_constant=_refuse)
    except ValueError as error:
        return [f"it says no JSON: {error}"]
    (frame,) = document["frames"]
    states = {0: "judged", 1: "unreadable", 3: "judged", 4: "reshoot"}
    found = []
    if frame["state"] != states[code]:
        found.append(f"it ends with {code} and says {frame['state']}")
    if code == 1 and not all(frame["error"][key].endswith(".") for key in ("cause", "repair")):
        found.append("it does not say in sentences what is wrong and what to do")
    return found


def _refuse(name: str) -> float:
    msg = f"{name} is no JSON"
    raise ValueError(msg)


class Trial:
    """A child that judges files; a new one is started when one is brought down."""

    def __init__(self, *, patience_s: float = PATIENCE_S) -> None:
        self._patience_s = patience_s
        self.process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._end()

    def judge(self, path: Path, form: str = "json") -> Answer:
        """Let the child check one file."""
        process = self.process or self._started()
        assert process.stdin is not None
        assert process.stdout is not None
        with suppress(BrokenPipeError):  # it is gone: seen when it is asked for its answer
            process.stdin.write(json.dumps(["check", "--format", form, str(path)]).encode() + b"\n")
            process.stdin.flush()
        with selectors.DefaultSelector() as selector:
            selector.register(process.stdout, selectors.EVENT_READ)
            if not selector.select(self._patience_s):
                self._end()
                return Answer(code=None, end=f"no answer in {self._patience_s:.0f} s")
        line = process.stdout.readline()
        if not line:
            code = process.wait()
            self._end()
            return Answer(code=None, end=f"the program was brought down (exit code {code})")
        return Answer(**json.loads(line))

    def _started(self) -> subprocess.Popen[bytes]:
        # What the raw decoder prints by itself goes nowhere: other tests look at that.
        self.process = subprocess.Popen(
            [sys.executable, "-W", "error", "-m", "faults.child"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": str(TESTS), "OMP_NUM_THREADS": "1"},
        )
        return self.process

    def _end(self) -> None:
        if self.process is None:
            return
        self.process.kill()
        self.process.communicate()
        self.process = None
