"""Every error the package raises on purpose.

::

    MotemapError
      LoadError             a picture could not be used
        UnreadableFile      it is damaged, cut off, empty or cannot be opened
        UnsupportedFile     it is whole, but of a kind that is not read here
      GeometryError         image and sensor cannot be brought together
      SettingsError         a value given by the user is out of range
      RecordError           the history file cannot be used
      OutputError           a result could not be written

Finding no dust is success, never an error.
"""


class MotemapError(Exception):
    """Root of all errors: what went wrong, where, and what to do next.

    Parameters
    ----------
    cause : str
        What went wrong, as a sentence without the file's name.
    repair : str
        What the user can do about it.
    path : str or None
        The file it happened in, when there is one.
    """

    def __init__(self, cause: str, *, repair: str, path: str | None = None) -> None:
        super().__init__(cause)
        self.cause = cause
        self.repair = repair
        self.path = path

    def __str__(self) -> str:
        where = f"{self.path}: " if self.path else ""
        return f"{where}{self.cause} {self.repair}"


class LoadError(MotemapError):
    """A picture could not be used."""


class UnreadableFile(LoadError):
    """The file is damaged, cut off, empty or cannot be opened."""


class UnsupportedFile(LoadError):
    """The file is whole, but of a kind that is not read here."""


class GeometryError(MotemapError, ValueError):
    """Image and sensor cannot be brought together."""


class SettingsError(MotemapError, ValueError):
    """A value given by the user is out of range; the message quotes it."""


class RecordError(MotemapError):
    """The history file cannot be used."""


class OutputError(MotemapError, OSError):
    """A result could not be written."""


def fault_words(error: BaseException) -> str:
    """Return the name of a fault's kind and what it says."""
    return f"{type(error).__name__}: {error}" if str(error) else type(error).__name__
