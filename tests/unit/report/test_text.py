from dataclasses import replace
from pathlib import Path

from motemap.records import (
    Camera,
    Counts,
    FrameReport,
    Sensitivity,
    Sensor,
    ShotCheck,
    Stack,
    Verdict,
)
from motemap.report import forecast_text
from motemap.report.text import TextStyle, render
from motemap.settings import Settings, WorkSettings
from reporting.builders import faint, frame, in_order, ready, reshoot, spot, unreadable

EXPECTED = Path(__file__).parent / "expected_text.txt"


def lines_of(*frames: FrameReport, style: TextStyle | None = None) -> list[str]:
    return render(frames, Settings(), style).splitlines()


def blind(plain: FrameReport) -> FrameReport:
    """Return a frame without a forecast, as one whose aperture is unknown."""
    spots = tuple(replace(each, depth_at=None, shows_from_f=None) for each in plain.spots)
    return replace(plain, spots=spots)


def test_the_whole_text_of_a_folder() -> None:
    text = render([frame(), ready(), reshoot(), unreadable()], Settings())
    assert text == EXPECTED.read_text(encoding="utf-8")


def test_everything_fits_a_terminal() -> None:
    crowd = in_order(
        spot(1, kind="fibre", length_um=12345.6, place="right edge, lower part", layer="lens side")
        for _ in range(30)
    )
    long_name = "trip/" + "very-long-folder-name/" * 8 + "MOTE0001.DNG"
    long_words = Verdict(level="clean", method="service", cautions=("word " * 40,))
    lines = lines_of(
        frame(file=long_name, spots=crowd, verdict=long_words, notes=("word " * 40,)), reshoot()
    )
    assert max(map(len, lines)) <= 80
    assert not any(line != line.rstrip() for line in lines)


def test_seven_hundred_spots_stay_readable() -> None:
    spots = in_order(
        spot(1) if number < 20 else faint(1, image_x_px=float(number)) for number in range(700)
    )
    lines = lines_of(frame(spots=spots, counts=Counts(found=700, showing=20)))
    assert len(lines) < 60
    assert sum(line.startswith("#  ") for line in lines) == 15
    assert "  685 more marks left out here, 5 of them showing; JSON and CSV list all." in lines


def test_spots_that_show_come_first_and_the_lens_side_last_of_them() -> None:
    deep_but_unseen = faint(1, depth_frac=0.15)
    spots = in_order([spot(1, depth_frac=0.2, layer="lens side"), spot(1), deep_but_unseen])
    rows = [line for line in lines_of(frame(spots=spots)) if "speck" in line and "lower" in line]
    assert [row[:5] for row in rows] == ["#   3", "    1", "    2"]
    assert rows[1].endswith("lens shows")


def test_look_at_and_the_summary_leave_out_what_shows_from_the_lens() -> None:
    spots = in_order([spot(1, depth_frac=0.2, layer="lens side"), faint(1)])
    dusty = frame(spots=spots, counts=Counts(found=2, showing=1, showing_on_lens=1))
    lines = lines_of(dusty, ready())
    assert not any("Look at" in line for line in lines)
    (row,) = (line for line in lines if line.startswith("  CLEAN  ") and "MOTE0001" in line)
    assert row.split()[1:3] == ["2", "0"]


def test_the_summary_marks_what_is_told_of_another_aperture() -> None:
    lines = lines_of(frame(), blind(frame()), reshoot())
    rows = [line.split()[:4] for line in lines[lines.index("Summary") + 2 :][:3]]
    assert [row[-2] for row in rows[:2]] == ["1", "1*"]
    assert rows[2][-2:] == ["-", "-"]
    said = "  * at the aperture of this shot: what would show at f/11 is unknown."
    assert said in lines
    assert said not in lines_of(frame(), ready(), reshoot())


def test_the_table_names_the_aperture_it_speaks_of() -> None:
    said = " ".join(" ".join(lines_of(frame())).split())
    assert "Marks, deepest at f/11 first; # shows there, taking 2 % of the light or more" in said
    assert "from: the widest aperture" in said
    at_screen = Settings(work=WorkSettings(view="screen at 100 %"))
    said = " ".join(render([blind(frame())], at_screen).split())
    assert "deepest at the aperture of this shot first; # shows there, taking 2 %" in said
    assert "from: the widest aperture" not in said
    assert "screen" not in said


