"""Pictures of a sensor: maps, strips and masks, drawn from a report alone.

Importing this package imports nothing; take the picture you need from its module.
"""
