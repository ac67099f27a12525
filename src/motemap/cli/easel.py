"""The drawing of what a command was asked to draw, and the writing of it.

Importing this module draws nothing and imports nothing heavy.
"""

from __future__ import annotations

import os
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from motemap.cli.source import STANDARD_INPUT
from motemap.errors import SettingsError
from motemap.report.plain import printable

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from motemap.bodies import BodyCourse
    from motemap.changes import Comparison
    from motemap.cli.drawing import CheckPictures, ComparePictures
    from motemap.pipeline.judging import Look
    from motemap.records import FrameReport, Stack
    from motemap.report.pictures.strip import Strip
    from motemap.report.pictures.view import Hold
    from motemap.settings import Settings

MOST_TERMINAL_MAPS: Final = 3
"""Frames to clean for which maps are printed; with more, a person cannot see them together."""


class Easel:
    """Judges frames and keeps of each what its pictures are drawn from.

    Hand `analyse` to the pipeline in place of its own; it may run in several threads.
    """

    def __init__(self, pictures: CheckPictures, settings: Settings, hold: str) -> None:
        from motemap.place import find_hold

        self._pictures = pictures
        self._settings, self._work = settings, settings.work
        self._hold_name = hold
        self._hold: Hold = find_hold(hold)
        self._strips: dict[str, Strip] = {}
        self._masks: dict[str, bytes] = {}
        self._piped: bytes | None = None

    @property
    def keeps_planes(self) -> bool:
        """Whether something is kept here of each frame, beside its report."""
        return self._pictures.needs_plane

    def analyse(
        self, path: Path, settings: Settings, /, *, content: bytes | None = None
    ) -> FrameReport:
        """Judge one frame; otherwise as `motemap.pipeline.frame.analyse`."""
        from motemap.pipeline import frame

        if content is not None:
            self._piped = content
        if not self._pictures.needs_plane:
            return frame.analyse(path, settings, content=content)
        look = frame.look_at(path, settings, content=content)
        self._keep(look)
        return look.report

    def look_again(self, report: FrameReport, known: Stack) -> FrameReport | None:
        """Judge a frame anew by a known stack distance; None for what cannot be read again."""
        from motemap.pipeline.again import look_again

        content = self._piped if report.file == STANDARD_INPUT else None
        look = look_again(report, known, self._settings, content=content)
        if look is None:
            return None
        self._keep(look)
        return look.report

    def look_at_bursts(self, reports: Iterable[FrameReport], settings: Settings) -> None:
        """Keep what pictures of combined frames need, from the first frame of each burst.

        The marks are those of the combined frames; what lies under them in a strip is the
        first frame, whose positions they have.
        """
        from motemap.pipeline import frame

        if not self._pictures.needs_plane:
            return
        for report in reports:
            if report.image is not None:
                look = frame.look_at(Path(report.file), settings)
                # The shadows are those of the first frame's marks, which are not the burst's.
                self._keep(replace(look, report=report, shadows=None))

    def _keep(self, look: Look) -> None:
        from motemap.report.pictures.strip import cut_strip

        report, flat = look.report, look.flat
        if flat is None or report.image is None:
            return
        if self._pictures.strip_to or self._pictures.page_to:
            self._strips[report.file] = cut_strip(report, flat, work=self._work, hold=self._hold)
        if self._pictures.mask_to and report.state == "judged":
            self._masks[report.file] = self._mask(look)

    def _mask(self, look: Look) -> bytes:
        from motemap.pipeline.forecast import forecast_at
        from motemap.report.pictures.mask import retouch_mask

        target = self._pictures.mask_to or Path("mask.png")
        f_number = self._pictures.mask_f_number or self._work.shoot_at_f
        is_known = f_number == self._work.shoot_at_f
        return retouch_mask(
            look.report if is_known else forecast_at(look, f_number, self._work),
            f_number=f_number,
            form="png" if target.suffix.lower() == ".png" else "tif",
            work=self._work,
            flat=look.flat,
        )

    def write(self, frames: Sequence[FrameReport]) -> list[str]:
        """Write everything that was asked for; return what is to be said of it.

        With more than one frame, maps, strips and masks are one file a frame, its name put
        behind the file's own: ``map-MOTE0001.svg``. The page holds all frames.

        Raises
        ------
        OutputError
            If a file cannot be written.
        """
        drawable = [frame for frame in frames if frame.image is not None]
        inputs = [Path(frame.file) for frame in frames]
        remarks: list[str] = []
        for target, draw in (
            (self._pictures.map_to, self._draw_map),
            (self._pictures.strip_to, self._draw_strip),
            (self._pictures.mask_to, self._draw_mask),
        ):
            if target is None:
                continue
            for frame, place in zip(drawable, places_for(target, drawable), strict=True):
                content = draw(frame, place)
                if content is None:
                    remarks.append(_undrawn(place))
                    continue
                put(place, content, inputs)
                if target == self._pictures.mask_to:
                    remarks += self._about_mask(frame, place)
        if self._pictures.page_to is not None:
            put(self._pictures.page_to, self._page(frames).encode(), inputs)
        return remarks

    def _about_mask(self, frame: FrameReport, place: Path) -> list[str]:
        """Say so where a mask is not of the aperture asked for."""
        from motemap.facts.stops import write_f
        from motemap.showing import aperture_words, can_forecast

        if can_forecast(frame):
            return []
        own = aperture_words(self._work, has_forecast=False)
        wanted = write_f(self._pictures.mask_f_number or self._work.shoot_at_f)
        name = printable(str(place))
        return [f"{name} is white where marks show at {own}: there is no forecast for {wanted}."]

    def _draw_map(self, frame: FrameReport, place: Path) -> bytes:
        from motemap.report.pictures.sensor_map import sensor_map_png, sensor_map_svg

        if place.suffix.lower() == ".png":
            return sensor_map_png(frame, work=self._work, hold=self._hold)
        return sensor_map_svg(frame, work=self._work, hold=self._hold).encode()

    def _draw_strip(self, frame: FrameReport, _place: Path) -> bytes | None:
        from motemap.report.pictures.contact_strip import contact_strip_png

        strip = self._strips.get(frame.file)
        return None if strip is None else contact_strip_png(frame, strip)

    def _draw_mask(self, frame: FrameReport, _place: Path) -> bytes | None:
        return self._masks.get(frame.file)

    def _page(self, frames: Sequence[FrameReport]) -> str:
        from motemap.pipeline.held import said_as_held
        from motemap.report.page.pages import index_html, page_html

        frames = said_as_held(frames, self._hold_name)
        if len(frames) == 1:
            strip = self._strips.get(frames[0].file)
            return page_html(frames[0], work=self._work, hold=self._hold, strip=strip)
        return index_html(frames, work=self._work, hold=self._hold, strips=self._strips)

    def terminal_maps(self, frames: Sequence[FrameReport]) -> str:
        """Return maps of the frames to clean for the terminal; empty where none would help."""
        from motemap.report.pictures.terminal_map import terminal_map

        if sys.stdout is None or not sys.stdout.isatty():
            return ""
        to_clean = [frame for frame in frames if frame.verdict and frame.verdict.level == "clean"]
        if not self._pictures.has_terminal_map or len(to_clean) > MOST_TERMINAL_MAPS:
            return ""
        maps = []
        for frame in to_clean:
            drawn = terminal_map(
                frame,
                shutil.get_terminal_size().columns,
                unicode_ok=speaks_unicode(),
                work=self._work,
                hold=self._hold,
            )
            if drawn:
                maps.append(
                    f"\n{drawn}\n" if len(frames) == 1 else f"\n{printable(frame.file)}\n{drawn}\n"
                )
        return "".join(maps)


