"""The sentences that say why a method is next, each true of all the marks that it speaks of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from motemap.facts.methods import methods
from motemap.verdict.past import WET
from motemap.verdict.wording import count, listed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from motemap.records import Method
    from motemap.verdict.past import PassOutcome

Ground = Literal["untried", "clings", "wet kind", "sticks", "wet again", "after service", "stuck"]
"""Why marks need the method that they need."""

OUTLIVED: Final[Mapping[Ground, str]] = {
    "after service": "a service",
    "stuck": "all that a wet swab can do",
}
"""What marks of a group have outlived, where that is not told by naming the methods."""

THEN: Final[Mapping[Ground, tuple[str, str]]] = {
    "clings": ("it clings, so the brush is next", "they cling, so the brush is next"),
    "sticks": ("it sticks, so the wet swab is next", "they stick, so the wet swab is next"),
    "wet again": ("one more wet pass, with a new swab",) * 2,
    "after service": ("take the body back",) * 2,
    "stuck": (
        "it is stuck, a scratch or beneath the glass. Stop here and leave it to a service",
        "they are stuck, scratches or beneath the glass. Stop here and leave them to a service",
    ),
}
"""What follows from that, said of one mark and of several."""

CLEAN_TOOL: Final[Mapping[Method, str]] = {
    "blower": "The next time, puff it into free air first, then blow with the mount facing down.",
    "brush": "The next time, take a clean brush.",
    WET: "The next time, take a new swab.",
}
"""What keeps a method from bringing dirt in once more, as the cautions and the guide say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Marks that need a method for the same reason.

    Parameters
    ----------
    n_marks : int
        How many they are.
    is_all : bool
        Whether nothing else shows.
    outlived : frozenset of str
        Methods that every one of them has outlived.
    """

    n_marks: int
    is_all: bool
    outlived: frozenset[Method]

    @property
    def is_one(self) -> bool:
        """Whether a sentence goes on with "it"; "what shows" is spoken of as one thing."""
        return self.is_all or self.n_marks == 1

    @property
    def has(self) -> str:
        """The beginning of a sentence on what they have outlived."""
        return "What shows has" if self.is_all else count(self.n_marks, "mark has", "marks have")

    @property
    def tried(self) -> str:
        """What all of them have outlived, in words."""
        return listed([each.name for each in methods() if each.name in self.outlived])


def why(groups: Mapping[Ground, Group]) -> tuple[str, ...]:
    """Say of each group why the method advised, and no gentler one."""
    return tuple(_reason(ground, group) for ground, group in groups.items())


def _reason(ground: Ground, group: Group) -> str:
    if ground == "untried":
        what = "what shows" if group.is_all else count(group.n_marks, "mark", "marks")
        return (
            f"Nothing has been tried on {what} yet: after the camera's own cleaning shake, if it "
            "has one, the blower is the gentlest start."
        )
    if ground == "wet kind":
        what = count(group.n_marks, "droplet or smear shows", "droplets or smears show")
        return f"{what}: only a wet swab lifts that, and a brush would spread it."
    then_one, then_many = THEN[ground]
    outlived = OUTLIVED.get(ground, f"the {group.tried}")
    return f"{group.has} outlived {outlived}: {then_one if group.is_one else then_many}."


def beyond_reach(groups: Mapping[Ground, Group]) -> tuple[str, ...]:
    """Say how many marks the advised method will not shift, and what is left to do about them."""
    lines = []
    for ground, group in groups.items():
        disturbs = "it disturbs" if group.is_one else "they disturb"
        lines.append(
            f"{group.has} outlived a service: take the body back if {disturbs} you."
            if ground == "after service"
            else f"{group.has} outlived all a swab can do: a matter for a service if {disturbs} you."
        )
    return tuple(lines)


def about_last(last: PassOutcome | None, method: Method) -> tuple[str, ...]:
    """Say what was wrong with the last pass, and how the next one is to differ.

    Parameters
    ----------
    last : PassOutcome or None
    method : str
        The method advised next.
    """
    if last is None:
        return ()
    lines = []
    if last.is_worse:
        # Of the tool that was dirty, be it the next one or not; none is advised before a service.
        advice = CLEAN_TOOL.get(last.method, "") if method != "service" else ""
        lines.append(
            f"More marks came than went with the {last.method} ({last.n_new} new, "
            f"{last.n_gone} gone): it brought dirt in. {advice}".rstrip()
        )
    elif last.is_idle:
        lines.append(f"Nothing changed with the {last.method}.")
    if last.has_streaks:
        more = "another pass, with less fluid" if method == WET else "there was too much fluid"
        lines.append(f"Streaks came with the {WET}: {more}.")
    return tuple(lines)
