"""Decide what each dip is: not a mark at all, or which kind of mark."""

from motemap.classify.genuine import Origins, judge_origins
from motemap.classify.kinds import Kind, name_kind
from motemap.classify.scale import ShadowScale

__all__ = ["Kind", "Origins", "ShadowScale", "judge_origins", "name_kind"]
