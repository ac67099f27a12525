"""The program in a process of its own: judges the files it is told, one line of answer each.

What it uses is measured for each file, so that its parent can tell which one hangs it, takes
too much memory, or brings it down.
"""

from __future__ import annotations

import io
import json
import sys
import time
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING, cast

from motemap.cli.main import main

if TYPE_CHECKING:
    from types import ModuleType

_PEAK = "VmHWM:"
_KB_PER_MB = 1024


def _forget_peak() -> None:
    Path("/proc/self/clear_refs").write_text("5", encoding="ascii")


def _peak_mb() -> int:
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith(_PEAK)) // _KB_PER_MB


def _answer(args: list[str]) -> dict[str, object]:
    sink = io.BytesIO()
    out = io.TextIOWrapper(sink, encoding="utf-8", write_through=True)
    err = io.StringIO()
    _forget_peak()
    begun_s = time.process_time()
    with redirect_stdout(out), redirect_stderr(err):
        code = main(args)
    return {
        "code": code,
        "stdout": sink.getvalue().decode("utf-8"),
        "stderr": err.getvalue(),
        "cpu_s": time.process_time() - begun_s,
        "peak_mb": _peak_mb(),
    }


def serve() -> None:
    """Answer until standard input ends.

    Without imagecodecs: users do not have it, only writing test files needs it. Where it is
    installed it would unpack pictures in place of what unpacks them on their machines.
    """
    sys.modules["imagecodecs"] = cast("ModuleType", None)
    answers = sys.stdout
    for line in sys.stdin:
        print(json.dumps(_answer(json.loads(line))), file=answers, flush=True)


if __name__ == "__main__":
    serve()
