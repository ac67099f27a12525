"""Spots sorted by what they mean for the verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from motemap.records import Method, Spot
    from motemap.verdict.past import MarkPast, PastPasses

WET_KINDS: Final = frozenset({"droplet", "smear"})
"""Kinds that no dry tool lifts; a brush spreads them and is ruined (common practice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A spot with what is known of its past."""

    spot: Spot
    is_showing: bool
    past: MarkPast | None = None

    @property
    def is_wet(self) -> bool:
        """Whether only a wet swab lifts it."""
        return self.spot.kind in WET_KINDS

    @property
    def is_in_corner(self) -> bool:
        """Whether it lies where a swab turns and drops its load."""
        return self.spot.place is not None and self.spot.place.endswith("corner")

    def tried_on(self, done: tuple[Method, ...]) -> tuple[Method, ...]:
        """Return the methods it has outlived; `done` where its own past is unknown."""
        return done if self.past is None else self.past.outlived


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """All marks of a frame, sorted. `cleanable` and `inside` hold only those that show."""

    cleanable: tuple[Mark, ...]
    inside: tuple[Mark, ...]
    on_lens: tuple[Mark, ...]
    quiet: tuple[Mark, ...]

    @property
    def n_showing(self) -> int:
        """Marks that show and are the sensor's own."""
        return len(self.cleanable) + len(self.inside)


def sort_marks(spots: tuple[Spot, ...], shows: tuple[bool, ...], past: PastPasses | None) -> Marks:
    """Sort the spots of a frame; `shows` has one entry a spot.

    Raises
    ------
    ValueError
        If `shows`, or the past of the marks, has another number of entries than `spots`.
    """
    pasts = (past.marks if past else ()) or (None,) * len(spots)
    cleanable: list[Mark] = []
    inside: list[Mark] = []
    on_lens: list[Mark] = []
    quiet: list[Mark] = []
    for spot, is_showing, mark_past in zip(spots, shows, pasts, strict=True):
        mark = Mark(spot=spot, is_showing=is_showing, past=mark_past)
        if spot.layer == "lens side":
            on_lens.append(mark)
        elif not is_showing:
            quiet.append(mark)
        elif spot.layer == "inside":
            inside.append(mark)
        else:
            cleanable.append(mark)
    return Marks(
        cleanable=tuple(cleanable),
        inside=tuple(inside),
        on_lens=tuple(on_lens),
        quiet=tuple(quiet),
    )
