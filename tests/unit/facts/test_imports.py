"""Facts are cheap: `--help` and `guide` must not wait for numpy."""

import subprocess
import sys

MODULES = ["cautions", "formats", "guide", "methods", "orientation", "page", "stops", "table"]


def test_facts_import_nothing_heavy() -> None:
    names = ", ".join(f"motemap.facts.{name}" for name in MODULES)
    code = f"import {names}, motemap.cli.main, sys; print('numpy' in sys.modules)"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60
    )
    assert done.stdout.strip() == "False"
