"""The grid: the rows that issue bars, and the rougher ones beyond them."""

from __future__ import annotations

from dataclasses import replace

from accuracy_parts.rows import DEFECTS, MANY_DEFECTS, Row, Variant

NO_MARKS = {"n_specks": 0, "n_fibres": 0}
UNEVEN = {"vignetting_frac": 0.6, "tilt_frac": 0.25}
SCREEN = {"screen_frac": 0.004}
JPEG_92 = {"format": "jpeg", "quality": 92}
JPEG_95 = {"format": "jpeg", "quality": 95}
NO_DITHER = {"full_well_e": 2e6, "prnu_frac": 0.0003}
"""As after strong averaging: far less than one code of noise, so codes step along contours."""


DEFECTS_OUT = {"n_hot": 0, "n_dead": 0}


def _raw(mosaic: str, label: str = "", **more: object) -> Variant:
    changes = {"file": {"mosaic": mosaic}, "sensor": MANY_DEFECTS, **more}
    return Variant(label=label or mosaic, changes=changes)


PLAIN = Row(
    name="plain",
    recall_bar_frac=0.99,
    is_in_tiny=True,
    variants=(
        Variant(label="f22"),
        Variant(label="f16", changes={"f_number": 16.0, "stack_mm": 0.8}),
        Variant(label="fine pitch", changes={"pitch_um": 4.35, "stack_mm": 1.6}),
    ),
)
UNEVEN_ROW = Row(
    name="uneven",
    recall_bar_frac=0.99,
    is_in_tiny=True,
    variants=(
        Variant(label="steep", changes={"scene": UNEVEN}),
        Variant(
            label="steep corners",
            changes={"scene": UNEVEN | {"vignetting_power": 4.0, "tilt_deg": 200.0}},
        ),
        Variant(label="mottled", changes={"scene": {"mottle_frac": 0.004}}),
        Variant(label="row bands", changes={"scene": {"row_banding_frac": 0.004}}),
        Variant(label="screen", changes={"scene": SCREEN}),
    ),
)
MOSAIC = Row(
    name="mosaic",
    recall_bar_frac=0.99,
    is_in_tiny=True,
    variants=(
        _raw("XTRANS"),
        _raw("MONO"),
        _raw("BGGR"),
        _raw("GRBG"),
        _raw("GBRG"),
        _raw("LINEAR"),
        _raw("XTRANS", "XTRANS uneven", scene=UNEVEN),
    ),
)
TIFF = Row(
    name="tiff",
    recall_bar_frac=0.99,
    variants=(
        Variant(label="16 bit", changes={"file": {"format": "tiff"}, "picture": {"bits": 16}}),
        Variant(
            label="16 bit bare",
            changes={"file": {"format": "tiff", "has_exif": False}, "picture": {"bits": 16}},
        ),
    ),
)
PORTRAIT = Row(
    name="portrait",
    recall_bar_frac=0.99,
    variants=(
        Variant(label="raw on its side", changes={"file": {"orientation": 8}}),
        Variant(label="jpeg on its side", changes={"file": JPEG_95 | {"orientation": 6}}),
        Variant(
            label="jpeg turned", changes={"file": JPEG_95 | {"orientation": 6, "is_turned": True}}
        ),
    ),
)
LENS_DUST = Row(
    name="lens dust",
    recall_bar_frac=0.99,
    is_in_tiny=True,
    variants=(
        Variant(label="raw", mix={"n_lens": 12}),
        Variant(label="jpeg", changes={"file": JPEG_95}, mix={"n_lens": 12}),
    ),
)
FILTHY = Row(
    name="filthy",
    recall_bar_frac=0.97,
    variants=(
        Variant(label="raw", mix={"n_specks": 690, "n_fibres": 10}),
        Variant(label="jpeg", changes={"file": JPEG_95}, mix={"n_specks": 690, "n_fibres": 10}),
    ),
)
BORDER = Row(
    name="border",
    recall_bar_frac=0.95,
    is_in_tiny=True,
    variants=(
        Variant(label="raw", mix={"border_px": 20.0, "n_fibres": 0}),
        Variant(
            label="raw steep",
            changes={"scene": UNEVEN},
            mix={"border_px": 20.0, "n_fibres": 0},
        ),
        Variant(label="jpeg", changes={"file": JPEG_95}, mix={"border_px": 20.0, "n_fibres": 0}),
    ),
)
JPEG_SCREEN = Row(
    name="jpeg, screen structure",
    recall_bar_frac=0.95,
    is_in_tiny=True,
    variants=(
        Variant(label="q92", changes={"file": JPEG_92, "scene": SCREEN}),
        Variant(
            label="q95 steep",
            changes={
                "file": JPEG_95 | {"has_exif": False},
                "scene": SCREEN | UNEVEN,
                "picture": {"curve": "steep"},
            },
        ),
    ),
)
CLEAN = Row(
    name="clean",
    false_bar=0.0,
    is_in_tiny=True,
    variants=(
        Variant(label="raw", changes={"scene": UNEVEN}, mix=NO_MARKS),
        Variant(label="jpeg", changes={"file": JPEG_92, "scene": UNEVEN}, mix=NO_MARKS),
        Variant(
            label="jpeg undithered",
            changes={"file": JPEG_95, "scene": UNEVEN, "sensor": DEFECTS_OUT | NO_DITHER},
            mix=NO_MARKS,
        ),
        Variant(
            label="xtrans",
            changes={"file": {"mosaic": "XTRANS"}, "sensor": MANY_DEFECTS},
            mix=NO_MARKS,
        ),
        Variant(
            label="mono",
            changes={"file": {"mosaic": "MONO"}, "sensor": MANY_DEFECTS},
            mix=NO_MARKS,
        ),
        Variant(
            label="all patterns",
            changes={"scene": UNEVEN | SCREEN | {"mottle_frac": 0.004, "row_banding_frac": 0.004}},
            mix=NO_MARKS,
        ),
        Variant(label="lens dust", mix=NO_MARKS | {"n_lens": 12}),
    ),
)
BARRED_ROWS = (
    PLAIN,
    UNEVEN_ROW,
    MOSAIC,
    TIFF,
    PORTRAIT,
    LENS_DUST,
    FILTHY,
    BORDER,
    JPEG_SCREEN,
    CLEAN,
)