def _undrawn(place: Path) -> str:
    old = " What is there is of an earlier run." if place.exists() else ""
    name = printable(str(place))
    return f"nothing was drawn in {name}, as the frame is not fit to judge.{old}"


def speaks_unicode() -> bool:
    """Whether standard output shows box-drawing characters."""
    from motemap.report.pictures.terminal_map import UNICODE_SIGNS

    if os.environ.get("TERM") == "dumb" or sys.stdout is None:
        return False
    try:
        (UNICODE_SIGNS.corners + UNICODE_SIGNS.showing).encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def places_for(target: Path, frames: Sequence[FrameReport]) -> list[Path]:
    """Return the file to write for each frame: `target` itself when there is only one.

    >>> from motemap.records import FrameReport
    >>> frames = [FrameReport(file=name, state="judged") for name in ("a/1.dng", "b/1.dng")]
    >>> [place.name for place in places_for(Path("map.svg"), frames)]
    ['map-1.svg', 'map-1-2.svg']
    """
    if len(frames) == 1:
        return [target]
    places: list[Path] = []
    for frame in frames:
        stem = f"{target.stem}-{Path(frame.file).stem}"
        place, count = target.with_name(stem + target.suffix), 1
        while place in places:
            count += 1
            place = target.with_name(f"{stem}-{count}{target.suffix}")
        places.append(place)
    return places


