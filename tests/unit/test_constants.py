"""A number that somebody chose, or took from somewhere, says so where it stands."""

from __future__ import annotations

import ast
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

import motemap

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOMS = (
    *("classify", "detect", "facts", "flatten", "matching", "measure"),
    *("optics", "particle", "pipeline", "place", "sensor", "shot"),
)
SOURCE = Path(motemap.__file__).parent


def is_told(statement: ast.stmt, following: ast.stmt | None) -> bool:
    """Whether a text follows directly, or one after further constants directly below."""
    return following is not None and following.lineno == (statement.end_lineno or 0) + 1


def constants(module: Path) -> Iterator[tuple[str, bool]]:
    """Yield the public constants of a module that hold a number, and whether one says why."""
    body = ast.parse(module.read_text(encoding="utf-8")).body
    told = False
    # From the last to the first: a text tells of all constants directly above it.
    for following, statement in pairwise([None, *reversed(body)]):
        if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
            told = True
            continue
        if not isinstance(statement, ast.Assign | ast.AnnAssign) or statement.value is None:
            told = False
            continue
        told = told and is_told(statement, following)
        targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
        names = [
            node.id for each in targets for node in ast.walk(each) if isinstance(node, ast.Name)
        ]
        parts = [node.value for node in ast.walk(statement.value) if isinstance(node, ast.Constant)]
        if any(type(part) in (int, float) for part in parts):
            yield from ((name, told) for name in names if name.isupper() and name[0] != "_")


@pytest.mark.parametrize("room", ROOMS)
def test_every_number_with_a_name_says_what_it_is(room: str) -> None:
    found = [
        (f"{module.stem}.{name}", told)
        for module in sorted((SOURCE / room).rglob("*.py"))
        for name, told in constants(module)
    ]
    assert found
    assert [name for name, told in found if not told] == []
