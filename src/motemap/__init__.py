"""Find dust on a camera sensor from test shots, and say whether, where and how to clean.

Importing this package costs nothing: the public names live in `motemap.api`. The version stands
here and is read by the build: to ask the installed metadata for it takes longer than the rest
of the program's start.
"""

__version__ = "0.1.0"
