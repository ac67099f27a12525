"""What went, stayed, moved and came between two states of one sensor."""

from motemap.compare.change import compare_states, is_same_picture, may_be_two_bodies
from motemap.compare.story import tell_story
from motemap.compare.streaks import has_streaks

__all__ = ["compare_states", "has_streaks", "is_same_picture", "may_be_two_bodies", "tell_story"]
