import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError

from motemap import __version__
from motemap.errors import OutputError, SettingsError
from motemap.records import (
    Camera,
    Counts,
    Exposure,
    FrameReport,
    ImageInfo,
    Sensitivity,
    Sensor,
    ShotCheck,
    Spot,
    Stack,
)
from motemap.report.json import dumps, from_dict, to_dict
from motemap.report.schema import load_schema, schema_names
from motemap.report.text import render as render_text
from motemap.settings import Settings, WorkSettings
from reporting.builders import DEPTHS, faint, frame, in_order, ready, reshoot, spot, unreadable

SPOT_KEYS = (
    "id image_x_px image_y_px from_left_mm from_top_mm place depth_frac snr width_um length_um "
    "lost_area_um2 particle_um particle_um_range kind layer shows_from_f depth_at reasons"
)
FRAME_KEYS = (
    "file state error camera image sensor exposure shot_checks sensitivity stack spots counts "
    "forecast cleanliness verdict notes"
)


def validator() -> Draft202012Validator:
    return Draft202012Validator(load_schema("check"))


def reread(frames: list[FrameReport]) -> dict[str, Any]:
    document: dict[str, Any] = json.loads(dumps(to_dict(frames, Settings())))
    validator().validate(document)
    return document


def test_the_schema_is_one() -> None:
    assert "check" in schema_names()
    Draft202012Validator.check_schema(load_schema("check"))


def test_every_key_is_there_for_every_kind_of_frame() -> None:
    document = reread([frame(), ready(), reshoot(), unreadable()])
    assert list(document) == [
        "report",
        "report_version",
        "tool_version",
        "settings",
        "frames",
        "summary",
    ]
    assert document["report"] == "motemap.check"
    assert document["report_version"] == 1
    assert document["tool_version"] == __version__
    assert document["summary"] == {"ready": 1, "clean": 1, "reshoot": 1, "unreadable": 1}
    for record in document["frames"]:
        assert " ".join(record) == FRAME_KEYS
    for record in document["frames"][0]["spots"]:
        assert " ".join(record) == SPOT_KEYS


def test_the_worked_example_of_the_coordinates() -> None:
    # 36 x 24 mm, 6000 x 4000 px, stored (1000, 500): see docs/reference/coordinates.md.
    written = reread([frame()])["frames"][0]["spots"][0]
    assert (written["from_left_mm"], written["from_top_mm"]) == (6.003, 20.997)


def test_settings_are_echoed() -> None:
    settings = Settings(work=WorkSettings(shoot_at_f=8.0, done=("blower", "wet swab")))
    document = json.loads(dumps(to_dict([ready()], settings)))
    assert document["settings"]["work"]["shoot_at_f"] == 8.0
    assert document["settings"]["work"]["done"] == ["blower", "wet swab"]


def test_unknown_is_null_and_never_nan() -> None:
    odd = frame(
        camera=Camera(),
        exposure=Exposure(f_number=math.nan),
        sensor=Sensor(format=None, width_mm=None, height_mm=None, pitch_um=None, source="assumed"),
        sensitivity=Sensitivity(smallest_particle_um=math.inf),
        shot_checks=(ShotCheck(name="ISO", value=math.nan, wanted="64 to 400", outcome="warn"),),
        stack=Stack(distance_mm=None, uncertainty_mm=math.nan, source="assumed"),
        spots=(
            spot(
                1,
                from_left_mm=None,
                from_top_mm=None,
                place=None,
                particle_um=math.nan,
                particle_um_range=(1.0, math.inf),
                depth_at=None,
            ),
        ),
        counts=Counts(found=1),
    )
    written = reread([odd])["frames"][0]
    assert written["exposure"]["f_number"] is None
    assert written["sensitivity"]["smallest_particle_um"] is None
    assert written["stack"]["uncertainty_mm"] is None
    assert written["shot_checks"][0]["value"] is None
    assert written["spots"][0]["particle_um"] is None
    assert written["spots"][0]["particle_um_range"] is None
    assert written["spots"][0]["from_left_mm"] is None


def test_a_portrait_frame_of_unknown_size_is_written() -> None:
    turned = ImageInfo(kind="png", width_px=4000, height_px=6000, exif_orientation=None, bits=8)
    assert reread([frame(image=turned, sensor=None, spots=())])["frames"][0]["sensor"] == {
        "format": None,
        "width_mm": None,
        "height_mm": None,
        "pitch_um": None,
        "source": None,
    }


def test_one_spot_is_one_line() -> None:
    text = dumps(to_dict([frame()], Settings()))
    assert sum('"image_x_px"' in line for line in text.splitlines()) == 2
    assert text.endswith("}\n")


def test_ten_thousand_spots_stay_in_order() -> None:
    spots = in_order(faint(1, depth_frac=0.01 + 1e-6 * number) for number in range(10_000))
    written = reread([frame(spots=spots, counts=Counts(found=10_000))])["frames"][0]["spots"]
    depths = [record["depth_frac"] for record in written]
    assert depths == sorted(depths, reverse=True)
    assert [record["id"] for record in written] == list(range(1, 10_001))


def test_spots_out_of_order_are_not_written() -> None:
    with pytest.raises(OutputError):
        to_dict([frame(spots=(spot(2),))], Settings())


