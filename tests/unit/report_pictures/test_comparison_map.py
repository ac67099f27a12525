"""Before and after on one sensor."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from motemap.changes import FATES, Comparison, Fate, MarkFate
from motemap.errors import OutputError
from motemap.report.pictures.comparison_map import (
    comparison_map_png,
    comparison_map_svg,
)
from motemap.report.pictures.fate_legend import step_signs
from motemap.report.pictures.fates import FATE_WORDS, Sign, fate_glyph
from motemap.report.pictures.palette import LIGHT, Tone
from motemap.report.pictures.scene import Circle, Shape, Trace, Words
from motemap.report.pictures.steps import Step, fated_marks, step_words, steps_of
from motemap.settings import WorkSettings
from motemap.showing import shows_on_sensor
from picturing.bench import cleaned, mark, numbered, report, spoiled, unreadable

if TYPE_CHECKING:
    from motemap.records import FrameReport
    from motemap.report.pictures.legend import Draw

SVG = "{http://www.w3.org/2000/svg}"


def titles(svg: str) -> list[str]:
    root = ET.fromstring(svg.encode())
    return [
        title.text or "" for group in root.iter(f"{SVG}g") for title in group.findall(f"{SVG}title")
    ]


def test_every_mark_of_both_states_is_drawn_once_by_its_fate() -> None:
    comparison = cleaned()
    drawn = titles(comparison_map_svg(comparison))
    counts = comparison.changes[0].counts
    for fate in FATES:
        n_drawn = sum(title.startswith(f"{fate.capitalize()}. ") for title in drawn)
        assert n_drawn == counts[fate] > 0
    assert len(drawn) == sum(counts.values())


def said(svg: str) -> str:
    """Return all text of a picture on one line."""
    return " ".join(
        " ".join(word.text or "" for word in ET.fromstring(svg.encode()).iter(f"{SVG}text")).split()
    )


def test_the_legend_counts_the_signs_that_are_drawn() -> None:
    comparison = with_lens_shadows()
    before, after = comparison.states
    text = said(comparison_map_svg(comparison))
    n_of: Counter[str] = Counter()
    for one in comparison.changes[0].marks:
        spots = after.spots if one.after_id else before.spots
        spot = next(each for each in spots if each.id == (one.after_id or one.before_id))
        kind = "lens there" if one.after_id else "lens gone"
        n_of[kind if spot.layer == "lens side" else one.fate] += 1
    assert n_of["lens there"] > 0
    assert n_of["lens gone"] > 0
    for fate in FATES:
        assert f"{FATE_WORDS[fate]} ({n_of[fate]})" in text
    assert f"on the lens, not the sensor ({n_of['lens there']})" in text
    assert f"was on the lens, not seen here ({n_of['lens gone']})" in text
    n_showing = sum(shows_on_sensor(spot, WorkSettings()) for spot in after.spots)
    assert f"with ticks: shows at f/11 ({n_showing})" in text
    assert f"{len(before.spots)} marks, then {len(after.spots)}, of which" in text


def with_lens_shadows() -> Comparison:
    """Return a comparison in which a lens shadow stayed and another went."""
    comparison = cleaned()
    before, after = comparison.states
    marks = comparison.changes[0].marks
    gone = next(one.before_id for one in marks if one.fate == "gone")
    stayed = next(one.after_id for one in marks if one.fate == "stayed")
    return replace(comparison, states=(put_on_lens(before, gone), put_on_lens(after, stayed)))


def put_on_lens(state: FrameReport, number: int | None) -> FrameReport:
    spots = (
        replace(each, layer="lens side", width_um=2400.0, length_um=2400.0)
        if each.id == number
        else each
        for each in state.spots
    )
    return replace(state, spots=tuple(spots))


def groups(svg: str) -> dict[str, ET.Element]:
    """Return the groups of marks by their titles."""
    root = ET.fromstring(svg.encode())
    found = {group.findtext(f"{SVG}title") or "": group for group in root.iter(f"{SVG}g")}
    return {title: group for title, group in found.items() if title}


def test_a_lens_shadow_is_drawn_as_on_the_sensor_map_and_no_mark_on_the_sensor_is() -> None:
    """Nobody is to go after it with a swab: hollow, dotted and grey, whatever became of it."""
    comparison = with_lens_shadows()
    lens = [
        spot for state in comparison.states for spot in state.spots if spot.layer == "lens side"
    ]
    assert len(lens) >= 3
    n_lens = 0
    for title, group in groups(comparison_map_svg(comparison)).items():
        ovals = [each for each in group.iter(f"{SVG}polygon") if each.get("stroke-dasharray")]
        if not ovals:
            assert "lens" not in title
            continue
        n_lens += 1
        (oval,) = ovals
        assert oval.get("fill") == "none"
        drawn = ET.tostring(group, "unicode")
        assert LIGHT[Tone.SHOWS] not in drawn
        is_absent = title.endswith("; in the earlier shot only")
        assert is_absent or title.endswith("; on the lens, not the sensor")
        assert len(list(group.iter(f"{SVG}polyline"))) == (2 if is_absent else 0)
    assert n_lens == sum(
        one.after_id in {spot.id for spot in comparison.states[1].spots if spot in lens}
        or (one.after_id is None and one.before_id in lens_ids(comparison.states[0]))
        for one in comparison.changes[0].marks
    )


def lens_ids(state: FrameReport) -> set[int]:
    return {spot.id for spot in state.spots if spot.layer == "lens side"}


def test_what_shows_stands_between_ticks_and_is_dark_as_on_the_sensor_map() -> None:
    comparison = cleaned()
    (_, after) = comparison.states
    showing = {spot.id for spot in after.spots if shows_on_sensor(spot, WorkSettings())}
    assert 0 < len(showing) < len(after.spots)
    for title, group in groups(comparison_map_svg(comparison)).items():
        number = int(re.findall(r"Mark (\d+):", title)[0])
        is_there = not title.endswith("; in the earlier shot only")
        ticks = [each for each in group.iter(f"{SVG}polyline") if is_dark(each)]
        body = [each for each in group if is_dark(each) and each not in ticks]
        assert bool(ticks) == bool(body) == (is_there and number in showing)


def is_dark(element: ET.Element) -> bool:
    return LIGHT[Tone.SHOWS] in (element.get("fill"), element.get("stroke"))


def signature(shapes: tuple[Shape, ...]) -> tuple[tuple[str, bool, bool], ...]:
    """Return what is left of a sign in grey print: kinds of shapes, filled or not, dashed or not."""
    return tuple(
        (type(shape).__name__, bool(shape.paint.fill), bool(shape.paint.dash))
        for shape in shapes
        if isinstance(shape, Circle | Trace)
    ) + tuple(("Words", False, False) for shape in shapes if isinstance(shape, Words))


@pytest.mark.parametrize("is_showing", [False, True])
def test_no_two_fates_look_alike_without_colour(*, is_showing: bool) -> None:
    signs = {
        fate: signature(
            fate_glyph(
                Sign(
                    fate=fate,
                    at=(900.0, 500.0),
                    radius=80.0,
                    came_from=(100.0, 200.0),
                    shows=is_showing,
                ),
                100.0,
            )
        )
        for fate in FATES
    }
    assert len(set(signs.values())) == len(FATES)


def test_a_mark_that_moved_has_an_arrow_from_where_it_was_to_where_it_is() -> None:
    shapes = fate_glyph(
        Sign(fate="moved", at=(900.0, 500.0), radius=80.0, came_from=(100.0, 500.0)), 100.0
    )
    line = next(shape for shape in shapes if isinstance(shape, Trace) and shape.paint.line)
    head = next(shape for shape in shapes if isinstance(shape, Trace) and len(shape.points) == 3)
    assert line.points[0][0] < line.points[1][0] < head.points[0][0] < 900.0 - 80.0
    assert {point[1] for point in line.points} == {500.0}


@pytest.mark.parametrize("fate", ["stayed", "gone", "new"])
def test_marks_lie_at_their_place(fate: Fate) -> None:
    comparison = cleaned()
    before, after = comparison.states
    one = next(each for each in comparison.changes[0].marks if each.fate == fate)
    spots = before.spots if one.after_id is None else after.spots
    number = one.after_id or one.before_id
    spot = next(each for each in spots if each.id == number)
    assert spot.from_left_mm is not None
    assert spot.from_top_mm is not None
    words = f"{spot.from_left_mm:.1f} mm from the left, {spot.from_top_mm:.1f} mm from the top"
    root = ET.fromstring(comparison_map_svg(comparison).encode())
    groups = [
        group
        for group in root.iter(f"{SVG}g")
        if (group.findtext(f"{SVG}title") or "").startswith(f"{fate.capitalize()}. Mark {number}:")
    ]
    (group,) = groups
    assert words in (group.findtext(f"{SVG}title") or "")
    coordinates = re.findall(r'(?:cx="|points=")([\d.]+)', ET.tostring(group, "unicode"))
    wanted_um = spot.from_left_mm * 1000
    assert any(abs(float(value) - wanted_um) < 1200 for value in coordinates)


def test_a_step_can_be_chosen_and_the_last_is_the_default() -> None:
    comparison = cleaned()
    first, second = comparison.states
    longer = replace(
        comparison,
        states=(first, second, replace(second, file="bench/wet/MOTE0414.DNG")),
        changes=(
            *comparison.changes,
            replace(comparison.changes[0], before=second.file, marks=()),
        ),
    )
    assert len(steps_of(longer)) == 2
    assert "MOTE0414" in comparison_map_svg(longer)
    assert "MOTE0414" not in comparison_map_svg(longer, step=0)
    for step, words in ((-1, "Step 2 of 2"), (0, "Step 1 of 2")):
        assert f"{words}: " in said(comparison_map_svg(longer, step=step))
        number = words.split()[1]
        told = f"Only step {number} is drawn here; the report page draws every step"
        assert told in said(comparison_map_svg(longer, step=step))
    assert "Only step" not in comparison_map_svg(comparison)
    assert "Step 1" not in comparison_map_svg(comparison)
    with pytest.raises(OutputError, match="not two states"):
        comparison_map_svg(longer, step=2)


def test_it_is_the_same_every_time_in_both_forms() -> None:
    assert comparison_map_svg(cleaned()) == comparison_map_svg(cleaned())
    picture = comparison_map_png(cleaned(), width_px=600)
    assert picture.startswith(b"\x89PNG")
    assert picture == comparison_map_png(cleaned(), width_px=600)


def test_states_not_fit_to_judge_are_passed_over() -> None:
    comparison = cleaned()
    first, second = comparison.states
    spoilt = replace(spoiled(first), file="bench/blurred/MOTE0499.DNG")
    longer = replace(comparison, states=(first, spoilt, second))
    (step,) = steps_of(longer)
    assert (step.before.file, step.after.file) == (first.file, second.file)
    with pytest.raises(OutputError, match="not two states"):
        comparison_map_svg(replace(comparison, states=(first, unreadable()), changes=()))


def test_a_step_is_told_in_words_that_fit_its_numbers() -> None:
    comparison = cleaned()
    (step,) = steps_of(comparison)
    n_before = len(step.before.spots)
    lens = next(spot for spot in step.after.spots if spot.layer == "lens side")
    quiet = replace(lens, layer="filter stack", depth_at={"11": 0.001}, shows_from_f=32.0)
    loud = replace(quiet, depth_at={"11": 0.5})
    on_lens = replace(loud, layer="lens side")
    for left, words in (
        ((), "none"),
        ((quiet,), "1, which would not show at f/11"),
        ((loud,), "1, which would show at f/11"),
        ((on_lens,), "1, which would show at f/11, on the lens"),
        ((quiet, quiet), "2, none of which would show at f/11"),
        (
            (on_lens, quiet),
            "2, of which none on the sensor would show at f/11, but 1 on the lens",
        ),
        ((loud, quiet), "2, of which 1 would show at f/11"),
        ((on_lens, loud, quiet), "3, of which 1 would show at f/11, and 1 more on the lens"),
    ):
        told = step_words(replace(step, after=replace(step.after, spots=left)), WorkSettings())
        assert told == f"{n_before} marks, then {words}"


def discs(svg: str, word: str) -> list[float]:
    """Return the radii of the round signs of marks whose title holds a word."""
    return [
        float(circle.get("r") or 0.0)
        for title, group in groups(svg).items()
        if word in title
        for circle in group.iter(f"{SVG}circle")
    ]


def test_signs_of_both_states_are_drawn_at_one_scale_which_the_legend_says() -> None:
    wide = mark(10, 10, 90.0)
    fibre = mark(20, 10, 9.0, kind="fibre", length_um=220.0)
    before = report(numbered([wide, fibre, mark(30, 10, 250.0)]))
    after = report(numbered([wide, fibre]))
    stayed = (
        MarkFate(fate="stayed", before_id=spot.id + 1, after_id=spot.id) for spot in after.spots
    )
    fates = (MarkFate(fate="gone", before_id=1, after_id=None), *stayed)
    whole = cleaned()
    changes = (replace(whole.changes[0], marks=fates),)
    svg = comparison_map_svg(replace(whole, states=(before, after), changes=changes))
    (speck_radius,), (fibre_radius,) = discs(svg, "speck, 90"), discs(svg, "fibre")
    # The round grain that takes as much light as a fibre of 9 x 220 um is 50 um wide.
    wanted = math.sqrt(4 / math.pi * 9 * 220) / 90
    assert fibre_radius / speck_radius == pytest.approx(wanted, abs=0.01)
    text = said(svg).replace("\xa0", " ")
    assert "Marks drawn at" in text
    assert "a fibre is as large as the round grain that takes as much light" in text


def test_the_legend_shows_a_fate_as_it_is_drawn() -> None:
    step = steps_of(cleaned())[0]
    samples = {text.split(" (")[0]: draw((0.0, 0.0)) for draw, text, _ in signs_of(step)}
    shown = {
        fated.spot.id
        for fated in fated_marks(step)
        if fated.fate == "stayed" and shows_on_sensor(fated.spot, WorkSettings())
    }
    stayed = {fated.spot.id for fated in fated_marks(step) if fated.fate == "stayed"}
    fills = [shape.paint.fill for shape in samples["stayed"] if isinstance(shape, Circle)]
    assert [fill is not None for fill in fills] == sorted({number in shown for number in stayed})


def signs_of(step: Step) -> list[tuple[Draw, str, bool]]:
    return list(step_signs(step, 100.0, WorkSettings()))
