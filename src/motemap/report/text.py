"""The report for a person: 80 columns, plain characters, worst first.

Nothing depends on colour: with it the verdict stands out more, without it all is there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from motemap.facts.showing import EYE_SOURCE, showing_words
from motemap.report.counted import found_count, own_note, own_sign, showing_count
from motemap.report.forecast_table import count_lines
from motemap.report.outcome import OUTCOMES, count_outcomes, outcome
from motemap.report.plain import printable
from motemap.report.spot_table import spot_lines
from motemap.report.words import (
    METHOD_PHRASES,
    OUTCOME_PHRASES,
    PERCENT,
    SOURCE_PHRASES,
    VERDICT_WORDS,
    WIDTH_COLUMNS,
    count,
    paragraph,
    say_exposure,
    say_percent,
    say_stack_source,
    say_trouble,
    say_um,
    shortened,
)
from motemap.showing import can_forecast

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from motemap.records import FrameReport, Sensor, ShotCheck, Stack
    from motemap.report.outcome import FrameOutcome
    from motemap.settings import Settings, WorkSettings
    from motemap.tallies import Cleanliness

UPRIGHT_VIEW: Final = "facing you, looking into the mount, top plate up"
"""How the positions of a report are seen when nothing else was asked for."""

INDENT: Final = "  "
LABEL_COLUMNS: Final = 10

BOLD: Final = "\x1b[1m"
PLAIN: Final = "\x1b[0m"
COLOURS: Final[dict[FrameOutcome, str]] = {
    "ready": "\x1b[32m",
    "clean": "\x1b[33m",
    "reshoot": "\x1b[35m",
    "unreadable": "\x1b[31m",
}
"""Select graphic rendition (ECMA-48): green, yellow, magenta, red."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TextStyle:
    """How the text is to look.

    Parameters
    ----------
    has_colour : bool
        Whether verdicts are coloured (escape sequences; for terminals only).
    view : str
        How a person holds the body to see the positions as given.
    most_rows : int
        Spots listed for one frame; the rest is counted.
    """

    has_colour: bool = False
    view: str = UPRIGHT_VIEW
    most_rows: int = 15


def render(
    frames: Sequence[FrameReport], settings: Settings, style: TextStyle | None = None
) -> str:
    """Return the report as text, ending in a line feed."""
    style = style or TextStyle()
    blocks = [_frame_block(frame, settings, style) for frame in frames]
    blocks.append(_cautions(frames))
    if len(frames) > 1:
        blocks.append(_summary(frames, settings.work, style))
    lines = [line for block in blocks if block for line in (*block, "")]
    return "\n".join(lines[:-1]) + "\n"


def _frame_block(frame: FrameReport, settings: Settings, style: TextStyle) -> list[str]:
    lines = [*paragraph(frame.file), _headline(frame, style)]
    if frame.error is not None:
        lines += paragraph(frame.error.cause, first=INDENT)
        lines += paragraph(frame.error.repair, first=INDENT)
    if frame.verdict is not None:
        for reason in frame.verdict.reasons:
            lines += paragraph(reason, first=INDENT)
        lines += ["", *_about_the_shot(frame, settings.work)]
    if frame.spots:
        lines += ["", *spot_lines(frame, settings, view=style.view, most_rows=style.most_rows)]
        lines += _forecast(frame)
    if frame.notes:
        lines.append("")
    for note in frame.notes:
        lines += _labelled("Note", note)
    return lines


def _headline(frame: FrameReport, style: TextStyle) -> str:
    result = outcome(frame)
    words = VERDICT_WORDS[result]
    phrase = ""
    if result == "clean" and frame.verdict is not None:
        phrase = f": {METHOD_PHRASES[frame.verdict.method]}, then shoot again"
    return f"{INDENT}{_coloured(words, result, style)}{phrase}"


def _coloured(words: str, result: FrameOutcome, style: TextStyle) -> str:
    return f"{BOLD}{COLOURS[result]}{words}{PLAIN}" if style.has_colour else words


def _labelled(label: str, text: str) -> list[str]:
    return paragraph(text, first=f"{INDENT}{label:<{LABEL_COLUMNS}}")


def _forecast(frame: FrameReport) -> list[str]:
    lines = count_lines(frame.forecast) if can_forecast(frame) else []
    return [f"{INDENT}Marks on the sensor that would show, by aperture:", *lines] if lines else []