APERTURE = Row(
    name="aperture and stack",
    variants=(
        Variant(label="f11", changes={"f_number": 11.0}),
        Variant(label="f32", changes={"f_number": 32.0}),
        Variant(label="thin stack", changes={"stack_mm": 0.5}),
        Variant(label="thick stack", changes={"stack_mm": 3.0}),
        Variant(label="pitch 3", changes={"pitch_um": 3.0}),
        Variant(label="pitch 8", changes={"pitch_um": 8.0}),
    ),
)
NOISE = Row(
    name="high ISO",
    variants=tuple(
        Variant(label=f"ISO {iso}", changes={"sensor": DEFECTS | {"iso": float(iso)}})
        for iso in (400, 800, 1600)
    ),
)
JPEGS = Row(
    name="jpeg",
    variants=(
        Variant(label="q80", changes={"file": {"format": "jpeg", "quality": 80}}),
        Variant(
            label="q90 444",
            changes={"file": {"format": "jpeg", "quality": 90, "subsampling": "4:4:4"}},
        ),
        Variant(
            label="q98 444",
            changes={"file": {"format": "jpeg", "quality": 98, "subsampling": "4:4:4"}},
        ),
        Variant(
            label="steep sharpened",
            changes={"file": JPEG_95, "picture": {"curve": "steep", "sharpening_frac": 0.6}},
        ),
        Variant(label="undithered", changes={"file": JPEG_95, "sensor": DEFECTS_OUT | NO_DITHER}),
        Variant(label="half size", changes={"file": JPEG_92, "picture": {"shrink": 2}}),
        Variant(label="third size", changes={"file": JPEG_92, "picture": {"shrink": 3}}),
    ),
)
ROUGH_FIELD = Row(
    name="rough field",
    variants=(
        Variant(
            label="dark corners", changes={"scene": {"vignetting_frac": 0.5, "corner_frac": 0.9}}
        ),
        Variant(label="lens circle", changes={"scene": {"circle_frac": 0.9}}),
        Variant(label="hand", changes={"scene": {"hand_frac": 0.15}}),
        Variant(label="edge fall", changes={"scene": {"edge_fall_frac": 0.5}}),
        Variant(label="column bands", changes={"scene": {"col_banding_frac": 0.004}}),
        Variant(label="coarse screen", changes={"scene": SCREEN | {"screen_period_px": 11.7}}),
        Variant(
            label="fine mottling", changes={"scene": {"mottle_frac": 0.003, "mottle_px": 150.0}}
        ),
    ),
)
ROUGH_SENSOR = Row(
    name="rough sensor",
    variants=(
        Variant(label="phase rows", changes={"sensor": DEFECTS | {"phase_frac": -0.01}}),
        Variant(label="prnu", changes={"sensor": DEFECTS | {"prnu_frac": 0.01}}),
        Variant(label="clusters", changes={"sensor": MANY_DEFECTS | {"n_clusters": 300}}),
    ),
)
FILMS_ROW = Row(
    name="films and drops",
    variants=(
        Variant(
            label="raw",
            mix={
                "n_clear_drops": 8,
                "n_dirty_drops": 12,
                "n_smears": 6,
                "n_rings": 6,
                "n_inside": 8,
            },
        ),
        Variant(
            label="jpeg",
            changes={"file": JPEG_95},
            mix={"n_clear_drops": 8, "n_dirty_drops": 12, "n_smears": 6, "n_rings": 6},
        ),
    ),
)
FURTHER_ROWS = (APERTURE, NOISE, JPEGS, ROUGH_FIELD, ROUGH_SENSOR, FILMS_ROW)
ALL_ROWS = BARRED_ROWS + FURTHER_ROWS


