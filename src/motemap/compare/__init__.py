"""What went, stayed, moved and came between two states of one sensor."""

from motemap.compare.change import compare_states
from motemap.compare.story import tell_story
from motemap.compare.streaks import has_streaks

__all__ = ["compare_states", "has_streaks", "tell_story"]