def test_a_width_is_not_given_out_for_a_size() -> None:
    sizeless = frame(spots=(replace(frame().spots[0], particle_um=None, particle_um_range=None),))
    words = "of what has no size the width of its shadow; depth"
    assert words in " ".join(" ".join(lines_of(sizeless)).split())
    assert words not in " ".join(" ".join(lines_of(frame())).split())
    named = forecast_text.render(sizeless, frame().forecast, Settings())
    assert "speck, its shadow about 51 um wide" in " ".join(named.split())


def test_a_frame_to_be_shot_again_is_called_neither_dirty_nor_clean() -> None:
    assert any(line.startswith("  Dirt") for line in lines_of(frame()))
    spoilt = reshoot(
        spots=frame().spots, cleanliness=frame().cleanliness, forecast=frame().forecast
    )
    assert not any(line.startswith("  Dirt") for line in lines_of(spoilt))
    assert any("by aperture" in line for line in lines_of(frame()))
    assert not any("by aperture" in line for line in lines_of(spoilt))


def test_positions_on_the_picture_when_the_sensor_is_unknown() -> None:
    unplaced = spot(1, from_left_mm=None, from_top_mm=None, place=None)
    unknown = Sensor(format=None, width_mm=None, height_mm=None, pitch_um=None, source="assumed")
    text = render([frame(spots=(unplaced,), sensor=unknown)], Settings())
    assert " no   col   row  " in text
    assert "  1000   500  -  " in text
    assert "give it with --sensor" in text
    assert "Look at" not in text


def test_nothing_hostile_reaches_the_terminal() -> None:
    bad = "\x1b]0;x\x07\n\x9b\u202e\udcff"
    check = ShotCheck(name=bad, value=bad, wanted=bad, outcome="fail", advice=bad)
    hostile = frame(
        file=bad,
        camera=Camera(maker=bad, model=bad, serial=bad, lens=bad),
        spots=(spot(1, place=bad),),
        shot_checks=(check,),
        verdict=Verdict(level="clean", method="brush", reasons=(bad,), cautions=(bad,)),
        notes=(bad,),
    )
    text = render([hostile, unreadable(bad)], Settings())
    assert text.encode("utf-8")
    assert text.replace("\n", "").isprintable()


def test_colour_changes_nothing_but_the_colour() -> None:
    frames = (frame(), ready(), reshoot(), unreadable())
    coloured = render(frames, Settings(), TextStyle(has_colour=True))
    for code in ("\x1b[1m", "\x1b[0m", "\x1b[31m", "\x1b[32m", "\x1b[33m", "\x1b[35m"):
        assert code in coloured
        coloured = coloured.replace(code, "")
    assert coloured == render(frames, Settings())


def test_a_failed_check_comes_before_a_warning() -> None:
    lines = lines_of(reshoot())
    told = [line.strip() for line in lines if "FAILED" in line or "mind:" in line]
    assert told[0].startswith("FAILED: aperture f/4, wanted f/16 or narrower. Stop down")
    assert told[1].startswith("mind: brightness 0.31")


def test_notes_are_told() -> None:
    lines = lines_of(ready(notes=("MOTE0002.JPG is the same shot and was left out.",)))
    assert lines[-1] == "  Note      MOTE0002.JPG is the same shot and was left out."


def test_cautions_are_told_once() -> None:
    text = render([frame(), frame(file="trip/MOTE0009.DNG")], Settings())
    assert text.count("Never use a can of compressed gas.") == 1


UNKNOWN_STACK = Stack(distance_mm=None, uncertainty_mm=None, source="assumed")


def test_an_unknown_stack_and_limit() -> None:
    text = render([ready(stack=UNKNOWN_STACK, sensitivity=Sensitivity())], Settings())
    assert "distance from dust to photosites unknown" in text
    assert "how faint a mark this frame could have shown is unknown" in text


def test_a_spoilt_frame_is_not_asked_what_it_could_have_shown() -> None:
    text = render([reshoot(stack=UNKNOWN_STACK, sensitivity=Sensitivity())], Settings())
    assert "Stack" not in text
    assert "Limit" not in text
