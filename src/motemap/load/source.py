"""Where the bytes of one picture come from: a file, or standard input already read."""

from __future__ import annotations

import errno
import io
import stat
from dataclasses import dataclass
from typing import TYPE_CHECKING, BinaryIO

from motemap.errors import UnreadableFile

if TYPE_CHECKING:
    from pathlib import Path

HEAD_BYTES = 65536
"""How much of a file's beginning is looked at to tell its kind."""

_LOOKING = {
    errno.ENOENT: ("There is no such file.", "Check the name and the folder."),
    errno.ENOTDIR: ("There is no such file.", "Check the name and the folder."),
    errno.EACCES: ("The file may not be read.", "Give yourself the right to read it."),
    errno.EPERM: ("The file may not be read.", "Give yourself the right to read it."),
    errno.ELOOP: ("The link leads in a circle.", "Name the picture itself, not the link."),
    errno.ENAMETOOLONG: ("The name is too long.", "Check the name and the folder."),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """One picture's bytes.

    Parameters
    ----------
    path : Path
        The file, or the name to call standard input by.
    content : bytes or None
        All bytes, when they have been read already.
    """

    path: Path
    content: bytes | None = None

    def check(self) -> None:
        """Look at the path first, so that a message can say what is wrong with it.

        Raises
        ------
        UnreadableFile
            When there is nothing to read.
        """
        n_bytes = len(self.content) if self.content is not None else self._file_bytes()
        if n_bytes == 0:
            raise UnreadableFile(
                "The file is empty.", repair="Copy it from the card again.", path=str(self.path)
            )

    def _file_bytes(self) -> int:
        """Return how large the file is; an UnreadableFile where there is none."""
        try:
            status = self.path.stat()
        except (OSError, ValueError) as fault:
            raise path_fault(fault, self.path) from fault
        if stat.S_ISDIR(status.st_mode):
            cause, repair = "This is a folder, not a picture.", "Name a picture inside it."
            raise UnreadableFile(cause, repair=repair, path=str(self.path))
        if not stat.S_ISREG(status.st_mode):
            cause, repair = "This is a device or a pipe, not a file.", "Name a picture."
            raise UnreadableFile(cause, repair=repair, path=str(self.path))
        return status.st_size

    def open(self) -> BinaryIO:
        """Open the bytes for reading.

        Raises
        ------
        UnreadableFile
            When the file cannot be opened.
        """
        if self.content is not None:
            return io.BytesIO(self.content)
        try:
            return self.path.open("rb")
        except (OSError, ValueError) as fault:
            raise path_fault(fault, self.path) from fault

    def head(self) -> bytes:
        """Return the first `HEAD_BYTES` bytes."""
        with self.open() as stream:
            try:
                return stream.read(HEAD_BYTES)
            except OSError as fault:
                raise path_fault(fault, self.path) from fault


def path_fault(fault: OSError | ValueError, path: Path) -> UnreadableFile:
    """Return the error that says what is wrong with a path."""
    number = fault.errno if isinstance(fault, OSError) else None
    reason = (fault.strerror if isinstance(fault, OSError) else None) or str(fault)
    if number == errno.ENOENT and path.is_symlink():
        cause, repair = "The link leads nowhere.", "Name the picture itself, not the link."
    else:
        known = _LOOKING.get(number) if number is not None else None
        cause, repair = known or (
            f"The file cannot be read ({reason}).",
            "Check the disk or card, and copy the file again.",
        )
    return UnreadableFile(cause, repair=repair, path=str(path))
