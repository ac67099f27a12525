"""Sequences of states drawn as spot lists: true particles, then what two frames would list.

Errors of measurement as promised for the detector: position 0.3 px, depth 8 %, size 10 %;
faint marks are missed by a noise of one against a limit of six.
"""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from motemap.records import (
    Camera,
    Counts,
    Exposure,
    FrameReport,
    ImageInfo,
    ImageKind,
    Sensitivity,
    Sensor,
    Spot,
    Stack,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from motemap.changes import StateChange

POSITION_ERROR_PX = 0.3
DEPTH_ERROR_FRAC = 0.08
SIZE_ERROR_FRAC = 0.10
SNR_NEEDED = 6.0
SNR_AT_LIMIT = SNR_NEEDED + 1.2816
HALF_FIELD_PX = (2960.0, 1960.0)
"""Marks are drawn this far from the middle of a 6000 x 4000 px picture."""

BODY = Camera(maker="Halvern", model="Halvern Q7", serial="K-20418", lens="Tessia 60")


@dataclass(frozen=True, kw_only=True)
class Shot:
    """How one frame is taken; scale and shift say where shadows fall in it."""

    f_number: float = 22.0
    kind: ImageKind = "raw"
    width_px: int = 6000
    height_px: int = 4000
    pitch_um: float = 6.0
    stack_mm: float = 1.2
    limit_frac: float = 0.004
    scale: float = 1.0
    shift_px: tuple[float, float] = (0.0, 0.0)
    curve_gain: float = 1.0

    @property
    def blur_um(self) -> float:
        return self.stack_mm * 1000.0 / self.f_number

    def depth(self, size_um: NDArray[np.float64]) -> NDArray[np.float64]:
        """Depth of opaque specks; diffraction lifts small ones (derived, physics of the shadow)."""
        lift = 1.0 + 0.9 * np.exp(-size_um / 25.0)
        ray = (size_um / self.blur_um) ** 2 * lift
        return np.minimum(0.95, ray) * self.curve_gain

    @property
    def smallest_um(self) -> float:
        sizes = np.geomspace(1.0, 500.0, 4000)
        return float(sizes[np.argmax(self.depth(sizes) >= self.limit_frac)])


@dataclass(frozen=True, kw_only=True)
class Dust:
    """True particles: place from the middle of the picture, size, and a name that stays."""

    name: NDArray[np.int64]
    place_px: NDArray[np.float64]
    size_um: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.name)

    def take(self, rows: NDArray[np.intp]) -> Dust:
        return Dust(name=self.name[rows], place_px=self.place_px[rows], size_um=self.size_um[rows])

    def plus(self, other: Dust) -> Dust:
        return Dust(
            name=np.concatenate([self.name, other.name]),
            place_px=np.concatenate([self.place_px, other.place_px]),
            size_um=np.concatenate([self.size_um, other.size_um]),
        )


@dataclass(frozen=True, kw_only=True)
class Listed:
    """A report, and which particle each of its spots is."""

    report: FrameReport
    names: dict[int, int] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Cleaning:
    """What a drawn cleaning does: shares of the marks, and how many come."""

    stayed: float = 0.5
    weaker: float = 0.0
    moved: float = 0.0
    n_new: int = 0


@dataclass(frozen=True, kw_only=True)
class Sequence:
    """Two states of one sensor with the truth of every particle."""

    before: Listed
    after: Listed
    dust_before: Dust
    dust_after: Dust
    fates: dict[int, str]
    shots: tuple[Shot, Shot]


def draw_dust(rng: np.random.Generator, n_marks: int, first_name: int = 0) -> Dust:
    """Particles by a power law of sizes, 6 to 120 um, all over a 6000 x 4000 px picture."""
    low, high, slope = 6.0, 120.0, -1.5
    share = rng.random(n_marks)
    return Dust(
        name=np.arange(n_marks, dtype=np.int64) + first_name,
        place_px=_anywhere(rng, n_marks),
        size_um=(low**slope + share * (high**slope - low**slope)) ** (1.0 / slope),
    )


