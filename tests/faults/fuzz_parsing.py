"""Coverage-guided fuzzing of our own parsing: Exif, segments, chunks, boxes, curves, words.

    pip install -e '.[fuzz]'                          atheris, on Linux
    python tests/faults/fuzz_parsing.py               for ten minutes
    python tests/faults/fuzz_parsing.py --minutes 1 --corpus FOLDER
    python tests/faults/fuzz_parsing.py --page        outcome into docs/explanation/robustness.md

Ends with 0 when no error came out of the parsing, no input took longer than 10 s or more than
2 GB; otherwise it says which input did, and leaves it as a file in the corpus folder. Make
that file a case of ``tests/faults/test_parsing.py``.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.outcome import PAGE, made_with, write_outcome

LONGEST_INPUT_BYTES = 4096
LONGEST_S = 10
MOST_MB = 2000
PREPARED = "--prepared"
FIGURE = re.compile(r"\b(cov|number_of_executed_units): *(\d+)")


def fuzz(arguments: list[str]) -> None:
    """Fuzz in this process; does not come back."""
    atheris: Any = importlib.import_module("atheris")
    with atheris.instrument_imports(include=["motemap"]):
        parsing = importlib.import_module("faults.parsing")
    atheris.Setup([sys.argv[0], *arguments], parsing.try_bytes)
    atheris.Fuzz()


def run_in_a_process(corpus: Path, *, minutes: float) -> tuple[int, dict[str, int]]:
    """Fuzz in a process of its own; return its exit code and its last figures."""
    seeds = list(importlib.import_module("faults.parsing").seeds())
    corpus.mkdir(parents=True, exist_ok=True)
    for number, seed in enumerate(seeds):
        (corpus / f"seed-{number}").write_bytes(seed)
    arguments = [
        str(corpus),
        f"-max_total_time={round(minutes * 60)}",
        f"-max_len={LONGEST_INPUT_BYTES}",
        f"-timeout={LONGEST_S}",
        f"-rss_limit_mb={MOST_MB}",
        f"-artifact_prefix={corpus}/fault-",
        "-print_final_stats=1",
    ]
    figures: dict[str, int] = {"seeds": len(seeds)}
    command = [sys.executable, __file__, PREPARED, *arguments]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, errors="replace") as process:
        for line in process.stderr or ():
            sys.stderr.write(line)
            figures |= {name: int(value) for name, value in FIGURE.findall(line)}
    return process.returncode, figures


def said_on_page(code: int, figures: dict[str, int], minutes: float) -> str:
    """Return what the page says of a run."""
    found = "no fault was found" if code == 0 else "**a fault was found**"
    return (
        f"Last run: {minutes:g} minutes, {figures.get('number_of_executed_units', 0)} inputs from "
        f"{figures['seeds']} seeds, {figures.get('cov', 0)} branches seen; {found}. "
        f"{made_with('motemap', 'atheris')}."
    )


def main() -> int:
    if PREPARED in sys.argv:
        fuzz(sys.argv[2:])
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=10.0, help="how long; ten if left out")
    parser.add_argument("--corpus", type=Path, help="folder to keep what is found; a new one else")
    parser.add_argument("--page", action="store_true", help=f"write the outcome to {PAGE.name}")
    args = parser.parse_args()
    if importlib.util.find_spec("atheris") is None:
        print("atheris is not installed; on Linux: pip install -e '.[fuzz]'", file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory() as folder:
        code, figures = run_in_a_process(args.corpus or Path(folder), minutes=args.minutes)
    if args.page:
        write_outcome("fuzz_parsing.py", said_on_page(code, figures, args.minutes))
    print("No fault was found." if code == 0 else f"The fuzzer ended with {code}: see above.")
    return 1 if code else 0


if __name__ == "__main__":
    sys.exit(main())
