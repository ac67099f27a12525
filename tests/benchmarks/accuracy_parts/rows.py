"""The frames that are drawn: named rows, each with its bar, and every variant of each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal
from zlib import crc32

from motemap.synth.marks import MarkMix
from motemap.synth.spec import FrameSpec

Size = Literal["tiny", "small", "full"]
Changes = Mapping[str, Mapping[str, Any] | Any]

SIDES_PX: dict[Size, tuple[int, int]] = {
    "tiny": (1442, 962),
    "small": (2998, 2002),
    "full": (6000, 4000),
}
"""Width and height of a frame of each size; sides differ and are no powers of two."""
N_MARKS: dict[Size, int] = {"tiny": 16, "small": 40, "full": 80}
SEEDS: dict[Size, tuple[int, ...]] = {"tiny": (1,), "small": (1, 2), "full": (1, 2)}
DEFECTS = {"n_hot": 300, "n_dead": 80}
"""A full frame has so many hot and dead photosites; smaller ones as many as their share."""
SMALLEST_UM = 6.0
"""About where a speck sinks under the bar of 1 % depth at f/22."""
MANY_DEFECTS = {"n_hot": 2500, "n_dead": 600}
FULL_AREA_PX2 = 24e6


@dataclass(frozen=True, slots=True, kw_only=True)
class Variant:
    """One kind of frame.

    Parameters
    ----------
    label : str
        What is particular about it.
    changes : mapping
        Fields of `FrameSpec` that differ; a nested mapping changes a nested record.
    mix : mapping
        Fields of `MarkMix` that differ; counts are for a full frame, see `spec_of`.
    """

    label: str
    changes: Changes = field(default_factory=dict)
    mix: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A row of the table.

    Parameters
    ----------
    name : str
    variants : tuple of Variant
    recall_bar_frac : float or None
        Least share of counting marks to be found; None where none is asked for.
    false_bar : float
        Most false marks a frame.
    is_in_tiny : bool
        Whether the tiny grid draws it (its first variant only).
    """

    name: str
    variants: tuple[Variant, ...]
    recall_bar_frac: float | None = None
    false_bar: float = 0.1
    is_in_tiny: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One frame to draw."""

    row: str
    variant: str
    seed: int
    spec: FrameSpec

    @property
    def name(self) -> str:
        """Row, variant and seed in one."""
        return f"{self.row}/{self.variant}/{self.seed}"


COUNTS = (
    "n_specks",
    "n_fibres",
    "n_clear_drops",
    "n_dirty_drops",
    "n_smears",
    "n_rings",
    "n_streaks",
    "n_lens",
    "n_inside",
)


def spec_of(variant: Variant, size: Size, seed: int) -> FrameSpec:
    """Return the record a variant is drawn from at a given size.

    Marks and defects thin out with the frame's area; at least one of each stays.
    """
    width_px, height_px = SIDES_PX[size]
    share = width_px * height_px / FULL_AREA_PX2
    base = FrameSpec(seed=seed, width_px=width_px, height_px=height_px)
    base = changed(base, {"sensor": DEFECTS})
    spec = changed(base, variant.changes)
    n_marks = N_MARKS[size]
    counts = {
        "n_specks": n_marks * 9 // 10,
        "n_fibres": max(1, n_marks // 20),
        "smallest_um": SMALLEST_UM,
    }
    scaled = {
        name: max(1, round(value * share)) if name in COUNTS and value > 0 else value
        for name, value in variant.mix.items()
    }
    defects = {
        name: round(getattr(spec.sensor, name) * share)
        for name in ("n_hot", "n_dead", "n_clusters")
    }
    spec = replace(spec, sensor=replace(spec.sensor, **defects))
    drawn: FrameSpec = replace(spec, mix=MarkMix(**(counts | scaled)))
    return drawn


def own_seed(row: str, label: str, seed: int) -> int:
    """Return a seed of its own for every frame, so that no two show the same dust."""
    return crc32(f"{row}/{label}/{seed}".encode()) & 0x7FFFFFFF


def changed(record: Any, changes: Changes) -> Any:
    """Return a copy of a record with fields changed, nested records field by field."""
    flat = {
        name: changed(getattr(record, name), value) if isinstance(value, Mapping) else value
        for name, value in changes.items()
    }
    return replace(record, **flat)


def jobs_of(rows: tuple[Row, ...], size: Size, seeds: tuple[int, ...]) -> tuple[Job, ...]:
    """Return every frame of the grid; the tiny grid has one frame for each of a few rows."""
    jobs: list[Job] = []
    for row in rows:
        if size == "tiny" and not row.is_in_tiny:
            continue
        variants = row.variants[:1] if size == "tiny" else row.variants
        jobs.extend(
            Job(
                row=row.name,
                variant=variant.label,
                seed=seed,
                spec=spec_of(variant, size, own_seed(row.name, variant.label, seed)),
            )
            for variant in variants
            for seed in seeds
        )
    return tuple(jobs)
