"""The report page: whole, linked, readable by a screen reader, and deaf to hostile names."""

from __future__ import annotations

import itertools
import re
from dataclasses import dataclass, field, replace
from html.parser import HTMLParser

import pytest

from motemap.pipeline.conclusion import conclude
from motemap.place import HOLDS, find_hold
from motemap.records import Camera, FrameReport, ShotCheck, Verdict
from motemap.report.page.document import POLICY
from motemap.report.page.pages import comparison_html, index_html, page_html
from motemap.report.page.tables import MOST_ROWS
from motemap.report.pictures.palette import DARK, LIGHT, Tone, contrast_ratio
from motemap.report.pictures.strip import cut_strip
from motemap.settings import WorkSettings
from motemap.showing import worst_first
from picturing.bench import (
    cleaned,
    dusty,
    mark,
    numbered,
    report,
    sizeless,
    spoiled,
    turned,
    unreadable,
)
from picturing.flat import flat_for

VOID = {"meta", "link", "br", "img"}
READABLE = 4.5
SEEN = 3.0
"""Least contrast of text and of signs: WCAG 2.2, success criteria 1.4.3 and 1.4.11."""


@dataclass
class Page(HTMLParser):
    """What a page holds; refuses tags that do not close in order."""

    tags: list[tuple[str, dict[str, str]]] = field(default_factory=list)
    stack: list[str] = field(default_factory=list)
    text: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in VOID:
            self.stack.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self.stack, f"</{tag}> closes nothing"
        assert self.stack.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" not in self.stack:
            self.text.append(data)

    def attributes(self, name: str) -> list[str]:
        return [attrs[name] for _, attrs in self.tags if name in attrs]


def parsed(html: str) -> Page:
    page = Page()
    page.feed(html)
    page.close()
    assert page.stack == []
    return page


PAGES = {
    "one mark": page_html(dusty(1)),
    "a dozen with strip": page_html(dusty(12), strip=cut_strip(dusty(12), flat_for(dusty(12)))),
    "seven hundred": page_html(dusty(700)),
    "clean": page_html(dusty(0)),
    "turned": page_html(turned(dusty(12))),
    "sizeless": page_html(sizeless(dusty(12))),
    "spoiled": page_html(spoiled(dusty(12))),
    "unreadable": page_html(unreadable()),
    "another hold": page_html(dusty(12), hold=HOLDS[4]),
    "folder": index_html([dusty(12), unreadable(), spoiled(dusty(3)), dusty(0, file="b.DNG")]),
    "empty folder": index_html([]),
    "comparison": comparison_html(cleaned()),
}


@pytest.mark.parametrize("name", PAGES)
def test_pages_are_well_formed_and_every_link_leads_somewhere(name: str) -> None:
    page = parsed(PAGES[name])
    names = page.attributes("id")
    assert len(names) == len(set(names))
    for link in page.attributes("href"):
        assert link == "data:," or link.removeprefix("#") in names
    for labels in page.attributes("aria-labelledby"):
        assert set(labels.split()) <= set(names)


@pytest.mark.parametrize("name", PAGES)
def test_pages_need_nothing_from_outside_and_run_nothing(name: str) -> None:
    html = PAGES[name]
    page = parsed(html)
    tags = {tag for tag, _ in page.tags}
    assert not tags & {"script", "iframe", "object", "embed", "form", "base", "video", "audio"}
    assert all(source.startswith("data:image/png;base64,") for source in page.attributes("src"))
    assert not [name for _, attrs in page.tags for name in attrs if name.startswith("on")]
    assert "url(" not in html
    assert "@import" not in html
    assert "//" not in re.sub(r"base64,[A-Za-z0-9+/=]+", "", html)
    assert POLICY in page.attributes("content")


@pytest.mark.parametrize("name", PAGES)
def test_screen_readers_find_their_way(name: str) -> None:
    page = parsed(PAGES[name])
    tags = [tag for tag, _ in page.tags]
    assert ("html", {"lang": "en"}) in page.tags
    assert tags.count("main") == tags.count("h1") == 1
    assert tags.count("table") == tags.count("caption")
    assert all("scope" in attrs for tag, attrs in page.tags if tag == "th")
    assert all(attrs.get("alt") for tag, attrs in page.tags if tag == "img")
    for tag, attrs in page.tags:
        if tag == "svg":
            assert "aria-labelledby" in attrs or attrs.get("aria-hidden") == "true"
    levels = [int(tag[1]) for tag in tags if re.fullmatch(r"h[1-6]", tag)]
    assert all(late - soon <= 1 for soon, late in itertools.pairwise(levels))


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_text_and_signs_stand_out_from_their_ground(palette: dict[Tone, str]) -> None:
    grounds = (Tone.PAPER, Tone.PLATE, Tone.SWAB)
    for ground in grounds:
        for text in (Tone.INK, Tone.QUIET, Tone.SWAB_LINE):
            assert contrast_ratio(palette[text], palette[ground]) >= READABLE
    for sign in (Tone.SHOWS, Tone.REST, Tone.SWAB_LINE):
        assert contrast_ratio(palette[sign], palette[Tone.PLATE]) >= SEEN


