"""How far from the photosites the dust on a filter stack lies."""

STACK_RANGE_UM = (300.0, 3200.0)
"""Air-equivalent distances met in practice [um]: from a cover glass of 0.5 mm alone, which index 1.5
makes 0.33 mm, to stacks of slightly more than 4 mm, most of it glass (R. Cicala, "Sensor Stack
Thickness: When Does It Matter?", 2014); six older bodies measured have 2.3 to 2.9 mm."""
