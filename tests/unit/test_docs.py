"""The documentation says what the program does, and leads where it says."""

from __future__ import annotations

import doctest
import importlib.util
import re
import shlex
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import pytest

from motemap.cli.main import program
from motemap.pipeline.exit_codes import (
    CLEAN_CODE,
    FAULT_CODE,
    READY_CODE,
    RESHOOT_CODE,
    STOPPED_CODE,
    USAGE_CODE,
)
from motemap.report.schema import load_schema, schema_names

if TYPE_CHECKING:
    from collections.abc import Iterator

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
PAGES = (README, ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md")))
GROUP = click.Context(program, info_name="motemap", **program.context_settings)
COMMANDS = tuple(program.list_commands(GROUP))

FENCE = re.compile(r"^(?:```|~~~)(\w*)\n(.*?)^(?:```|~~~)$", re.MULTILINE | re.DOTALL)
INDENTED = re.compile(r"^(?: {4}|\t)(.*)$", re.MULTILINE)
INLINE = re.compile(r"`(motemap [^`\n]+)`")
LINK = re.compile(r"\[[^]]*\]\(([^)\s]+)\)")
NAMED_FILE = re.compile(r"`((?:[a-z_]+/)*[a-z_]+\.py|(?:[a-z_]+/)+)`")
SHELL_ENDS = re.compile(r"\s(?:\||\|\||&&|<|>|>>|2>|;)|;|\s#|\)|<(?=\w)|>(?=\w)")
CLOSING = "\n  Example:\n"


def text_of(page: Path) -> str:
    return page.read_text(encoding="utf-8")


def name_of(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


@cache
def builder() -> Any:
    """Return the script that writes what pages take from the program."""
    spec = importlib.util.spec_from_file_location(
        "build_reference", ROOT / "docs" / "build_reference.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def command_lines(page: Path) -> Iterator[str]:
    """Yield every command of the program that a page shows, without what the shell adds."""
    text = text_of(page)
    blocks = [body for kind, body in FENCE.findall(text) if kind != "python"]
    blocks += INDENTED.findall(FENCE.sub("", text))
    lines = [line.strip().removeprefix("$ ") for block in blocks for line in block.splitlines()]
    lines = [part for line in lines for part in re.split(r"&& |\$\(|\| ", line)]
    lines += INLINE.findall(FENCE.sub("", text))
    for line in lines:
        found = re.match(r"(?:\.venv/bin/|user/bin/)?(motemap(?: .*)?)$", line.strip())
        if found and "$" not in found[1]:
            yield SHELL_ENDS.split(found[1])[0].strip()


def shown_commands() -> list[Any]:
    return [
        pytest.param(line, id=f"{name_of(page)}: {line}")
        for page in PAGES
        if page.name != "cli.md"
        for line in dict.fromkeys(command_lines(page))
    ]


@pytest.mark.parametrize("line", shown_commands())
def test_commands_in_the_pages_are_understood(line: str) -> None:
    name, *rest = shlex.split(line)[1:] or ["--version"]
    command = program if name.startswith("-") else program.get_command(GROUP, name)
    assert command is not None, f"there is no command {name}"
    if command is program:
        with pytest.raises(click.exceptions.Exit):
            program.make_context("motemap", [name, *rest])
    elif rest:  # a bare name only mentions it
        command.make_context(name, rest, parent=GROUP)


def test_a_wrong_command_would_be_noticed() -> None:
    command = program.get_command(GROUP, "check")
    assert command is not None
    with pytest.raises(click.UsageError):
        command.make_context("check", ["trip/", "--no-such-option"], parent=GROUP)


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_and_an_example(name: str) -> None:
    command = program.get_command(GROUP, name)
    assert command is not None
    help_text = command.get_help(click.Context(command, info_name=name, parent=GROUP))
    assert command.help
    assert command.get_short_help_str()
    _, _, examples = help_text.partition(CLOSING)
    assert examples.strip().startswith(f"motemap {name}")
    for option in command.params:
        assert isinstance(option, click.Argument) or getattr(option, "help", None), option.name


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_is_in_the_reference_the_readme_and_a_page(name: str) -> None:
    assert f"\n## motemap {name}\n" in text_of(ROOT / "docs" / "reference" / "cli.md")
    assert f"`motemap {name}`" in text_of(README)
    kinds = ("tutorial.md", "how-to/*.md", "explanation/*.md")
    others = [page for kind in kinds for page in (ROOT / "docs").glob(kind)]
    assert any(f"motemap {name}" in text_of(page) for page in others)


def test_files_and_folders_named_for_developers_are_there() -> None:
    named = NAMED_FILE.findall(text_of(ROOT / "DEVELOPERS.md"))
    assert named
    starts = (ROOT, ROOT / "src", ROOT / "src" / "motemap")
    assert [name for name in named if not any((start / name).exists() for start in starts)] == []


def test_every_room_is_on_the_map_for_developers() -> None:
    told, _, _ = text_of(ROOT / "DEVELOPERS.md").partition("\n## Where")
    on_map = set(re.findall(r"^ {4}(\w+) |`(\w+)`", told, re.MULTILINE))
    within = (ROOT / "src" / "motemap").iterdir()
    rooms = {
        each.stem for each in within if each.suffix == ".py" or (each / "__init__.py").exists()
    }
    assert rooms - {"__init__", "__main__"} <= {name for names in on_map for name in names}


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_links_lead_somewhere(page: Path) -> None:
    for target in LINK.findall(FENCE.sub("", text_of(page))):
        if re.match(r"[a-z]+:", target):
            continue
        path, _, anchor = target.partition("#")
        goal = (page.parent / path).resolve() if path else page
        assert goal.exists(), f"{target} does not exist"
        if anchor:
            assert anchor in anchors(goal), f"{target} has no such heading"


def anchors(page: Path) -> set[str]:
    """Return the anchors of a page's headings, as the common Markdown renderers make them."""
    titles = re.findall(r"^#+ (.+)$", FENCE.sub("", text_of(page)), re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in titles}


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_pages_have_one_title_and_begin_with_a_sentence(page: Path) -> None:
    text = text_of(page)
    assert re.match(r"# \S.*\n\n\S", text)
    assert len(re.findall(r"^# ", FENCE.sub("", text), re.MULTILINE)) == 1


def test_the_readme_begins_with_job_run_and_reading() -> None:
    first = text_of(README).splitlines()[:40]
    job = " ".join(first[2:6])
    for word in ("trip", "cleaning pass", "where", "method", "worked", "retouching"):
        assert word in job
    head = "\n".join(first)
    assert "$ motemap check demo_data/frames\n" in head
    assert re.search(r"^```$", head, re.MULTILINE), "the run's output ends beyond line 40"
    for word in ("READY", "CLEAN", "SHOOT AGAIN", "NOT READ"):
        assert f"**{word}**" in head


def test_the_readme_has_its_two_set_up_commands() -> None:
    lines = [line.strip() for line in INDENTED.findall(text_of(README))]
    main_job = [line for line in lines if line.endswith("motemap check demo_data/frames")]
    tests = [line for line in lines if line.endswith("pytest")]
    for command in (*main_job, *tests):
        assert command.startswith("python3 -m venv .venv && .venv/bin/pip install ")
    assert (len(main_job), len(tests)) == (1, 1)
    assert (ROOT / "demo_data" / "frames").is_dir()


def test_examples_in_python_give_what_they_say(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    n_tried = 0
    for page in PAGES:
        results = doctest.testfile(str(page), module_relative=False, encoding="utf-8")
        assert results.failed == 0, name_of(page)
        n_tried += results.attempted
    assert n_tried > 0


@pytest.mark.parametrize("name", schema_names())
def test_every_key_of_the_report_is_explained(name: str) -> None:
    page = text_of(ROOT / "docs" / "reference" / "json.md")
    assert set(keys_of(load_schema(name))) <= set(re.findall(r"`([\w.]+)`", page))


def keys_of(schema: Any) -> Iterator[str]:
    """Yield every key that a schema names, at any depth; those of settings have their own page."""
    if isinstance(schema, dict):
        for key, inner in schema.get("properties", {}).items():
            yield key
            if key != "settings":
                yield from keys_of(inner)
        for key, inner in schema.items():
            if key not in {"properties", "depth_at"}:
                yield from keys_of(inner)
    elif isinstance(schema, list):
        for inner in schema:
            yield from keys_of(inner)


def test_exit_codes_are_those_of_the_program() -> None:
    page = text_of(ROOT / "docs" / "reference" / "exit-codes.md")
    told = {int(code) for code in re.findall(r"^\| (\d+) \|", page, re.MULTILINE)}
    codes = {READY_CODE, FAULT_CODE, USAGE_CODE, CLEAN_CODE, RESHOOT_CODE, STOPPED_CODE}
    assert told == codes


@pytest.mark.parametrize(
    ("page", "writer"),
    [
        ("reference/cli.md", "cli_page"),
        ("reference/settings.md", "settings_page"),
        ("README.md", "index_page"),
    ],
)
def test_pages_hold_what_the_program_says_today(page: str, writer: str) -> None:
    wanted = getattr(builder(), writer)()
    assert text_of(ROOT / "docs" / page) == wanted, "run: python docs/build_reference.py"


def test_outputs_in_pages_are_written_by_the_script() -> None:
    # Whether they are current is asked by `docs/build_reference.py --check`, which runs them.
    for page in (README, ROOT / "docs" / "tutorial.md"):
        found = list(builder().MARKER.finditer(text_of(page)))
        assert found, name_of(page)
        for run in found:
            assert run["output"].startswith(f"$ {run['command']}\n")


def test_every_page_is_in_the_index() -> None:
    index = text_of(ROOT / "docs" / "README.md")
    kinds = ("tutorial.md", "how-to/*.md", "reference/*.md", "explanation/*.md")
    for page in (page for kind in kinds for page in (ROOT / "docs").glob(kind)):
        assert f"]({page.relative_to(ROOT / 'docs').as_posix()})" in index


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_pages_are_plain_text(page: Path) -> None:
    strange = sorted({letter for letter in text_of(page) if not letter.isascii()})
    assert not strange
