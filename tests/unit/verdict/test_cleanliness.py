"""Area covered and equivalent level of one frame."""

import math

import pytest

from motemap.records import Layer, Sensitivity, Sensor, Spot, SpotKind
from motemap.verdict import cleanliness, equivalent_level

FULL_FRAME = Sensor(
    format="full frame", width_mm=36.0, height_mm=24.0, pitch_um=6.0, source="metadata"
)
SEES_8_UM = Sensitivity(smallest_particle_um=8.0)


def spot(
    particle_um: float | None,
    kind: SpotKind = "speck",
    layer: Layer = "filter stack",
    length_um: float = 30.0,
) -> Spot:
    return Spot(
        id=1,
        image_x_px=0.0,
        image_y_px=0.0,
        from_left_mm=None,
        from_top_mm=None,
        place=None,
        depth_frac=0.1,
        snr=20.0,
        width_um=50.0,
        length_um=length_um,
        lost_area_um2=None if particle_um is None else math.pi / 4 * particle_um**2,
        particle_um=particle_um,
        kind=kind,
        layer=layer,
    )


def test_ten_specks_of_20_um_on_full_frame() -> None:
    result = cleanliness((spot(20.0),) * 10, FULL_FRAME, SEES_8_UM)
    assert (result.at_um, result.n_particles, result.is_upper_bound) == (20.0, 10, False)
    assert result.equivalent_level == pytest.approx(172.3, abs=0.05)
    # 10 discs of 20 um on 864 mm2: 3.6e-4 %.
    assert result.covered_frac == pytest.approx(3.636e-6, rel=1e-3)


def test_only_particles_on_the_stack_and_large_enough_count() -> None:
    spots = (
        spot(25.0),
        spot(19.9),
        spot(25.0, layer="lens side"),
        spot(25.0, layer="inside"),
        spot(25.0, kind="droplet"),
        spot(25.0, kind="smear"),
        spot(25.0, layer="unsure"),
        spot(None),
        spot(12.0, kind="fibre", length_um=300.0),
        spot(12.0, kind="speck", length_um=300.0),
    )
    assert cleanliness(spots, FULL_FRAME, SEES_8_UM).n_particles == 3


def test_what_could_not_be_seen_is_not_counted_as_absent() -> None:
    result = cleanliness(
        (spot(25.0), spot(40.0)), FULL_FRAME, Sensitivity(smallest_particle_um=35.0)
    )
    assert (result.at_um, result.n_particles) == (35.0, 1)


def test_no_particle_gives_an_upper_bound_from_the_sensitivity() -> None:
    result = cleanliness((), FULL_FRAME, Sensitivity(smallest_particle_um=26.0))
    assert result.is_upper_bound
    assert result.at_um == 26.0
    assert result.equivalent_level == pytest.approx(equivalent_level(1, 26.0, 864.0))
    assert result.covered_frac == 0.0


def test_without_sensitivity_no_particle_says_nothing() -> None:
    result = cleanliness((), FULL_FRAME, Sensitivity())
    assert result.equivalent_level is None
    assert cleanliness((spot(25.0),), FULL_FRAME, Sensitivity()).equivalent_level is not None


def test_without_a_sensor_size_there_is_no_figure() -> None:
    unknown = Sensor(format=None, width_mm=None, height_mm=None, pitch_um=None, source="assumed")
    result = cleanliness((spot(25.0),), unknown, SEES_8_UM)
    assert (result.equivalent_level, result.covered_frac, result.n_particles) == (None, None, 1)


def test_no_count_has_no_level() -> None:
    with pytest.raises(ValueError, match="bound"):
        equivalent_level(0, 20.0, 864.0)


def test_level_never_falls_below_one() -> None:
    assert equivalent_level(1, 1.0, 1e9) == 1.0
