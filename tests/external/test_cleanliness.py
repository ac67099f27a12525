"""Cleanliness levels against the published law and its table.

Source: IEST-STD-CC1246 / MIL-STD-1246C, log10 N = 0.926 (log10^2 L - log10^2 x) per 0.1 m2,
as given by E. N. Borson, semiconductor-digest, 2005. The worked values on a sensor are derived.
"""

import pytest

from motemap.verdict.cleanliness import equivalent_level, particles_at_level

pytestmark = pytest.mark.external

SIZES_UM = (5, 15, 25, 50, 100, 250)
PER_TENTH_M2 = {
    25: (22.8, 3.38, 1.0),
    50: (166, 24.7, 7.30, 1.0),
    100: (1785, 265, 78.4, 10.7, 1.0),
    200: (28218, 4189, 1240, 170, 15.8),
    300: (169688, 25190, 7455, 1021, 95.1, 2.28),
    500: (1963292, 291445, 86252, 11817, 1100, 26.4),
}


@pytest.mark.parametrize("level", PER_TENTH_M2)
def test_counts_of_the_table(level: int) -> None:
    for at_um, count in zip(SIZES_UM, PER_TENTH_M2[level], strict=False):
        # The table is rounded to three figures.
        assert particles_at_level(level, at_um) == pytest.approx(count, rel=5e-3)


@pytest.mark.parametrize(
    ("n_particles", "at_um", "area_mm2", "level"),
    [
        (10, 20, 864.0, 172.3),
        (1, 20, 864.0, 95.5),
        (5, 50, 864.0, 264.7),
        (10, 20, 366.6, 211.1),
        (100, 10, 864.0, 209.5),
    ],
)
def test_levels_on_a_sensor(n_particles: int, at_um: float, area_mm2: float, level: float) -> None:
    # Worked values are rounded to a tenth.
    assert equivalent_level(n_particles, at_um, area_mm2) == pytest.approx(level, abs=0.06)


@pytest.mark.parametrize(
    ("level", "at_20_um", "at_50_um"),
    [(100, 1.18, 0.09), (200, 18.7, 1.47), (300, 112, 8.8), (500, 1302, 102)],
)
def test_counts_expected_on_full_frame(level: int, at_20_um: float, at_50_um: float) -> None:
    # Worked values are rounded to three figures, the smallest to a hundredth.
    share = 864.0 / 1e5
    assert particles_at_level(level, 20) * share == pytest.approx(at_20_um, rel=6e-3)
    assert particles_at_level(level, 50) * share == pytest.approx(at_50_um, rel=6e-3, abs=5e-3)


def test_level_and_count_undo_each_other() -> None:
    count = particles_at_level(237.0, 31.0)
    assert equivalent_level(count, 31.0, 1e5) == pytest.approx(237.0)
