"""Spots, and the verdict on a frame that holds them."""

from dataclasses import replace

from motemap.records import Layer, Sensor, Spot, SpotKind, Verdict
from motemap.settings import WorkSettings
from motemap.verdict import PastPasses, ShotFacts, judge

FULL_FRAME = Sensor(
    format="full frame", width_mm=36.0, height_mm=24.0, pitch_um=6.0, source="metadata"
)
AT_F11 = WorkSettings(shoot_at_f=11.0)
SHOT = ShotFacts(sensor=FULL_FRAME)


def spot(
    number: int = 1,
    *,
    kind: SpotKind = "speck",
    layer: Layer = "filter stack",
    depth_at_f11: float = 0.05,
    place: str = "upper left",
) -> Spot:
    return Spot(
        id=number,
        image_x_px=1000.0,
        image_y_px=500.0,
        from_left_mm=12.4,
        from_top_mm=3.1,
        place=place,
        depth_frac=0.2,
        snr=40.0,
        width_um=60.0,
        length_um=60.0,
        lost_area_um2=700.0,
        particle_um=29.9,
        kind=kind,
        layer=layer,
        shows_from_f=5.6,
        depth_at={"11": depth_at_f11},
    )


def verdict_on(
    *spots: Spot,
    shows: tuple[bool, ...] | None = None,
    done: tuple[str, ...] = (),
    past: PastPasses | None = None,
    shot: ShotFacts = SHOT,
) -> Verdict:
    _, verdict = judge(
        spots,
        shows=shows if shows is not None else (True,) * len(spots),
        work=replace(AT_F11, done=done),
        shot=shot,
        past=past,
    )
    return verdict


def said(verdict: Verdict) -> str:
    return " ".join(verdict.reasons)
