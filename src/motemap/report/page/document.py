"""The frame of every page: head, style, and the promise that nothing is fetched or run."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from motemap.report.pictures.markup import escape
from motemap.report.pictures.palette import DARK, LIGHT

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from motemap.report.pictures.palette import Tone

POLICY = (
    "default-src 'none'; img-src data:; style-src 'unsafe-inline'; base-uri 'none';"
    " form-action 'none'"
)
"""Whatever a file name might smuggle in, the browser runs no script and fetches nothing.

W3C, Content Security Policy Level 3.
"""


def document(*, title: str, header: str, main: str, extra_style: str = "") -> str:
    """Return a whole page.

    Parameters
    ----------
    title : str
        Plain text; escaped here.
    header, main : str
        Markup.
    """
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{POLICY}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark">
<title>{escape(title)}</title>
<link rel="icon" href="data:,">
<style>
{style()}{extra_style}</style>
</head>
<body>
<a class="skip" href="#content">To the report</a>
<header>
{header}
</header>
<main id="content">
{main}
</main>
<footer>
<p>The camera's manual, local rules and an authorised service come before anything said here.
Cleaning can ruin a sensor; cleaning fluids burn and poison.</p>
</footer>
</body>
</html>
"""


@cache
def style() -> str:
    """Return the style sheet, with the colours of the pictures in it."""
    sheet = files("motemap.report.page").joinpath("style.css").read_text(encoding="utf-8")
    return (
        f":root {{ {_colours(LIGHT)} }}\n"
        f"@media screen and (prefers-color-scheme: dark) {{ :root {{ {_colours(DARK)} }} }}\n"
        f"{sheet}"
    )


def _colours(palette: Mapping[Tone, str]) -> str:
    return " ".join(f"--{tone}: {colour};" for tone, colour in palette.items())


def bullet_list(lines: Iterable[str]) -> str:
    """Return plain lines as a list; nothing where there is none."""
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<ul>{items}</ul>" if items else ""


def term_list(terms: Iterable[tuple[str, str]]) -> str:
    """Return plain terms and what is said of them."""
    rows = "".join(f"<dt>{escape(term)}</dt><dd>{escape(said)}</dd>" for term, said in terms)
    return f"<dl>{rows}</dl>"
