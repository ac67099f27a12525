"""What is true of the world, each fact with its source: formats, f-stops, methods, cautions.

Every table is a CSV file with a ``source`` and a ``tag`` column, read by `motemap.facts.table`,
which refuses a fact without a source. Importing any module of this package costs next to
nothing: no numpy, and a table is read when it is first asked for. Our own choices, such as
thresholds, are no facts and live in `motemap.settings`.
"""