def test_hostile_text_survives_and_cannot_steer_a_terminal() -> None:
    name = 'trip/\x1b[2J"\n\x9b1m\u202e\udcff.dng'
    text = dumps(to_dict([ready(file=name, camera=Camera(model="</script>\x00"))], Settings()))
    assert text.encode("utf-8")
    assert not set(text) & set("\x1b\x9b\u202e\x00")
    written = json.loads(text)["frames"][0]
    assert written["file"] == 'trip/\x1b[2J"\n\x9b1m\u202e\\xff.dng'
    assert written["camera"]["model"] == "</script>\x00"


@pytest.mark.parametrize("made", [frame(), ready(), reshoot(), unreadable()])
def test_what_is_written_can_be_read_back(made: FrameReport) -> None:
    (back,) = from_dict(json.loads(dumps(to_dict([made], Settings()))))
    if made.image is not None and back.image is not None:
        # Bits and mosaic are not in the report.
        assert back.image.kind == made.image.kind
        assert back.image.curve == made.image.curve
    assert to_dict([back], Settings()) == to_dict([made], Settings())
    assert (back.spots, back.verdict, back.shot_checks) == (
        made.spots,
        made.verdict,
        made.shot_checks,
    )


def with_later_keys(value: object) -> object:
    """Return a document with a key that nobody knows yet in every object of it."""
    if isinstance(value, list):
        return [with_later_keys(each) for each in value]
    if not isinstance(value, dict) or set(value) == set(DEPTHS):
        return value
    return {**{key: with_later_keys(each) for key, each in value.items()}, "surplus": {"a": 1}}


@pytest.mark.parametrize("made", [frame(), ready(), reshoot(), unreadable()])
def test_keys_of_a_later_version_are_passed_over(made: FrameReport) -> None:
    document = json.loads(dumps(to_dict([made], Settings())))
    later = {**document, "frames": with_later_keys(document["frames"])}
    assert from_dict(later) == from_dict(document)


def test_a_key_that_an_older_version_did_not_have_is_unknown() -> None:
    document = reread([frame()])
    del document["frames"][0]["counts"]["showing_on_lens"]
    (back,) = from_dict(document)
    assert (back.counts.found, back.counts.showing) == (2, 1)
    assert (back.counts.showing_on_lens, back.counts.showing_on_sensor) == (None, None)
    again = to_dict([back], Settings())
    assert again["frames"][0]["counts"]["showing_on_lens"] is None
    validator().validate(again)
    assert "READY" not in render_text([back, back], Settings())


def test_a_later_version_of_the_report_is_refused_by_its_number() -> None:
    document = {**reread([frame()]), "report_version": 2}
    with pytest.raises(SettingsError, match=r"newer version \(report_version 2, known here: 1\)"):
        from_dict(document)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("state", "fine"),
        ("state", "reshoot"),
        ("file", None),
        ("surplus", 1),
        ("error", {"cause": "none", "repair": "none"}),
    ],
)
def test_the_schema_refuses_what_the_contract_does_not_know(key: str, value: object) -> None:
    document = reread([ready()])
    document["frames"][0][key] = value
    with pytest.raises(ValidationError):
        validator().validate(document)


@pytest.mark.parametrize("key", SPOT_KEYS.split())
def test_the_schema_misses_every_key_of_a_spot(key: str) -> None:
    document = reread([frame()])
    del document["frames"][0]["spots"][0][key]
    with pytest.raises(ValidationError):
        validator().validate(document)


numbers = st.floats(min_value=1e-4, max_value=1e5)
perhaps = st.none() | numbers
texts = st.text(alphabet=st.characters(codec="utf-8"), max_size=12)


@st.composite
def any_spot(draw: st.DrawFn) -> Spot:
    low, high = sorted((draw(numbers), draw(numbers)))
    return Spot(
        id=1,
        image_x_px=draw(numbers),
        image_y_px=draw(numbers),
        from_left_mm=draw(perhaps),
        from_top_mm=draw(perhaps),
        place=draw(st.none() | texts),
        depth_frac=draw(st.floats(0.0, 1.0)),
        snr=draw(numbers),
        width_um=draw(perhaps),
        length_um=draw(perhaps),
        lost_area_um2=draw(perhaps),
        particle_um=draw(perhaps),
        particle_um_range=draw(st.sampled_from([None, (low, high)])),
        kind=draw(st.sampled_from(["speck", "fibre", "droplet", "smear", "unsure"])),
        layer=draw(st.sampled_from(["filter stack", "lens side", "inside", "unsure"])),
        shows_from_f=draw(perhaps),
        depth_at=draw(
            st.none()
            | st.fixed_dictionaries(
                {label: st.floats(0.0, 1.0) for label in ["2.8", "4", "5.6", "8", "11", "16", "22"]}
            )
        ),
        reasons=tuple(draw(st.lists(texts, max_size=2))),
    )


@given(st.lists(any_spot(), max_size=4))
def test_any_spots_go_round(spots: list[Spot]) -> None:
    made = frame(spots=in_order(spots), counts=Counts(found=len(spots)))
    document = reread([made])
    (back,) = from_dict(document)
    assert to_dict([back], Settings())["frames"] == document["frames"]
    (again,) = from_dict(to_dict([back], Settings()))
    assert again == back
