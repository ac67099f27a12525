"""Before and after on one sensor."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import pytest

from motemap.changes import FATES, Fate
from motemap.errors import OutputError
from motemap.report.pictures.comparison_map import (
    comparison_map_png,
    comparison_map_svg,
    steps_of,
)
from motemap.report.pictures.fates import FATE_WORDS, Fated, fate_glyph
from motemap.report.pictures.scene import Circle, Shape, Trace, Words
from picturing.bench import cleaned, spoiled, unreadable

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


def test_the_legend_counts_the_fates() -> None:
    comparison = cleaned()
    text = " ".join(
        " ".join(
            word.text or ""
            for word in ET.fromstring(comparison_map_svg(comparison).encode()).iter(f"{SVG}text")
        ).split()
    )
    for fate, count in comparison.changes[0].counts.items():
        assert f"{FATE_WORDS[fate]} ({count})" in text
    n_before, n_after = (len(state.spots) for state in comparison.states)
    assert f"{n_before} marks, then {n_after}, of which" in text


def signature(shapes: tuple[Shape, ...]) -> tuple[tuple[str, bool, bool], ...]:
    """Return what is left of a sign in grey print: kinds of shapes, filled or not, dashed or not."""
    return tuple(
        (type(shape).__name__, bool(shape.paint.fill), bool(shape.paint.dash))
        for shape in shapes
        if isinstance(shape, Circle | Trace)
    ) + tuple(("Words", False, False) for shape in shapes if isinstance(shape, Words))


def test_no_two_fates_look_alike_without_colour() -> None:
    signs = {
        fate: signature(
            fate_glyph(
                Fated(fate=fate, at=(900.0, 500.0), radius=80.0, came_from=(100.0, 200.0)), 100.0
            )
        )
        for fate in FATES
    }
    assert len(set(signs.values())) == len(FATES)


def test_a_mark_that_moved_has_an_arrow_from_where_it_was_to_where_it_is() -> None:
    shapes = fate_glyph(
        Fated(fate="moved", at=(900.0, 500.0), radius=80.0, came_from=(100.0, 500.0)), 100.0
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
