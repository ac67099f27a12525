"""The JSON Schema files (draft 2020-12) that ship with the package."""

import json
from importlib.resources import files
from typing import Any

SCHEMA_SUFFIX = ".schema.json"


def schema_names() -> tuple[str, ...]:
    """Return the names of the reports that have a schema, sorted."""
    folder = files("motemap.report") / "schemas"
    return tuple(
        sorted(
            entry.name.removesuffix(SCHEMA_SUFFIX)
            for entry in folder.iterdir()
            if entry.name.endswith(SCHEMA_SUFFIX)
        )
    )


def load_schema(name: str) -> dict[str, Any]:
    """Return the schema of a report, as for ``load_schema("check")``."""
    entry = files("motemap.report") / "schemas" / f"{name}{SCHEMA_SUFFIX}"
    schema: dict[str, Any] = json.loads(entry.read_text(encoding="utf-8"))
    return schema
