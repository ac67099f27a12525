"""Frames as rough as those of older cameras, drawn without `motemap.synth`: a second opinion.

Everything here is plain geometry - discs, lines, ramps - so that a mistake in the wave optics
of the package cannot hide a mistake in its detector.
"""
