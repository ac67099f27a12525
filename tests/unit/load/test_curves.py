"""Tone curves of embedded profiles."""

import struct

import numpy as np
import pytest
from PIL import ImageCms

from motemap.load.readers.curves import profile_curve, srgb_light
from motemap.synth.files import gamma_profile

CODES = np.linspace(0, 1, 33)


def profile_with(curve: bytes) -> bytes:
    head = bytes(128)
    return head + struct.pack(">I4sII", 1, b"gTRC", 144, len(curve)) + curve


def parametric(kind: int, *numbers: float) -> bytes:
    fixed = [round(number * 65536) for number in numbers]
    return b"para\0\0\0\0" + struct.pack(f">Hxx{len(fixed)}i", kind, *fixed)


def sampled(*points: int) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(f">I{len(points)}H", len(points), *points)


@pytest.mark.parametrize("kind", ["grey", "colour"])
def test_a_power_law_is_read(kind: str) -> None:
    curve = profile_curve(gamma_profile(1.8, is_grey=kind == "grey"))
    assert curve is not None
    # The exponent is stored to 1/256.
    np.testing.assert_allclose(curve(CODES), CODES**1.8, atol=2e-3)


def test_the_srgb_profile_of_littlecms_is_srgb() -> None:
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    curve = profile_curve(profile)
    assert curve is not None
    # Parameters are stored to 1/65536; littleCMS writes the joint of the curve to 4 digits.
    np.testing.assert_allclose(curve(CODES), srgb_light(CODES), atol=1e-4)


def test_samples_are_interpolated() -> None:
    curve = profile_curve(profile_with(sampled(0, 16384, 65535)))
    assert curve is not None
    np.testing.assert_allclose(curve(np.array([0.25, 0.5, 1.0])), [0.125, 0.25, 1.0], atol=1e-4)


def test_no_samples_mean_no_curve() -> None:
    curve = profile_curve(profile_with(sampled()))
    assert curve is not None
    np.testing.assert_array_equal(curve(CODES), CODES)


@pytest.mark.parametrize(
    ("kind", "numbers", "expected"),
    [
        (0, (2.2,), CODES**2.2),
        (1, (2.0, 1.25, -0.25), np.where(CODES >= 0.2, (1.25 * CODES - 0.25) ** 2, 0)),
        (2, (2.0, 1.0, -0.1, 0.19), np.where(CODES >= 0.1, (CODES - 0.1) ** 2 + 0.19, 0.19)),
        (
            3,
            (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045),
            srgb_light(CODES),
        ),
        (
            4,
            (2.0, 0.9, 0.05, 0.1, 0.1, 0.0975, 0.01),
            np.where(CODES >= 0.1, (0.9 * CODES + 0.05) ** 2 + 0.0975, 0.1 * CODES + 0.01),
        ),
    ],
    ids=["power", "CIE 122", "raised", "sRGB", "general"],
)
def test_parametric_curves(kind: int, numbers: tuple[float, ...], expected: np.ndarray) -> None:
    curve = profile_curve(profile_with(parametric(kind, *numbers)))
    if expected[0] >= 0.05:
        assert curve is None  # it never reaches black
        return
    assert curve is not None
    np.testing.assert_allclose(curve(CODES), expected, atol=1e-4)


@pytest.mark.parametrize(
    "profile",
    [
        None,
        b"",
        b"short",
        bytes(200),
        profile_with(sampled(65535, 0)),
        profile_with(sampled(0, 100)),
        profile_with(parametric(9, 1.0)),
        profile_with(parametric(1, 2.0, 0.0, 0.5)),
        profile_with(b"curv\0\0\0\0\xff\xff\xff\xff"),
        profile_with(b"mft2" + bytes(40)),
    ],
    ids=[
        "none",
        "empty",
        "short",
        "no tags",
        "falling",
        "dark",
        "unknown",
        "flat",
        "cut off",
        "table",
    ],
)
def test_useless_profiles_are_passed_over(profile: bytes | None) -> None:
    assert profile_curve(profile) is None