def _anywhere(rng: np.random.Generator, n_marks: int) -> NDArray[np.float64]:
    across, down = HALF_FIELD_PX
    return rng.uniform((-across, -down), (across, down), (n_marks, 2))


def clean(rng: np.random.Generator, dust: Dust, cleaning: Cleaning) -> tuple[Dust, dict[int, str]]:
    """Clean a sensor; return the dust after it and what became of each particle."""
    bounds = np.cumsum([cleaning.stayed, cleaning.weaker, cleaning.moved])
    lot = np.searchsorted(bounds, rng.random(len(dust)), side="right")
    stayed, weaker, moved = (dust.take(np.flatnonzero(lot == each)) for each in range(3))
    weaker = replace(weaker, size_um=weaker.size_um * rng.uniform(0.4, 0.65, len(weaker)))
    moved = replace(moved, place_px=_anywhere(rng, len(moved)))
    new = draw_dust(rng, cleaning.n_new, first_name=100_000)
    words = ("stayed", "weaker", "moved", "gone")
    fates = {int(name): words[each] for name, each in zip(dust.name, lot, strict=True)}
    fates |= dict.fromkeys(map(int, new.name), "new")
    return stayed.plus(weaker).plus(moved).plus(new), fates


def draw_sequence(
    rng: np.random.Generator, n_marks: int, cleaning: Cleaning, shots: tuple[Shot, Shot]
) -> Sequence:
    """Draw dust, clean it, and list what two shots show."""
    before = draw_dust(rng, n_marks)
    after, fates = clean(rng, before, cleaning)
    return Sequence(
        before=list_spots(rng, before, shots[0], "before"),
        after=list_spots(rng, after, shots[1], "after"),
        dust_before=before,
        dust_after=after,
        fates=fates,
        shots=shots,
    )


def list_spots(rng: np.random.Generator, dust: Dust, shot: Shot, file: str) -> Listed:
    """Draw what the detector would list of a state."""
    depth = shot.depth(dust.size_um)
    snr = SNR_AT_LIMIT * depth / shot.limit_frac
    room_px = np.array([shot.width_px, shot.height_px]) / 2.0
    place_px = shot.scale * dust.place_px + shot.shift_px
    place_px = place_px + rng.normal(0.0, POSITION_ERROR_PX, place_px.shape)
    is_inside = np.all(np.abs(place_px) < room_px, axis=1)
    is_listed = (snr + rng.normal(size=len(dust)) > SNR_NEEDED) & is_inside
    depth_seen = np.clip(depth * rng.normal(1.0, DEPTH_ERROR_FRAC, len(dust)), 1e-4, 0.99)
    size_seen = dust.size_um * math.sqrt(shot.curve_gain)
    size_seen = size_seen * np.exp(rng.normal(0.0, SIZE_ERROR_FRAC, len(dust)))
    rows = np.flatnonzero(is_listed)
    rows = rows[np.argsort(-depth_seen[rows], kind="stable")]
    spots = [
        spot(
            number,
            *(place_px[row] + room_px - 0.5).tolist(),
            shot=shot,
            depth_frac=float(depth_seen[row]),
            particle_um=float(size_seen[row]),
            snr=float(snr[row]),
        )
        for number, row in enumerate(rows.tolist(), start=1)
    ]
    names = {number: int(dust.name[row]) for number, row in enumerate(rows.tolist(), start=1)}
    return Listed(report=report_of(spots, shot, file), names=names)


def spot(number: int, col_px: float, row_px: float, *, shot: Shot, **changes: Any) -> Spot:
    """One speck; unless told otherwise its size follows from its depth by rays."""
    depth_frac = float(changes.get("depth_frac", 0.1))
    size_um = float(changes.get("particle_um") or shot.blur_um * math.sqrt(depth_frac))
    plain = Spot(
        id=number,
        image_x_px=col_px,
        image_y_px=row_px,
        from_left_mm=(col_px + 0.5) * shot.pitch_um / 1000.0,
        from_top_mm=(shot.height_px - row_px - 0.5) * shot.pitch_um / 1000.0,
        place="centre",
        depth_frac=depth_frac,
        snr=SNR_AT_LIMIT * depth_frac / shot.limit_frac,
        width_um=max(shot.blur_um, size_um),
        length_um=max(shot.blur_um, size_um),
        lost_area_um2=math.pi / 4.0 * size_um**2,
        particle_um=size_um,
        kind="speck",
        layer="filter stack",
        shows_from_f=16.0,
        depth_at={"11": depth_frac * (11.0 / shot.f_number) ** 2, "22": depth_frac},
    )
    return replace(plain, **changes)


