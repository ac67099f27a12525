"""What a shadow says of its particle: how big, on which layer, from which aperture it shows."""

from motemap.particle.cut import find_cut
from motemap.particle.doubt import Doubt, doubted, is_cooked
from motemap.particle.forecast import CastShadows, particle_for_depth
from motemap.particle.light import measure_light
from motemap.particle.onlooker import Onlooker, seen_by, seen_from, smallest_seen
from motemap.particle.record import LostLight, Particles
from motemap.particle.size import size_particles, sized_as_discs
from motemap.particle.stack import DEFAULT_STACK_MM, choose_stack, farthest_mm, fit_stack

__all__ = [
    "DEFAULT_STACK_MM",
    "CastShadows",
    "Doubt",
    "LostLight",
    "Onlooker",
    "Particles",
    "choose_stack",
    "doubted",
    "farthest_mm",
    "find_cut",
    "fit_stack",
    "is_cooked",
    "measure_light",
    "particle_for_depth",
    "seen_by",
    "seen_from",
    "size_particles",
    "sized_as_discs",
    "smallest_seen",
]
