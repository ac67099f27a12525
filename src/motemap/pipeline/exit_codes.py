"""What the program ends with; ``docs/reference/exit-codes.md`` says when.

Without any import: ``--help`` asks for them, too.
"""

from typing import Final

READY_CODE: Final = 0
FAULT_CODE: Final = 1
USAGE_CODE: Final = 2
CLEAN_CODE: Final = 3
RESHOOT_CODE: Final = 4
STOPPED_CODE: Final = 130
"""By Ctrl-C: 128 and the number of the signal, as shells count."""
