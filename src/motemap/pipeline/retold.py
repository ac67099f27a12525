"""A comparison's sentences as a person reads them who holds the body some other way."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from motemap.compare import tell_story
from motemap.pipeline.held import as_held, said_as_held
from motemap.showing import aperture_words, can_forecast, shows
from motemap.verdict import said_again

if TYPE_CHECKING:
    from motemap.changes import Comparison
    from motemap.settings import WorkSettings


def retold_as_held(comparison: Comparison, name: str, work: WorkSettings) -> Comparison:
    """Turn the places in the sentences of a comparison, those of its states among them.

    Parameters
    ----------
    name : str
        As in `motemap.place.HOLDS`.
    work : WorkSettings
        The aperture at which the story says what shows.
    """
    states, _ = as_held(comparison.states, name)
    last = states[-1]
    showing = [spot for spot in last.spots if shows(spot, work)]
    return replace(
        comparison,
        states=said_as_held(comparison.states, name),
        verdict=said_again(comparison.verdict, last.spots),
        story=tell_story(states, showing, aperture_words(work, has_forecast=can_forecast(last))),
    )
