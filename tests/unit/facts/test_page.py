"""The reference page is the one that the tables write."""

from pathlib import Path

from motemap.facts.page import PAGE_TABLES, facts_page

PAGE = Path(__file__).parents[3] / "docs" / "reference" / "facts.md"


def test_page_is_current() -> None:
    assert PAGE.read_text(encoding="utf-8") == facts_page()


def test_every_table_is_on_the_page() -> None:
    tables = Path(__file__).parents[3] / "src" / "motemap" / "facts" / "tables"
    assert {table.name for table in PAGE_TABLES} == {file.stem for file in tables.glob("*.csv")}
