"""The record of every body: judged states in one SQLite file.

The store keeps reports as the plain dictionaries of the JSON report, so that what was kept
can be read by later versions; the course of a body is reckoned from reports.
"""

from motemap.history.course import comeback, mean_stack
from motemap.history.exchange import export_document, import_document, known_export
from motemap.history.past import new_methods, past_marks
from motemap.history.place import VARIABLE, default_place
from motemap.history.store import Entry, Store

__all__ = [
    "VARIABLE",
    "Entry",
    "Store",
    "comeback",
    "default_place",
    "export_document",
    "import_document",
    "known_export",
    "mean_stack",
    "new_methods",
    "past_marks",
]
