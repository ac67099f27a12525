"""Prints the oldest package versions that pyproject.toml allows: ``python oldest.py FILE``."""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path


def oldest_versions(pyproject: Path) -> list[str]:
    """Return one pip constraint for each dependency, at its lower bound."""
    wanted = tomllib.loads(pyproject.read_text(encoding="utf-8"))["project"]["dependencies"]
    pinned = [line.replace(">=", "==") for line in wanted]
    loose = [line for line in pinned if "==" not in line]
    if loose:
        message = f"no lower bound: {', '.join(loose)}"
        raise SystemExit(message)
    return pinned


if __name__ == "__main__":
    print("\n".join(oldest_versions(Path(sys.argv[1]))))
