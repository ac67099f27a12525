"""What needs no picture must not wait for numpy."""

import subprocess
import sys

import pytest


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["check", "--help"], ["guide"]])
def test_what_needs_no_picture_imports_nothing_heavy(words: list[str]) -> None:
    code = (
        "import sys; from motemap.cli.main import main; "
        "main(sys.argv[1:]); print('numpy' in sys.modules, file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *words],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert done.stdout
    assert done.stderr.strip() == "False"
