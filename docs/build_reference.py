"""Writes what the documentation takes from the program: ``python docs/build_reference.py``.

* ``docs/reference/cli.md`` from every command's ``--help``;
* ``docs/reference/settings.md`` from the settings' own descriptions;
* ``docs/README.md``, the index, from each page's title and first sentence;
* in every page, and in the README, the output under each marker of this form::

      <!-- run: motemap check demo_data/frames | keep: START > 7 ; OTHER START > 3 -->
      ```console
      (written here)
      ```

  The command is run from the root of the repository. With ``keep`` only the lines from each
  START on are taken, as many as are asked for, and ``[...]`` stands for the rest.

``--check`` writes nothing and ends 1 when a page is not what the program says today.
"""

import argparse
import dataclasses
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import click

from motemap.cli.main import program
from motemap.settings import Settings

ROOT = Path(__file__).resolve().parent.parent
REFERENCE = ROOT / "docs" / "reference"
COLUMNS = "80"
LEFT_OUT = "[...]"

MARKER = re.compile(
    r"^<!-- run: (?P<command>motemap [^|\n]*?)(?: \| keep: (?P<keep>[^\n]*?))? -->\n"
    r"```console\n(?P<output>.*?)^```$",
    re.MULTILINE | re.DOTALL,
)

CLI_HEAD = """# Commands

Every command with all its options, as `--help` prints them. What the exit codes mean is said in
[exit codes](exit-codes.md), what the JSON holds in [JSON and CSV](json.md). Written by
`docs/build_reference.py` from the program itself; change that, not this page.
"""

SETTINGS_HEAD = """# Settings

The numbers of our choice that decide what is found, what counts and what is advised. Facts of the world are in
[facts](facts.md); what a stage was fitted with stands in its module, beside the reason. The
JSON report echoes them all under `settings`. The command line changes the first table only; the others
can be changed from Python. Written by `docs/build_reference.py` from `motemap.settings`; change that,
not this page.

```python
>>> from motemap.settings import DetectSettings, Settings
>>> settings = Settings(detect=DetectSettings(depth_min_frac=0.006))

```
"""


INDEX_HEAD = """# Documentation

Written by `docs/build_reference.py` from the pages' own titles; change those, not this page.
Start with the [README](../README.md) if you have not read it. To work on the program itself, read
[for developers](../DEVELOPERS.md).
"""

KINDS = {
    "Tutorial": ("tutorial.md", "learn it once, from the start"),
    "How-to": ("how-to/*.md", "get one thing done"),
    "Reference": ("reference/*.md", "look it up"),
    "Explanation": ("explanation/*.md", "understand why"),
}
"""The four kinds of pages, where they lie, and what they are for."""


def index_page() -> str:
    """Return the list of all pages by kind, as Markdown."""
    docs = ROOT / "docs"
    sections = []
    for kind, (pattern, purpose) in KINDS.items():
        sections.append(f"\n## {kind}\n\nTo {purpose}.\n\n")
        sections += (_entry(path, docs) for path in sorted(docs.glob(pattern)))
    return INDEX_HEAD + "".join(sections)


def _entry(path: Path, docs: Path) -> str:
    """Return a page's line in the index."""
    title, _, body = path.read_text(encoding="utf-8").partition("\n")
    paragraph = " ".join(body.strip().partition("\n\n")[0].split())
    plain = re.sub(r"\[([^]]*)\]\([^)]*\)", r"\1", paragraph)
    sentences = re.split(r"(?<=[.!?])\s", plain)
    sentence = next(said for said in sentences if not said.startswith("Written "))
    link = path.relative_to(docs).as_posix()
    return f"* [{title.removeprefix('# ')}]({link}): {sentence}\n"


def cli_page() -> str:
    """Return the page of all commands as Markdown."""
    group = click.Context(program, info_name="motemap")
    names = ("motemap", *(f"motemap {name}" for name in program.list_commands(group)))
    return CLI_HEAD + "".join(_help_section(name) for name in names)


def _help_section(command: str) -> str:
    return f"\n## {command}\n\n```text\n{run(f'{command} --help')}```\n"


def settings_page() -> str:
    """Return the page of all settings as Markdown."""
    sections = []
    for stage in dataclasses.fields(Settings):
        record = getattr(Settings(), stage.name)
        first, rows = _described(type(record).__doc__ or "")
        sections.append(
            f"\n## `{stage.name}`\n\n{first}\n\n| name | default | what |\n|---|---|---|\n"
        )
        sections += (
            f"| `{field.name}` | `{getattr(record, field.name)!r}` | {rows[field.name]} |\n"
            for field in dataclasses.fields(record)
        )
    return SETTINGS_HEAD + "".join(sections)


