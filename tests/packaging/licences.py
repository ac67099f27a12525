"""Holds ``docs/reference/dependencies.md`` against what is installed.

    python tests/packaging/licences.py

prints for each package of ``pyproject.toml`` its lower bound and the kinds of licence that its
metadata names, and ends with 1 when the page says something else.
"""

from __future__ import annotations

import re
import sys
import tomllib
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path
from typing import Final

from packaging.requirements import Requirement

ROOT: Final = Path(__file__).parents[2]
PAGE: Final = ROOT / "docs" / "reference" / "dependencies.md"

KINDS: Final = ("AGPL", "LGPL", "GPL", "MPL", "Apache", "BSD", "MIT", "CDDL")
"""Kinds of licence, each before those whose names are part of its own."""

SPELLINGS: Final = {
    "GNU Lesser General Public License": "LGPL",
    "GNU General Public License": "GPL",
    "Redistribution and use in source and binary forms": "BSD",
    "Permission is hereby granted, free of charge": "MIT",
    "Apache License": "Apache",
    "Mozilla Public License": "MPL",
}
"""How licences are called where no identifier is given."""

ROW: Final = re.compile(
    r"^\| `(?P<name>[^`]+)` \| (?P<bound>[^|]+) \| (?P<licence>[^|]+) \|", re.MULTILINE
)
LONGEST_NAME: Final = 80


def kinds_in(text: str) -> frozenset[str]:
    """Return the kinds of licence that a text names."""
    for spelling, kind in SPELLINGS.items():
        text = text.replace(spelling, kind)
    found = set()
    for kind in KINDS:
        if kind in text:
            found.add(kind)
            text = text.replace(kind, "")
    return frozenset(found)


def licence_kinds(package: Distribution) -> frozenset[str]:
    """Return what a package's metadata names: identifier, classifiers, a short name, a text."""
    said = package.metadata
    classifiers = [each for each in said.get_all("Classifier") or [] if each.startswith("License")]
    # Asked for as lists: some readers of metadata raise where a field is missing.
    name = "".join(said.get_all("License") or [])
    expression = "".join(said.get_all("License-Expression") or [])
    short = name if len(name) < LONGEST_NAME else ""
    for text in (expression, " ".join(classifiers), short, _text_of(package)):
        kinds = kinds_in(text)
        if kinds:
            return kinds
    return frozenset()


def _text_of(package: Distribution) -> str:
    files = [each for each in package.files or [] if "licen" in each.name.lower()]
    return " ".join(each.read_text() for each in files if each.suffix in {"", ".txt", ".md"})


def wanted() -> dict[str, Requirement]:
    """Return what ``pyproject.toml`` asks for, by name, extras included."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = [*project["dependencies"]]
    for more in project["optional-dependencies"].values():
        lines += more
    return {each.name: each for each in map(Requirement, lines)}


def brought(names: list[str]) -> set[str]:
    """Return the packages that come with some, and with these in turn, on this machine."""
    found: set[str] = set()
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        if name in found:
            continue
        found.add(name)
        needs = (Requirement(line) for line in distribution(name).requires or [])
        waiting += [
            need.name
            for need in needs
            if need.marker is None or need.marker.evaluate({"extra": ""})
        ]
    return found


def faults() -> list[str]:
    """Return what is wrong on the page."""
    text = PAGE.read_text(encoding="utf-8")
    rows = {row["name"]: row for row in ROW.finditer(text)}
    asked = wanted()
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    used = [Requirement(line).name for line in project["dependencies"]]
    missing = sorted((set(asked) | brought(used)) - set(rows))
    found = [f"{name} is not on the page" for name in missing]
    for name, row in rows.items():
        bound = row["bound"].strip()
        if name in asked and bound != str(asked[name].specifier).removeprefix(">="):
            found.append(f"{name}: the page says {bound}, pyproject.toml {asked[name].specifier}")
        try:
            kinds = licence_kinds(distribution(name))
        except PackageNotFoundError:  # an extra that is not installed here
            continue
        stated = kinds_in(row["licence"])
        strict = {kind for kind in kinds if "GPL" in kind or kind == "CDDL"}
        if not stated & kinds or not strict <= stated:
            found.append(f"{name}: the page says {row['licence'].strip()}, its metadata {kinds}")
    return found


def main() -> int:
    for name, requirement in wanted().items():
        try:
            kinds = ", ".join(sorted(licence_kinds(distribution(name))))
        except PackageNotFoundError:
            kinds = "(not installed)"
        print(f"{name:24} {requirement.specifier!s:14} {kinds}")
    wrong = faults()
    print("\n".join(wrong) or f"{PAGE.name} says the same.")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