def report_of(
    spots: list[Spot], shot: Shot, file: str = "frame", camera: Camera = BODY, **changes: Any
) -> FrameReport:
    """A judged frame with these spots."""
    plain = FrameReport(
        file=file,
        state="judged",
        camera=camera,
        image=ImageInfo(
            kind=shot.kind,
            width_px=shot.width_px,
            height_px=shot.height_px,
            exif_orientation=1,
            bits=14 if shot.kind == "raw" else 8,
        ),
        sensor=Sensor(
            format="full frame",
            width_mm=shot.width_px * shot.pitch_um / 1000.0,
            height_mm=shot.height_px * shot.pitch_um / 1000.0,
            pitch_um=shot.pitch_um,
            source="metadata",
        ),
        exposure=Exposure(f_number=shot.f_number, iso=100.0, taken_at="2031-05-02T10:00:00"),
        sensitivity=Sensitivity(
            # No two shots measure alike.
            noise_frac=0.004 + zlib.crc32(file.encode()) * 1e-15,
            smallest_depth_frac=shot.limit_frac,
            smallest_particle_um=shot.smallest_um,
        ),
        stack=Stack(distance_mm=shot.stack_mm, uncertainty_mm=0.2, source="measured"),
        spots=tuple(spots),
        counts=Counts(found=len(spots), showing=0),
    )
    return replace(plain, **changes)


@dataclass(kw_only=True)
class Score:
    """How many fates were right; movers are counted by themselves."""

    n_marks: int = 0
    n_right: int = 0
    n_movers: int = 0
    n_named: int = 0
    n_named_right: int = 0

    @property
    def right_share(self) -> float:
        return self.n_right / self.n_marks


NEAR_LIMIT = 1.3
"""Up to this depth over the limit both a fate and "undecided" are honest."""

LEAST_DEPTH_FRAC = 0.01


def score(drawn: Sequence, change: StateChange, tally: Score) -> None:
    """Hold the fates of marks of 1 % depth and more against the truth."""
    one, two = drawn.before, drawn.after
    for mark in change.marks:
        name = one.names.get(mark.before_id or 0)
        other = two.names.get(mark.after_id or 0)
        own = drawn.dust_before if name is not None else drawn.dust_after
        here, there = drawn.shots if name is not None else drawn.shots[::-1]
        who = name if name is not None else other
        size_um = own.size_um[own.name == who]
        if mark.fate == "moved":
            tally.n_named += 1
            tally.n_named_right += name == other and drawn.fates[who or 0] == "moved"
        if float(here.depth(size_um)[0]) < LEAST_DEPTH_FRAC:
            continue
        truth = drawn.fates[who or 0]
        if truth == "moved":
            tally.n_movers += 1
            continue
        over = float(there.depth(size_um)[0]) / there.limit_frac
        tally.n_marks += 1
        tally.n_right += mark.fate in _allowed(truth, over, is_listed=_is_listed(drawn, who)) and (
            None in (name, other) or name == other
        )


def _is_listed(drawn: Sequence, who: int | None) -> bool:
    return who in drawn.before.names.values() and who in drawn.after.names.values()


def _allowed(truth: str, over_limit: float, *, is_listed: bool) -> set[str]:
    if truth in {"stayed", "weaker"}:
        return {truth} if is_listed else {"undecided"}
    allowed = {truth} if over_limit >= 1.0 else set()
    return allowed | ({"undecided"} if over_limit < NEAR_LIMIT else set())