def refuse_targets(targets: Iterable[Path | None], inputs: Iterable[Path]) -> None:
    """Refuse, before any work is done, files that cannot or must not be written.

    Raises
    ------
    SettingsError
        If one of them is a picture to be read, its folder is missing, or two things are to
        be written to the same file.
    """
    from motemap.pipeline.write import refuse_target

    read, seen = tuple(inputs), set[str]()
    for target in targets:
        refuse_target(target, read)
        if target is None or (target.exists() and not target.is_file()):
            continue  # a device takes as much as it is given
        place = os.path.realpath(target)
        if place in seen:
            raise SettingsError(
                "Two things are to be written to this file.",
                repair="Give each a file of its own.",
                path=str(target),
            )
        seen.add(place)


def put(place: Path, content: bytes, inputs: Iterable[Path]) -> None:
    """Write one file whole or not at all, and never over a picture that was read."""
    from motemap.pipeline.write import refuse_target, write_whole

    refuse_target(place, inputs)
    write_whole(place, content)


def write_comparison(
    pictures: ComparePictures, comparison: Comparison, settings: Settings, hold: str
) -> None:
    """Write what ``compare`` was asked to draw.

    Raises
    ------
    OutputError
        If a file cannot be written, or fewer than two states are fit to judge.
    """
    from motemap.pipeline.retold import retold_as_held
    from motemap.place import find_hold
    from motemap.report.page.pages import comparison_html
    from motemap.report.pictures.comparison_map import comparison_map_png, comparison_map_svg

    held, work = find_hold(hold), settings.work
    inputs = [Path(state.file) for state in comparison.states]
    if pictures.map_to is not None:
        if pictures.map_to.suffix.lower() == ".png":
            content = comparison_map_png(comparison, work=work, hold=held)
        else:
            content = comparison_map_svg(comparison, work=work, hold=held).encode()
        put(pictures.map_to, content, inputs)
    if pictures.page_to is not None:
        told = retold_as_held(comparison, hold, work)
        put(pictures.page_to, comparison_html(told, work=work, hold=held).encode(), inputs)


def write_course(plot_to: Path, courses: Sequence[BodyCourse], settings: Settings) -> None:
    """Draw the course of one body.

    Raises
    ------
    SettingsError
        If it is not clear which body is meant.
    OutputError
        If the file cannot be written.
    """
    from motemap.report.pictures.history_plot import history_plot_svg, points_of

    if len(courses) != 1:
        raise SettingsError(
            f"The record holds {len(courses)} bodies; a plot shows the course of one.",
            repair="Name the body by its serial number: motemap history BODY --plot FILE.",
        )
    course = courses[0]
    drawn = history_plot_svg(
        points_of(course), body=course.body.title, shoot_at_f=settings.work.shoot_at_f
    )
    put(plot_to, drawn.encode(), ())
