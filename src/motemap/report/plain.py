"""Text from outside (file names, metadata) made fit for a terminal, a table or a JSON file."""

import unicodedata

FORMAT_CHARACTERS = frozenset(["Cc", "Cf", "Co", "Cs", "Zl", "Zp"])
"""Unicode categories that steer a terminal or cannot be shown: controls, direction marks,
private use, lone surrogates, line and paragraph separators."""

NO_BREAK_SPACE = "\u00a0"

UNDECODED_FIRST = "\udc80"
UNDECODED_LAST = "\udcff"
FIRST_HIGH_BYTE = 0x80
"""What bytes of a file name that are not UTF-8 become in Python (PEP 383)."""


def encodable(text: str) -> str:
    r"""Return `text` with what UTF-8 cannot hold written out.

    File names that are not UTF-8 arrive with lone surrogates in them.

    >>> encodable("caf\udce9.jpg")
    'caf\\xe9.jpg'
    """
    if text.isascii():
        return text
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return "".join(map(_with_bytes_shown, text))
    return text


def _with_bytes_shown(character: str) -> str:
    if UNDECODED_FIRST <= character <= UNDECODED_LAST:
        return f"\\x{ord(character) - ord(UNDECODED_FIRST) + FIRST_HIGH_BYTE:02x}"
    return character.encode("utf-8", "backslashreplace").decode("utf-8")


def printable(text: str) -> str:
    r"""Return `text` on one line, with everything written out that would steer a terminal.

    >>> printable("a\x1b[31mb\nc")
    'a\\x1b[31mb\\nc'
    """
    if text.replace(NO_BREAK_SPACE, " ").isprintable():  # which asks more than is asked here
        return text
    return "".join(map(_shown, encodable(text)))


def _shown(character: str) -> str:
    if unicodedata.category(character) in FORMAT_CHARACTERS:
        return character.encode("unicode_escape").decode("ascii")
    return character
