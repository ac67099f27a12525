"""Our check of documents against schemas, held against the validator of another project.

Authority: jsonschema (PyPI), `Draft202012Validator`, version as installed.
"""

import copy
import json
import random
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from commanding import Captured
from drawn import dust, shoot
from motemap.cli.main import main
from motemap.report.fitting import first_misfit
from motemap.report.schema import load_schema, schema_names

pytestmark = pytest.mark.external

VALUES: tuple[Any, ...] = (
    None,
    True,
    0,
    1,
    -3,
    0.5,
    7.0,
    "",
    "words",
    "f/8",
    [],
    [1],
    {},
    {"a": 1},
)
N_CHANGES = 60


def both_say(document: Any, schema: dict[str, Any], other: Draft202012Validator) -> bool:
    fits = other.is_valid(document)
    assert (first_misfit(document, schema) is None) == fits, first_misfit(document, schema)
    return fits


def changed(document: Any, rng: random.Random) -> Any:
    """Return a copy with one value replaced, taken out or put in, anywhere."""
    copied = copy.deepcopy(document)
    home = copied
    while True:
        keys: list[Any] = list(home) if isinstance(home, dict) else list(range(len(home)))
        inner = [key for key in keys if isinstance(home[key], dict | list) and home[key]]
        if not inner or rng.random() < 0.15:
            break
        home = home[rng.choice(inner)]
    if not keys:
        return copied
    key = rng.choice(keys)
    match rng.randrange(4):
        case 0:
            del home[key]
        case 1 if isinstance(home, dict):
            home["strange"] = 1
        case _:
            home[key] = rng.choice(VALUES)
    return copied


def test_reports_and_what_is_made_of_them(tmp_path: Path, capsys: Captured) -> None:
    shot, record = shoot(tmp_path / "a.dng", dust()), str(tmp_path / "record")
    made = {
        "check": ["check", "--record", "--db", record, "--format", "json", str(shot)],
        "compare": ["compare", "--format", "json", str(shot), str(shot)],
        "pretrip": ["pretrip", "--format", "json", str(tmp_path)],
        "course": ["history", "--db", record, "--format", "json"],
    }
    documents = {}
    for name, args in made.items():
        main(args)
        documents[name] = json.loads(capsys.readouterr().out)
    main(["history", "--db", record, "--export", str(tmp_path / "export.json")])
    documents["history"] = json.loads((tmp_path / "export.json").read_text(encoding="utf-8"))
    rng = random.Random(8)
    for name, document in documents.items():
        schema = load_schema(name)
        other = Draft202012Validator(schema)
        assert both_say(document, schema, other), name
        n_fit = sum(both_say(changed(document, rng), schema, other) for _ in range(N_CHANGES))
        assert 0 < n_fit < N_CHANGES


@pytest.mark.parametrize("name", schema_names())
def test_the_schemas_use_no_other_words(name: str) -> None:
    """A word that our check does not know would be passed over in silence."""
    known = {
        *("$schema", "$id", "$defs", "$ref", "title", "description", "type", "const", "enum"),
        *("pattern", "minimum", "maximum", "exclusiveMinimum", "allOf", "anyOf", "oneOf"),
        *("if", "then", "required", "properties", "additionalProperties", "propertyNames"),
        *("items", "prefixItems", "minItems", "maxItems"),
    }
    waiting: list[Any] = [load_schema(name)]
    while waiting:
        schema = waiting.pop()
        if not isinstance(schema, dict):
            continue
        assert set(schema) <= known
        for word, value in schema.items():
            if word in {"properties", "$defs"}:
                waiting += value.values()
            elif word not in {"const", "enum", "required", "type"}:
                waiting += value if isinstance(value, list) else [value]
