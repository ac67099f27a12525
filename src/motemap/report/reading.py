"""Reading back what a report of this or another version wrote."""

from __future__ import annotations

from dataclasses import fields
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


def known_keys(kind: type, record: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a record says that this version knows of.

    New keys come without a new version of the report, so that a later program may have written
    some. What they say is passed over; all else is as it was.

    Parameters
    ----------
    kind : type
        The dataclass that is to be made of it.
    record : mapping
    """
    return {name: record[name] for name in _names(kind) if name in record}


@cache
def _names(kind: type) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))
