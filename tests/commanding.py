"""The program called as from a shell, and what it said."""

import json
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from motemap.cli.main import main
from motemap.report.schema import load_schema

Captured = pytest.CaptureFixture[str]


def run(capsys: Captured, *args: object) -> tuple[int, str, str]:
    code = main([str(each) for each in args])
    stdout, stderr = capsys.readouterr()
    return code, stdout, stderr


def read(capsys: Captured, schema: str, *args: object) -> tuple[int, dict[str, Any]]:
    """Return the exit code and the JSON of a command that says nothing else."""
    code, stdout, stderr = run(capsys, *args, "--format", "json")
    assert stderr == ""
    document: dict[str, Any] = json.loads(stdout)
    Draft202012Validator(load_schema(schema)).validate(document)
    return code, document
