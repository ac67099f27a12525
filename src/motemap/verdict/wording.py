"""Numbers and places as people say them."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from motemap.facts.stops import write_f

if TYPE_CHECKING:
    from collections.abc import Sequence

    from motemap.records import Spot

ORDINALS: Final = {2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth"}
"""Ordinals in words as far as they read better than figures."""

TEENS: Final = range(11, 14)
HUNDRED: Final = 100
TEN: Final = 10


def count(number: int, one: str, many: str) -> str:
    """Return a number with its noun.

    >>> count(1, "mark", "marks"), count(12, "mark", "marks")
    ('1 mark', '12 marks')
    """
    return f"{number} {one if number == 1 else many}"


def listed(names: Sequence[str]) -> str:
    """Return names as a list in a sentence.

    >>> listed(["blower", "brush", "wet swab"])
    'blower, brush and wet swab'
    """
    if len(names) <= 1:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def sentences(*parts: str | None) -> tuple[str, ...]:
    """Return the sentences there are, in order.

    >>> sentences("One.", None, "Two.")
    ('One.', 'Two.')
    """
    return tuple(part for part in parts if part is not None)


def ordinal(number: int) -> str:
    """Return the ordinal of a number.

    >>> ordinal(3), ordinal(11), ordinal(22)
    ('third', '11th', '22nd')
    """
    if number in ORDINALS:
        return ORDINALS[number]
    endings = {1: "st", 2: "nd", 3: "rd"}
    ending = "th" if number % HUNDRED in TEENS else endings.get(number % TEN, "th")
    return f"{number}{ending}"


def kind_and_size(spot: Spot) -> str:
    """Return what a mark is and how large, in a few words.

    A fibre's size is its width; a mark of unsure kind is called a mark.
    """
    noun = "mark" if spot.kind == "unsure" else spot.kind
    if spot.particle_um is None:
        return f"a {noun}"
    if spot.kind == "fibre" and spot.length_um is not None:
        return f"a fibre about {spot.particle_um:.0f} um wide and {spot.length_um:.0f} um long"
    return f"a {noun} of about {spot.particle_um:.0f} um"


def where(spot: Spot) -> str:
    """Return where a mark lies: on the sensor when known, else in the picture."""
    if spot.place is None or spot.from_left_mm is None or spot.from_top_mm is None:
        return f"lies in the picture at column {spot.image_x_px:.0f}, row {spot.image_y_px:.0f}"
    return (
        f"lies {_preposition(spot.place)} the {spot.place}, {spot.from_left_mm:.1f} mm from the "
        f"left and {spot.from_top_mm:.1f} mm from the top"
    )


def _preposition(place: str) -> str:
    """Return the preposition that goes with a place in words."""
    return "at" if "edge" in place else "in"


def shows_from(spot: Spot) -> str:
    """Return from which aperture on a mark shows; empty when unknown."""
    return "" if spot.shows_from_f is None else f"shows from {write_f(spot.shows_from_f)} on"