def test_every_mark_has_a_row_and_every_row_its_mark() -> None:
    page = parsed(PAGES["seven hundred"])
    names = set(page.attributes("id"))
    assert {f"f1-m{number}" for number in range(1, 701)} <= names
    assert {f"f1-k{number}" for number in range(1, 701)} <= names
    rows = [attrs for tag, attrs in page.tags if tag == "tr" and "id" in attrs]
    assert len(rows) == 700
    before_fold = PAGES["seven hundred"].split("<details>")[0]
    assert before_fold.count('<tr id="f1-m') == MOST_ROWS


def test_only_numbered_marks_stop_the_tab_key() -> None:
    page = parsed(PAGES["seven hundred"])
    links = [attrs for tag, attrs in page.tags if tag == "a" and "-k" in attrs.get("id", "")]
    stops = [attrs["id"] for attrs in links if attrs.get("tabindex") != "-1"]
    assert len(links) == 700
    assert len(stops) == 12
    # Worst first.
    numbers = [int(name.removeprefix("f1-k")) for name in stops]
    ranked = [spot.id for spot in worst_first(dusty(700).spots, WorkSettings())]
    assert numbers == [number for number in ranked if number in numbers]


def row_of(html: str, number: int) -> list[str]:
    row = re.search(rf'<tr id="f1-m{number}".*?</tr>', html)
    assert row is not None
    cells = re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row.group())
    return [re.sub(r"<small>.*?</small>|<[^>]+>", "", cell).replace("\xa0", " ") for cell in cells]


def test_headings_speak_of_what_is_known() -> None:
    marks = numbered([mark(9.003, 20.997, 60.0), mark(30.0, 3.0, 8.0)])
    html = page_html(report(marks))
    assert "Marks, deepest at f/11 first" in html
    assert "From: the widest aperture" in html
    assert "What would show in pictures" in html
    assert "What would show in pictures" not in page_html(replace(report(marks), state="reshoot"))
    unknown = tuple(replace(spot, depth_at=None, shows_from_f=None) for spot in marks)
    html = page_html(report(unknown), work=WorkSettings(view="screen at 100 %"))
    assert "Marks, deepest at the aperture of this shot first" in html
    assert "marks taking 2 % of the light or more at the aperture of this shot" in html
    assert "From: the widest aperture" not in html
    assert "on a screen" not in html


def test_rows_say_what_the_report_says() -> None:
    frame = report(numbered([mark(9.003, 20.997, 60.0), mark(30.0, 3.0, 8.0)]))
    html = page_html(frame)
    assert row_of(html, 1) == ["1", "speck, 60 µm", "9.0", "21.0", "97 %", "f/3.2", "yes"]
    assert row_of(html, 2) == ["2", "speck, 8 µm", "30.0", "3.0", "1.8 %", "f/25", "no"]
    assert '<tr id="f1-m1" tabindex="-1" class="shows">' in html
    assert '<tr id="f1-m2" tabindex="-1">' in html


def test_places_follow_the_hold_and_place_words_do_not_mislead() -> None:
    frame = report(numbered([mark(9.003, 20.997, 60.0)]))
    html = page_html(frame, hold=find_hold("upside-down"))
    assert row_of(html, 1)[2:4] == ["27.0", "3.0"]
    assert "upper left" in page_html(frame)
    assert "upper left" not in html


def test_the_forecast_counts_by_aperture() -> None:
    frame = report(numbered([mark(9, 9, 60.0), mark(20, 9, 20.0), mark(30, 9, 8.0)]))
    html = page_html(frame, work=WorkSettings(shoot_at_f=7.1))
    rows = re.findall(r'<th scope="row">(f/[^<]+)</th><td>.*?<span>(\d+)</span>', html)
    # Ray model: 60 um reach 2 % at f/3.1, 20 um at f/9.2, 8 um at f/23.
    assert rows == [
        ("f/2.8", "0"), ("f/4", "1"), ("f/5.6", "1"), ("f/7.1 (yours)", "1"), ("f/8", "1"),
        ("f/11", "2"), ("f/16", "2"), ("f/22", "2"),
    ]  # fmt: skip


def test_cautions_come_with_every_method_and_only_then() -> None:
    assert "Before you clean" in PAGES["a dozen with strip"]
    assert "Before you clean" not in PAGES["clean"]
    for html in PAGES.values():
        assert "authorised service come before" in html