def _as(label: str, row: Row, name: str) -> Variant:
    """Return a variant of a row, by the name it goes by where frames are not parted by rows."""
    (variant,) = (one for one in row.variants if one.label == name)
    return replace(variant, label=label)


FAINT_VARIANTS = (
    _as("raw, ISO 100", PLAIN, "f22"),
    _as("raw, ISO 1600", NOISE, "ISO 1600"),
    Variant(label="raw, f/16, fine pitch", changes={"f_number": 16.0, "pitch_um": 4.35}),
    _as("raw, uneven", UNEVEN_ROW, "steep"),
    Variant(label="6x6 raw", changes={"file": {"mosaic": "XTRANS"}}),
    Variant(label="monochrome raw", changes={"file": {"mosaic": "MONO"}}),
    Variant(label="linear raw", changes={"file": {"mosaic": "LINEAR"}}),
    _as("16-bit TIFF", TIFF, "16 bit"),
    Variant(label="JPEG q95", changes={"file": JPEG_95}),
    _as("JPEG q92, screen", JPEG_SCREEN, "q92"),
    Variant(
        label="JPEG q95, steep curve", changes={"file": JPEG_95, "picture": {"curve": "steep"}}
    ),
    _as("JPEG, half size", JPEGS, "half size"),
    _as("JPEG q80", JPEGS, "q80"),
    _as("JPEG q90 4:4:4", JPEGS, "q90 444"),
    _as("JPEG q98 4:4:4", JPEGS, "q98 444"),
    _as("raw, f/11", APERTURE, "f11"),
    _as("raw, f/32", APERTURE, "f32"),
    _as("raw, thin stack", APERTURE, "thin stack"),
    _as("raw, thick stack", APERTURE, "thick stack"),
    _as("raw, pitch 3", APERTURE, "pitch 3"),
    _as("raw, pitch 8", APERTURE, "pitch 8"),
)
"""Kinds of frames for which the distance to the limit, and the promise, are measured."""
PROMISE_VARIANTS = (_as("JPEG q95, undithered", JPEGS, "undithered"),)
"""Kinds for which only the promise is: where there is no noise, no filter of it sets a limit."""
