"""What an HTML page would do: its elements, its addresses, its words."""

from __future__ import annotations

from html.parser import HTMLParser
from typing import Final

ADDRESSES: Final = frozenset(
    {"src", "href", "xlink:href", "action", "formaction", "data", "poster", "srcset", "background"}
)


class Page(HTMLParser):
    """A page that was read as a browser reads it."""

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: set[str] = set()
        self.attributes: set[str] = set()
        self.addresses: list[str] = []
        self.words = ""
        self.feed(source)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.add(tag)
        self.attributes |= {name for name, _ in attrs}
        self.addresses += [value or "" for name, value in attrs if name in ADDRESSES]

    def handle_data(self, data: str) -> None:
        self.words += data