def _described(docstring: str) -> tuple[str, dict[str, str]]:
    """Return the first sentence of a record's docstring, and what it says of each field."""
    lines = [line.removeprefix("    ") for line in docstring.splitlines()]
    rows: dict[str, str] = {}
    names: list[str] = []
    for line in lines[1:]:
        head = re.fullmatch(r"(\w+(?:, \w+)*) : .+", line)
        if head:
            names = head.group(1).split(", ")
        elif names and line.startswith("    "):
            for name in names:
                rows[name] = f"{rows.get(name, '')} {line.strip()}".strip().replace("``", "`")
    return lines[0].strip(), rows


def _matches(argument: str) -> list[str]:
    """Return the paths that a shell would put in the place of a pattern."""
    if "*" not in argument:
        return [argument]
    return sorted(path.relative_to(ROOT).as_posix() for path in ROOT.glob(argument))


@lru_cache
def run(command: str) -> str:
    """Return what a command prints, as on a plain terminal of 80 columns."""
    _, *arguments = shlex.split(command)
    expanded = [path for argument in arguments for path in _matches(argument)]
    known = {
        name: os.environ[name] for name in ("PATH", "HOME", "SYSTEMROOT") if name in os.environ
    }
    done = subprocess.run(  # the commands are those of our own pages
        [sys.executable, "-m", "motemap", *expanded],
        cwd=ROOT,
        env={**known, "COLUMNS": COLUMNS, "NO_COLOR": "1", "PYTHONUTF8": "1"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode not in (0, 3, 4) or done.stderr:
        message = f"{command} ended with {done.returncode}: {done.stderr}"
        raise SystemExit(message)
    return done.stdout


def shortened(output: str, keep: str | None) -> str:
    r"""Return the lines that a page keeps of an output.

    >>> shortened("a\nb\nc\nd\n", "b > 1 ; d > 1")
    '[...]\nb\n[...]\nd\n'
    """
    if keep is None:
        return output
    lines = output.splitlines()
    taken: list[str] = []
    at = 0
    for rule in keep.split(" ; "):
        start, _, n_lines = rule.rpartition(" > ")
        wanted = start.strip('"')
        first = next((i for i in range(at, len(lines)) if lines[i].startswith(wanted)), None)
        if first is None:
            message = f"no line starts with {wanted!r} in:\n{output}"
            raise SystemExit(message)
        if first > at:
            taken.append(LEFT_OUT)
        at = first + int(n_lines)
        taken += lines[first:at]
    if at < len(lines):
        taken.append(LEFT_OUT)
    return "\n".join(taken) + "\n"


def with_outputs(page: str) -> str:
    """Return a page with the outputs that its commands give today."""

    def renewed(found: re.Match[str]) -> str:
        command, keep = found["command"], found["keep"]
        body = f"$ {command}\n{shortened(run(command), keep)}"
        return found[0].replace(f"```console\n{found['output']}```", f"```console\n{body}```")

    return MARKER.sub(renewed, page)


def pages() -> Iterator[tuple[Path, str]]:
    """Yield every page that takes something from the program, and what it should hold."""
    yield REFERENCE / "cli.md", cli_page()
    yield REFERENCE / "settings.md", settings_page()
    for path in (ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))):
        text = path.read_text(encoding="utf-8")
        if MARKER.search(text):
            yield path, with_outputs(text)
    yield ROOT / "docs" / "README.md", index_page()


def main() -> int:
    """Write or check all pages."""
    parser = argparse.ArgumentParser(description="Write what docs take from the program.")
    parser.add_argument("--check", action="store_true", help="write nothing, only compare")
    is_check = parser.parse_args().check
    stale = []
    for path, wanted in pages():
        if path.exists() and path.read_text(encoding="utf-8") == wanted:
            continue
        stale.append(path.relative_to(ROOT).as_posix())
        if not is_check:
            path.write_text(wanted, encoding="utf-8")
    if not stale:
        sys.stdout.write("All pages say what the program says.\n")
        return 0
    word = "Not current" if is_check else "Written"
    sys.stdout.write(f"{word}: {', '.join(stale)}\n")
    if is_check:
        sys.stdout.write("Run: python docs/build_reference.py\n")
    return 1 if is_check else 0


if __name__ == "__main__":
    sys.exit(main())