def test_checks_with_something_to_say_come_first() -> None:
    checks = re.findall(r"<tr><th scope=\"row\">([^<]+)</th><td>([^<]+)", PAGES["one mark"])
    assert checks[:2] == [("uneven light", "mind"), ("aperture", "good")]


def test_a_folder_has_one_row_a_frame_that_leads_to_it() -> None:
    html = PAGES["folder"]
    links = re.findall(r'<th scope="row"><span class=names><a href="(#f\d)">', html)
    assert links == ["#f1", "#f2", "#f3", "#f4"]
    assert html.count('<article class="frame"') == 4
    assert "1 ready, 1 to clean, 1 to shoot again, 1 not read" in html
    assert "The file is cut off." in html
    assert "Copy it from the card again." in html


def test_a_comparison_tells_the_sequence_and_the_fate_of_each_mark() -> None:
    comparison = cleaned()
    html = PAGES["comparison"]
    assert comparison.story in html
    assert "Step 1 after blower" in html
    fates = re.findall(r'<tr><th scope="row">(gone|stayed|weaker|moved|new|undecided)</th>', html)
    assert len(fates) == len(comparison.changes[0].marks)
    assert html.count('<article class="frame"') == 2


def test_pages_are_the_same_every_time() -> None:
    assert page_html(dusty(60)) == page_html(dusty(60))
    assert comparison_html(cleaned()) == comparison_html(cleaned())


HOSTILE = "</title></style></svg>\"'><script>alert(1)</script><img src=x onerror=alert(1)>\x00\x1b[2J\u202e"


def hostile(frame: FrameReport) -> FrameReport:
    """Return a frame in which every text that can come from a file tries to be markup."""
    assert frame.image is not None
    return replace(
        frame,
        file=HOSTILE,
        camera=Camera(maker=HOSTILE, model=HOSTILE, serial=HOSTILE, lens=HOSTILE),
        exposure=replace(frame.exposure, taken_at=HOSTILE),
        spots=tuple(replace(spot, place=HOSTILE, reasons=(HOSTILE,)) for spot in frame.spots),
        shot_checks=(
            ShotCheck(name=HOSTILE, value=HOSTILE, wanted=HOSTILE, outcome="warn", advice=HOSTILE),
        ),
        verdict=Verdict(level="clean", method="blower", reasons=(HOSTILE,), cautions=(HOSTILE,)),
        notes=(HOSTILE,),
    )


def test_hostile_names_stay_text_everywhere() -> None:
    frame = hostile(dusty(12))
    broken = unreadable(HOSTILE)
    comparison = replace(cleaned(), states=(frame, frame), story=HOSTILE, notes=(HOSTILE,))
    for html in (
        page_html(frame, strip=cut_strip(frame, flat_for(frame))),
        index_html([frame, broken]),
        comparison_html(comparison),
    ):
        page = parsed(html)
        tags = {tag for tag, _ in page.tags}
        assert "script" not in tags
        assert not [name for _, attrs in page.tags for name in attrs if name.startswith("on")]
        text = "".join(page.text)
        assert "<script>alert(1)</script>" in text
        assert r"\x00\x1b[2J\u202e" in text
        assert not set(html) & {"\x00", "\x1b", "\u202e"}


def test_the_table_of_frames_names_the_aperture_each_is_counted_at() -> None:
    known = conclude(report(numbered([mark(9.003, 20.997, 60.0)])), WorkSettings())
    blind = tuple(replace(spot, depth_at=None, shows_from_f=None) for spot in known.spots)
    unknown = conclude(replace(known, spots=blind), WorkSettings())
    spoilt = replace(unknown, state="reshoot", verdict=Verdict(level="reshoot"))
    assert "Show at f/11<" in index_html([known, spoilt])
    assert "Show at the aperture of this shot<" in index_html([unknown, unknown, spoilt])
    both = index_html([known, unknown, spoilt])
    assert "Show at f/11 (* the aperture of this shot)<" in both
    cells = re.findall(r'<td class="n">([^<]*)</td></tr>', both[: both.index("</table>")])
    assert cells == ["1", "1*", "-"]


def test_a_state_that_is_not_judged_counts_nothing() -> None:
    before_after = cleaned()
    first = replace(before_after.states[0], state="reshoot", verdict=Verdict(level="reshoot"))
    html = comparison_html(replace(before_after, states=(first, *before_after.states[1:])))
    table = html[html.index("States in order of cleaning") :]
    cells = re.findall(r'<td class="n">([^<]*)</td>', table[: table.index("</table>")])
    assert cells[:2] == ["-", "-"]
    assert "-" not in cells[2:]
