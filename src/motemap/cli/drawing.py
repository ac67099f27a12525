"""The options that ask for pictures and pages, declared once.

``@drawing.check_pictures`` passes ``pictures``, a `CheckPictures`; ``@drawing.compare_pictures``
passes ``pictures``, a `ComparePictures`; ``@drawing.plot`` passes ``plot_to``. What is asked
for is drawn by `motemap.cli.easel`.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from motemap.cli import options

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

Function = TypeVar("Function", bound="Callable[..., Any]")

DRAWINGS: Final = (".svg", ".png")
PAGES: Final = (".html", ".htm")
MASKS: Final = (".png", ".tif", ".tiff")
"""Endings of files, by what they can hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckPictures:
    """What ``check`` is to draw, and where to; None for what nobody asked for.

    Parameters
    ----------
    mask_f_number : float or None
        Aperture that the mask is for; the one of ``--shoot-at`` when None.
    has_terminal_map : bool
        Whether a map may be printed on a terminal.
    """

    map_to: Path | None = None
    strip_to: Path | None = None
    page_to: Path | None = None
    mask_to: Path | None = None
    mask_f_number: float | None = None
    has_terminal_map: bool = True

    @property
    def targets(self) -> tuple[Path, ...]:
        """Every file that was asked for."""
        wanted = (self.map_to, self.strip_to, self.page_to, self.mask_to)
        return tuple(target for target in wanted if target is not None)

    @property
    def needs_plane(self) -> bool:
        """Whether the flattened frames are needed, and not only the reports."""
        return any((self.strip_to, self.page_to, self.mask_to))


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparePictures:
    """What ``compare`` is to draw, and where to; None for what nobody asked for."""

    map_to: Path | None = None
    page_to: Path | None = None

    @property
    def targets(self) -> tuple[Path, ...]:
        """Every file that was asked for."""
        return tuple(target for target in (self.map_to, self.page_to) if target is not None)


def _file(flag: str, name: str, endings: Sequence[str], words: str) -> Callable[[Any], Any]:
    """Return an option that takes a file with one of some endings."""

    def known_ending(
        _ctx: click.Context, _param: click.Parameter, value: Path | None
    ) -> Path | None:
        if value is not None and value.suffix.lower() not in endings:
            raise click.BadParameter(f"'{value}' does not end in {' or '.join(endings)}.")
        return value

    return click.option(
        flag,
        name,
        type=click.Path(dir_okay=False, path_type=Path),
        metavar="FILE",
        callback=known_ending,
        help=words,
    )


_map = _file("--map", "map_to", DRAWINGS, "Draw where the marks lie, as SVG or PNG.")
_map_of_step = _file(
    "--map",
    "map_to",
    DRAWINGS,
    "Draw what the last step did to every mark, as SVG or PNG; --page draws every step.",
)
_page = _file("--page", "page_to", PAGES, "Write the whole report as one HTML file.")
_strip = _file("--strip", "strip_to", (".png",), "Draw the worst marks magnified, as PNG.")
_mask = _file(
    "--mask",
    "mask_to",
    MASKS,
    "Write a retouching mask, white where a mark shows, as PNG or TIFF.",
)
_for = click.option(
    "--for",
    "mask_f_number",
    type=options.f_number,
    metavar="F",
    help="Aperture of the pictures that the mask is for; that of --shoot-at if left out.",
)
_no_map = click.option(
    "--no-map",
    "has_terminal_map",
    is_flag=True,
    flag_value=False,
    default=True,
    help="Print no map on a terminal.",
)
plot = _file("--plot", "plot_to", (".svg",), "Draw the course of the body as SVG.")
"""Passed as ``plot_to``, a Path or None."""


def check_pictures(function: Function) -> Function:
    """Add the options of what ``check`` can draw."""
    names = ("map_to", "strip_to", "page_to", "mask_to", "mask_f_number", "has_terminal_map")
    add = options.together(_map, _page, _strip, _mask, _for, _no_map)
    decorated: Function = add(_bundled(function, CheckPictures, names))
    return decorated


def compare_pictures(function: Function) -> Function:
    """Add the options of what ``compare`` can draw."""
    add = options.together(_map_of_step, _page)
    decorated: Function = add(_bundled(function, ComparePictures, ("map_to", "page_to")))
    return decorated


def _bundled(function: Function, make: Callable[..., Any], names: Sequence[str]) -> Any:
    @wraps(function)
    def with_pictures(*args: Any, **values: Any) -> Any:
        if values.get("mask_f_number") is not None and values.get("mask_to") is None:
            raise click.UsageError("--for says what a mask is for: give --mask FILE as well.")
        pictures = make(**{name: values.pop(name) for name in names})
        return function(*args, pictures=pictures, **values)

    return with_pictures