def _about_the_shot(frame: FrameReport, work: WorkSettings) -> list[str]:
    lines: list[str] = []
    names = (frame.camera.maker, frame.camera.model, frame.camera.lens)
    if any(names):
        lines += _labelled("Camera", ", ".join(printable(name) for name in names if name))
    lines += _labelled("Shot", say_exposure(frame.exposure))
    lines += _shot_checks(frame.shot_checks)
    lines += _labelled("Sensor", _sensor_words(frame.sensor))
    if frame.state == "judged" or frame.stack.distance_mm is not None:
        lines += _labelled("Stack", _stack_words(frame.stack))
        lines += _labelled("Limit", _limit_words(frame))
    if work.view is not None and frame.spots and can_forecast(frame):
        lines += _labelled("Shows", f"what is {showing_words(work)} ({EYE_SOURCE})")
    if frame.state == "judged" and frame.spots and frame.cleanliness is not None:
        lines += _labelled("Dirt", _dirt_words(frame.cleanliness))
    return lines


def _shot_checks(checks: Iterable[ShotCheck]) -> list[str]:
    checks = tuple(checks)
    troubles = [check for check in checks if check.outcome != "ok"]
    if not troubles:
        return _labelled("", f"all {count(len(checks), 'check')} of the shot passed")
    lines: list[str] = []
    for check in sorted(troubles, key=lambda each: each.outcome != "fail"):
        word = "FAILED" if check.outcome == "fail" else "mind"
        lines += _labelled("", f"{word}: {say_trouble(check)}")
    return lines


def _sensor_words(sensor: Sensor | None) -> str:
    if sensor is None or sensor.width_mm is None or sensor.height_mm is None:
        return "size unknown; give it with --sensor to have positions and sizes"
    name = f"{sensor.format}, " if sensor.format else ""
    pitch = "" if sensor.pitch_um is None else f", {sensor.pitch_um:.2f} um a pixel"
    source = SOURCE_PHRASES[sensor.source]
    return f"{name}{sensor.width_mm:.1f} x {sensor.height_mm:.1f} mm{pitch} ({source})"


def _stack_words(stack: Stack) -> str:
    if stack.distance_mm is None:
        return "distance from dust to photosites unknown"
    band = "" if stack.uncertainty_mm is None else f" +/- {stack.uncertainty_mm:.2f}"
    return f"{stack.distance_mm:.2f}{band} mm from dust to photosites ({say_stack_source(stack)})"


def _limit_words(frame: FrameReport) -> str:
    sensitivity = frame.sensitivity
    parts = []
    if sensitivity.smallest_particle_um is not None:
        parts.append(f"a speck of {say_um(sensitivity.smallest_particle_um)} um")
    if sensitivity.smallest_depth_frac is not None:
        parts.append(f"a loss of {say_percent(sensitivity.smallest_depth_frac)} of the light")
    if not parts:
        return "how faint a mark this frame could have shown is unknown"
    return f"could have shown {', '.join(parts)}; fainter ones may be there"


def _dirt_words(dirt: Cleanliness) -> str:
    parts = []
    if dirt.covered_frac is not None:
        parts.append(f"{dirt.covered_frac * PERCENT:.2g} % of the sensor shaded")
    if dirt.equivalent_level is not None:
        below = "below " if dirt.is_upper_bound else ""
        parts.append(
            f"cleanliness level {below}{dirt.equivalent_level:.0f} at {say_um(dirt.at_um)} um"
            " (after IEST-STD-CC1246)"
        )
    return "; ".join(parts) or "cannot be said without the size of the sensor"


def _cautions(frames: Iterable[FrameReport]) -> list[str]:
    verdicts = [frame.verdict for frame in frames if frame.verdict is not None]
    cautions = dict.fromkeys(caution for verdict in verdicts for caution in verdict.cautions)
    if not cautions:
        return []
    lines = ["Before you clean"]
    for caution in cautions:
        lines += paragraph(caution, first=f"{INDENT}- ")
    return lines


def _summary(frames: Sequence[FrameReport], work: WorkSettings, style: TextStyle) -> list[str]:
    lines = ["Summary", f"{INDENT}verdict      found  show  frame"]
    for frame in frames:
        result = outcome(frame)
        padding = " " * (11 - len(VERDICT_WORDS[result]))
        words = _coloured(VERDICT_WORDS[result], result, style) + padding
        numbers = f"{found_count(frame):>5}  {showing_count(frame):>4}{own_sign(frame):1}"
        name = shortened(frame.file, WIDTH_COLUMNS - 28)
        lines.append(f"{INDENT}{words}  {numbers} {name}")
    counts = count_outcomes(frames)
    said = ", ".join(f"{counts[each]} {OUTCOME_PHRASES[each]}" for each in OUTCOMES if counts[each])
    lines += own_note(frames, work, first=INDENT)
    return [*lines, "", f"{INDENT}{count(len(frames), 'frame')}: {said}."]
