"""Whether a document from outside fits one of the schemas that ship with the package.

Knows the words that these use and no others; a test holds it against a full validator. Source:
JSON Schema draft 2020-12, Validation, sections 6 and 7, and Core, sections 8 and 10.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

Schema = dict[str, Any]


def _is_number(value: object) -> bool:
    """Whether a value is a number; JSON has no infinite ones, and truth is none."""
    if isinstance(value, float):
        return math.isfinite(value)
    return isinstance(value, int) and not isinstance(value, bool)


_TYPES: Final[dict[str, Callable[[Any], bool]]] = {
    "null": lambda value: value is None,
    "boolean": lambda value: isinstance(value, bool),
    "string": lambda value: isinstance(value, str),
    "array": lambda value: isinstance(value, list),
    "object": lambda value: isinstance(value, dict),
    "number": _is_number,
    "integer": lambda value: _is_number(value) and value % 1 == 0,
}


def first_misfit(document: object, schema: Schema) -> str | None:
    """Return where a document does not fit a schema and why, None when it does.

    Examples
    --------
    >>> first_misfit({"n": "two"}, {"properties": {"n": {"type": "integer"}}})
    'n is not of type integer'
    """
    found = next(_Fitting(schema).misfits(document, schema, ""), None)
    return None if found is None else found.removeprefix(".").strip()


class _Fitting:
    """The search for what does not fit; holds the schema that references lead into."""

    def __init__(self, root: Schema) -> None:
        self._root = root

    def misfits(self, value: Any, schema: Schema, way: str) -> Iterator[str]:
        """Yield what does not fit in a value and all below it."""
        if "$ref" in schema:
            yield from self.misfits(value, self._referred(schema["$ref"]), way)
        yield from self._own(value, schema, way)
        yield from self._of_choices(value, schema, way)
        if isinstance(value, dict):
            yield from self._of_members(value, schema, way)
        elif isinstance(value, list):
            yield from self._of_items(value, schema, way)

    def _referred(self, place: str) -> Schema:
        schema: Any = self._root
        for step in place.removeprefix("#/").split("/"):
            schema = schema[step]
        found: Schema = schema
        return found

    def _own(self, value: Any, schema: Schema, way: str) -> Iterator[str]:
        names = schema.get("type", [])
        names = [names] if isinstance(names, str) else names
        if names and not any(_TYPES[name](value) for name in names):
            yield f"{way} is not of type {' or '.join(names)}"
        elif "const" in schema and not _is_same(value, schema["const"]):
            yield f"{way} is not {schema['const']!r}"
        elif "enum" in schema and not any(_is_same(value, each) for each in schema["enum"]):
            yield f"{way} is none of {schema['enum']}"
        elif isinstance(value, str) and re.search(schema.get("pattern", ""), value) is None:
            yield f"{way} is not of the form {schema['pattern']}"
        elif _is_number(value) and not _is_within(value, schema):
            yield f"{way} is out of range"

    def _of_choices(self, value: Any, schema: Schema, way: str) -> Iterator[str]:
        for each in schema.get("allOf", []):
            yield from self.misfits(value, each, way)
        if "if" in schema and self._fits(value, schema["if"]):
            yield from self.misfits(value, schema.get("then", {}), way)
        n_any = [self._fits(value, each) for each in schema.get("anyOf", [])]
        n_one = [self._fits(value, each) for each in schema.get("oneOf", [])]
        if (n_any and not any(n_any)) or (n_one and sum(n_one) != 1):
            yield f"{way} is none of what it may be"

    def _fits(self, value: Any, schema: Schema) -> bool:
        return next(self.misfits(value, schema, ""), None) is None

    def _of_members(self, value: dict[str, Any], schema: Schema, way: str) -> Iterator[str]:
        missing = (name for name in schema.get("required", ()) if name not in value)
        yield from (f"{way}.{name} is missing" for name in missing)
        known = schema.get("properties", {})
        other = schema.get("additionalProperties", True)
        for name, inner in value.items():
            for wrong in self.misfits(name, schema.get("propertyNames", {}), ""):
                yield f"{way}.{name}{wrong}"
            if name in known:
                yield from self.misfits(inner, known[name], f"{way}.{name}")
            elif other is False:
                yield f"{way}.{name} is not known"
            elif isinstance(other, dict):
                yield from self.misfits(inner, other, f"{way}.{name}")

    def _of_items(self, value: list[Any], schema: Schema, way: str) -> Iterator[str]:
        if not schema.get("minItems", 0) <= len(value) <= schema.get("maxItems", math.inf):
            yield f"{way} has {len(value)} items"
        first = schema.get("prefixItems", [])
        rest = schema.get("items", {})
        for number, inner in enumerate(value):
            place = f"{way}[{number}]"
            if number < len(first):
                yield from self.misfits(inner, first[number], place)
            elif rest is False:
                yield f"{place} is one too many"
            else:
                yield from self.misfits(inner, rest, place)


def _is_same(one: Any, other: Any) -> bool:
    return bool(one == other) and isinstance(one, bool) == isinstance(other, bool)


def _is_within(value: float, schema: Schema) -> bool:
    is_above = value > schema.get("exclusiveMinimum", -math.inf)
    is_between = schema.get("minimum", value) <= value <= schema.get("maximum", value)
    return bool(is_above and is_between)
