"""Judge whether a test shot is fit to judge from."""

from motemap.shot.checks import check_exposure, check_field, check_light
from motemap.shot.sensitivity import FaintShadow, smallest_depth
from motemap.shot.small_dust import check_resolution, check_sensitivity
from motemap.shot.structure import Structure, measure_structure

__all__ = [
    "FaintShadow",
    "Structure",
    "check_exposure",
    "check_field",
    "check_light",
    "check_resolution",
    "check_sensitivity",
    "measure_structure",
    "smallest_depth",
]
