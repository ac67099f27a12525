"""The Airy disc against a published table.

Source: Edmund Optics, application note on the Airy disc and the diffraction limit: diameter to
the first zero at 520 nm by f-number (text read).
"""

import pytest

from motemap.optics.rays import airy_um

pytestmark = pytest.mark.external

DIAMETER_UM = {
    1.4: 1.78, 2.0: 2.54, 2.8: 3.55, 4.0: 5.08, 5.6: 7.11, 8.0: 10.15, 11.0: 13.96, 16.0: 20.30,
}  # fmt: skip


@pytest.mark.parametrize(("f_number", "diameter_um"), DIAMETER_UM.items())
def test_airy_disc(f_number: float, diameter_um: float) -> None:
    assert airy_um(0.520, f_number) == pytest.approx(diameter_um, abs=0.006)
