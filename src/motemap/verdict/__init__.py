"""From spots to what a photographer should do about them, with reasons.

The rule behind all others: what counts is what shows at the photographer's own narrowest
aperture, not what a test shot at f/22 can reveal.
"""

from motemap.verdict.cleanliness import cleanliness, equivalent_level
from motemap.verdict.judge import ShotFacts, judge
from motemap.verdict.past import WET, MarkPast, PassOutcome, PastPasses
from motemap.verdict.reasons import said_again

__all__ = [
    "WET",
    "MarkPast",
    "PassOutcome",
    "PastPasses",
    "ShotFacts",
    "cleanliness",
    "equivalent_level",
    "judge",
    "said_again",
]
