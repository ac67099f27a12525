"""Text from outside (file names, metadata) made fit for a terminal, a table or a JSON file."""

import unicodedata

FORMAT_CHARACTERS = frozenset(["Cc", "Cf", "Co", "Cs", "Zl", "Zp"])
"""Unicode categories that steer a terminal or cannot be shown: controls, direction marks,
private use, lone surrogates, line and paragraph separators."""


def encodable(text: str) -> str:
    r"""Return `text` with what UTF-8 cannot hold written out.

    File names that are not UTF-8 arrive with lone surrogates in them.

    >>> encodable("caf\udce9.jpg")
    'caf\\xe9.jpg'
    """
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")


def printable(text: str) -> str:
    r"""Return `text` on one line, with everything written out that would steer a terminal.

    >>> printable("a\x1b[31mb\nc")
    'a\\x1b[31mb\\nc'
    """
    return "".join(map(_shown, encodable(text)))


def _shown(character: str) -> str:
    if unicodedata.category(character) in FORMAT_CHARACTERS:
        return character.encode("unicode_escape").decode("ascii")
    return character
