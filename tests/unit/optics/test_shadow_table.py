"""The shipped table is what its builder makes, and its builder obeys closed forms."""

from __future__ import annotations

import math
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np
import pytest

from closed_forms import tiny_speck_factor
from motemap.optics import build_shadow_table as builder
from motemap.optics.table import (
    CELL_TO_DISC,
    TABLE_NAME,
    amplitude_share,
    chord_kernel,
    disc_kernel,
    shadow_table,
)

if TYPE_CHECKING:
    from pathlib import Path

SINGLE_PRECISION = 2e-6


def test_shipped_table_is_what_the_builder_makes() -> None:
    table = shadow_table()
    nodes, edges = builder.size_nodes(), builder.cell_edges()
    np.testing.assert_allclose(table.nodes, nodes, rtol=1e-6)
    np.testing.assert_allclose(table.edges, edges, atol=1e-5)
    few, near = nodes[:30], edges[:31]
    cross, power = builder.speck_waves(few, near)
    np.testing.assert_allclose(table.speck_cross[:30, :30], cross, atol=SINGLE_PRECISION)
    np.testing.assert_allclose(table.speck_power[:30, :30], power, atol=SINGLE_PRECISION)
    some = [5, 60, 120]
    cross, power = builder.strip_waves(nodes[some], near)
    np.testing.assert_allclose(table.strip_cross[some, :30], cross, atol=SINGLE_PRECISION)
    np.testing.assert_allclose(table.strip_power[some, :30], power, atol=SINGLE_PRECISION)


def test_builder_writes_a_small_file(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(builder, "LAST_NODE", 0.1)
    monkeypatch.setattr(builder, "N_WAVELENGTHS", 2)
    monkeypatch.setattr("sys.argv", ["build", str(tmp_path / TABLE_NAME)])
    builder.main()
    with np.load(tmp_path / TABLE_NAME) as stored:
        assert stored["speck_cross"].shape == (builder.size_nodes().size, 300)


def test_shipped_table_stays_small() -> None:
    shipped = files("motemap.optics").joinpath(TABLE_NAME).read_bytes()
    assert len(shipped) < 1_000_000


def test_light_on_the_axis_behind_an_opaque_disc_is_as_bright_as_without_it() -> None:
    # Closed form (the bright spot of Poisson and Arago): |1 - U|^2 = 1, so cross = power.
    cross, power = builder._one_colour_speck(
        np.array([0.4, 0.55, 0.75, 0.9]), np.array([1e-6]), ratio=1.0
    )
    np.testing.assert_allclose(cross, power, rtol=1e-5)
    # On the axis behind a hole of radius a: |U|^2 = 4 sin^2(pi a^2 / 2).
    hole = 4 * np.sin(np.pi * np.array([0.4, 0.55, 0.75, 0.9]) ** 2 / 2) ** 2
    np.testing.assert_allclose(power[:, 0], hole, rtol=1e-5)


@pytest.mark.parametrize("f_number", [22.0, 16.0, 11.0])
def test_tiny_speck_on_the_axis_of_a_whole_aperture(f_number: float) -> None:
    # Derived: depth / (d / B)^2 = 2 (1 - cos(pi tau / (4 lambda N^2))), one wavelength.
    tau_um, wavelength_um = 4000 / 3, 0.55
    unit_um = math.sqrt(wavelength_um * tau_um)
    edges = np.linspace(0, 3, 1201)
    middles = (edges[1:] + edges[:-1]) / 2
    radius, blur = 0.005, tau_um / f_number / unit_um
    cross, power = builder._one_colour_speck(np.array([radius]), middles, ratio=1.0)
    weights = disc_kernel(np.array([0.0]), edges, blur)
    depth = float((weights @ (cross - power).T)[0, 0])
    found = depth / (2 * radius / blur) ** 2
    assert found == pytest.approx(tiny_speck_factor(tau_um, f_number, wavelength_um), abs=0.02)


def test_wide_strips_cast_the_shadow_of_a_straight_edge() -> None:
    # At the edge of a half plane the amplitude is one half: a quarter of the light is left.
    edges = np.array([9.99, 10.01])
    cross, power = builder.strip_waves(np.array([20.0]), edges)
    assert float((cross - power)[0, 0]) == pytest.approx(0.75, abs=0.03)


def test_chords_weigh_a_disc_by_their_length() -> None:
    edges = np.linspace(0, 2, 201)
    weights = chord_kernel(np.array([0.0]), edges, 2.0)[0]
    assert weights.sum() == pytest.approx(1.0)
    # Mean squared distance from the axis of a unit disc is a quarter.
    middles = (edges[1:] + edges[:-1]) / 2
    assert weights @ middles**2 == pytest.approx(0.25, abs=1e-4)


def test_a_cell_spreads_like_its_disc() -> None:
    # Mean square of one coordinate: a^2 / 12 in a square, D^2 / 16 in a disc.
    spread = CELL_TO_DISC**2 / 16
    assert spread == pytest.approx(1 / 12)


def test_amplitude_of_a_film() -> None:
    assert amplitude_share(1.0) == 1.0
    assert amplitude_share(0.36) == pytest.approx(0.2)
    assert amplitude_share(1.2) == 1.0
