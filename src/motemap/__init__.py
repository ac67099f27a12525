"""Find dust on a camera sensor from test shots, and say whether, where and how to clean.

Importing this package costs nothing: the public names live in `motemap.api`.
"""

from importlib.metadata import version

__version__ = version("motemap")
