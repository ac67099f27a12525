import sys
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from motemap.report.plain import FORMAT_CHARACTERS, encodable, printable


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain name.jpg", "plain name.jpg"),
        ("\x1b]0;title\x07", r"\x1b]0;title\x07"),
        ("one\ntwo\r\tthree", r"one\ntwo\r\tthree"),
        ("\x9b31m", r"\x9b31m"),
        ("a\u202egpj.exe", r"a\u202egpj.exe"),
        ("line\u2028end", r"line\u2028end"),
        ("caf\u00e9 \u5199\u771f", "caf\u00e9 \u5199\u771f"),
        ("latin-\udce9.nef", r"latin-\xe9.nef"),
        ("half \ud83d pair", r"half \ud83d pair"),
    ],
)
def test_what_would_steer_a_terminal_is_written_out(text: str, shown: str) -> None:
    assert printable(text) == shown


@given(st.text(alphabet=st.characters(codec=None)))
def test_any_text_can_be_encoded_and_fits_one_line(text: str) -> None:
    shown = printable(text)
    assert isinstance(shown.encode("utf-8"), bytes)
    assert not {unicodedata.category(each) for each in shown} & FORMAT_CHARACTERS
    assert len(shown.splitlines()) <= 1
    assert printable(shown) == shown


@given(st.text(alphabet=st.characters(codec="utf-8")))
def test_text_that_is_utf_8_is_left_alone(text: str) -> None:
    assert encodable(text) == text


def test_what_python_calls_printable_steers_nothing() -> None:
    # Text of such characters alone is taken as it is, without a look at each of them.
    printables = (chr(code) for code in range(sys.maxunicode + 1) if chr(code).isprintable())
    assert not any(unicodedata.category(each) in FORMAT_CHARACTERS for each in printables)
    assert printable("19\u00a0\u00b5m") == "19\u00a0\u00b5m"
