"""The page of dependencies says what is asked for and what is installed."""

import runpy
from pathlib import Path
from typing import Any

import pytest

LICENCES: dict[str, Any] = runpy.run_path(str(Path(__file__).with_name("licences.py")))


def test_the_page_lists_what_is_installed() -> None:
    assert LICENCES["faults"]() == []


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        ("BSD-3-Clause AND 0BSD AND MIT", {"BSD", "MIT"}),
        ("GNU Lesser General Public License v3 or later (LGPLv3+)", {"LGPL"}),
        ("GNU General Public License v3", {"GPL"}),
        ("LGPL-2.1 or CDDL-1.0", {"LGPL", "CDDL"}),
        ("none of these", set()),
    ],
)
def test_kinds_of_licence(text: str, kinds: set[str]) -> None:
    assert LICENCES["kinds_in"](text) == kinds
