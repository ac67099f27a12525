"""``motemap simulate``: a test frame of known dust, and the truth about it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from motemap.cli import options
from motemap.cli.output import emit

if TYPE_CHECKING:
    from collections.abc import Callable

LEAST_LIGHT = 0.5
MOSAICS = ("RGGB", "GRBG", "GBRG", "BGGR", "6x6", "MONO", "LINEAR")
SIX_BY_SIX = "XTRANS"
"""What the drawing calls a mosaic that repeats after six pixels."""


def _size_px(text: str) -> tuple[int, int]:
    """Read a size as people write it: ``6000x4000``.

    >>> _size_px("600 x 400")
    (600, 400)
    """
    found = re.fullmatch(r"\s*(\d+)\s*[xX*]\s*(\d+)\s*", text)
    if found is None:
        raise click.BadParameter(f"{text!r} is no size; write 6000x4000.")
    return int(found[1]), int(found[2])


def _count(name: str, default: int, what: str) -> Callable[[Any], Any]:
    return click.option(
        name,
        type=click.IntRange(0, 5000),
        metavar="N",
        default=default,
        show_default=True,
        help=what,
    )


def _percent(name: str, default: float, what: str) -> Callable[[Any], Any]:
    return click.option(
        name,
        type=click.FloatRange(LEAST_LIGHT if name == "--exposure" else 0, 100, max_open=True),
        metavar="PCT",
        default=default,
        show_default=True,
        help=what,
    )


def _mosaic(_ctx: click.Context, _option: click.Parameter, chosen: str) -> str:
    return SIX_BY_SIX if chosen == "6x6" else chosen


_WISHES = (
    click.option(
        "--seed",
        type=click.IntRange(0),
        metavar="N",
        default=1,
        show_default=True,
        help="Number from which all that is random follows.",
    ),
    click.option(
        "--size",
        "size_px",
        type=_size_px,
        metavar="WxH",
        default="6000x4000",
        show_default=True,
        help="Pixels across and down.",
    ),
    click.option(
        "--pitch-um",
        type=click.FloatRange(0.5, 50),
        metavar="UM",
        default=6.0,
        show_default=True,
        help="Distance of pixels on the sensor.",
    ),
    click.option(
        "--f-number",
        type=options.f_number,
        metavar="F",
        default="f/22",
        show_default=True,
        help="Aperture of the shot.",
    ),
    click.option(
        "--stack-mm",
        type=click.FloatRange(0.05, 10),
        metavar="MM",
        default=1.3,
        show_default=True,
        help="Distance from the dust to the photosites.",
    ),
    click.option(
        "--iso",
        type=click.FloatRange(25, 102400),
        metavar="ISO",
        default=100,
        show_default=True,
        help="Sensitivity; more means more noise.",
    ),
    _count("--specks", 40, "Specks."),
    _count("--fibres", 2, "Fibres."),
    _count("--droplets", 0, "Droplets, half of them clear, half dirty."),
    _count("--smears", 0, "Smears."),
    _count("--lens-dust", 0, "Specks on the lens instead of the sensor."),
    _percent("--exposure", 60, "Light in the middle, of what clips."),
    _percent("--vignetting", 20, "Light lost in the corners."),
    _percent("--tilt", 3, "Light lost from one end to the other."),
    _percent("--mottle", 0, "Soft unevenness of the screen."),
    _percent("--banding", 0, "Bands along the rows."),
    _percent("--screen", 0, "Fine regular structure of the screen."),
    _count("--hot", 0, "Hot pixels."),
    _count("--dead", 0, "Dead pixels."),
    click.option(
        "--mosaic",
        type=click.Choice(MOSAICS, case_sensitive=False),
        callback=_mosaic,
        default="RGGB",
        show_default=True,
        help="Colour mosaic of a raw file.",
    ),
    click.option(
        "--quality",
        type=click.IntRange(1, 100),
        metavar="N",
        default=95,
        show_default=True,
        help="Quality of a JPEG.",
    ),
    click.option(
        "--orientation",
        type=click.IntRange(1, 8),
        metavar="N",
        default=1,
        show_default=True,
        help="Exif orientation to write.",
    ),
    click.option("--no-exif", is_flag=True, help="Write no camera, aperture or pixel distance."),
)


@click.command(
    epilog=options.example(
        "motemap simulate shot.dng --seed 7 --specks 60",
        "motemap simulate shot.jpg --size 3000x2000 --pitch-um 12 --f-number 16",
    )
)
@click.argument("target", metavar="FILE", type=click.Path(dir_okay=False, path_type=Path))
@options.together(*_WISHES)
@options.run
def command(target: Path, **wishes: Any) -> None:
    """Draw a test frame of known dust, and write the truth beside it.

    The ending of FILE says what is written: .dng is a raw file, .jpg, .tif and .png are
    pictures. The truth goes to FILE with .truth.json added. The same options give the same
    files.
    """
    from motemap.synth.frame import draw_frame
    from motemap.synth.store import write_frame, write_truth
    from motemap.synth.wish import Wish, spec_from

    drawn = draw_frame(spec_from(Wish.named(wishes), target))
    write_frame(drawn, target)
    truth = target.with_name(f"{target.name}.truth.json")
    write_truth(drawn, truth, file_name=target.name)
    emit(f"{target.name}: {len(drawn.marks)} marks, told in {truth.name}\n", None)
