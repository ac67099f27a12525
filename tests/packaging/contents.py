"""Looks into a wheel and an sdist: ``python contents.py WHEEL SDIST``; ends 1 when amiss."""

from __future__ import annotations

import sys
import tarfile
import zipfile
from pathlib import Path

NEEDED = (
    "motemap/py.typed",
    "motemap/facts/guide.txt",
    "motemap/facts/tables/sensor_formats.csv",
    "motemap/optics/shadow_table.npz",
    "motemap/report/schemas/check.schema.json",
)
LARGEST_BYTES = 3_000_000
SDIST_ROOMS = {"src", "README.md", "LICENSE", "pyproject.toml", "PKG-INFO", ".gitignore"}


def wheel_faults(wheel: Path) -> list[str]:
    """Return what is missing from a wheel or does not belong into it."""
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    faults = [f"{name} is not in the wheel" for name in NEEDED if name not in names]
    strange = (
        name for name in names if not name.startswith("motemap/") and ".dist-info/" not in name
    )
    faults += [f"{name} does not belong into the wheel" for name in strange]
    if not any(name.endswith("/LICENSE") for name in names):
        faults.append("the licence is not in the wheel")
    if wheel.stat().st_size > LARGEST_BYTES:
        faults.append(f"the wheel has {wheel.stat().st_size} bytes")
    return faults


def sdist_faults(sdist: Path) -> list[str]:
    """Return what does not belong into a source archive."""
    with tarfile.open(sdist) as archive:
        rooms = {name.split("/")[1] for name in archive.getnames() if "/" in name}
    return [f"{room} does not belong into the sdist" for room in sorted(rooms - SDIST_ROOMS)]


def main() -> int:
    wheel, sdist = (Path(argument) for argument in sys.argv[1:3])
    faults = wheel_faults(wheel) + sdist_faults(sdist)
    print("\n".join(faults) or f"{wheel.name} and {sdist.name} hold what they should.")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
