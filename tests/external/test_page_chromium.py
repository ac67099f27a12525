"""The report page in a browser: Debian's package ``chromium``, headless.

The browser is the outside authority here: it says whether the page runs without an error and
without a request, whether it fits the window, and what a click or the tab key shows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from motemap.place import HOLDS
from motemap.report.page.pages import comparison_html, index_html, page_html
from motemap.report.pictures.sensor_map import sensor_map_svg
from motemap.report.pictures.strip import cut_strip
from picturing.bench import cleaned, dusty, spoiled, turned, unreadable
from picturing.chromium import Chromium, Tab
from picturing.flat import flat_for

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytestmark = [pytest.mark.external, pytest.mark.slow]

PHONE_PX, DESK_PX = 390, 1280
LONG_NAME = "a/" + "very-long-folder-name-without-any-blank-in-it/" * 4 + "MOTE0001.DNG"


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chromium]:
    with Chromium(tmp_path_factory.mktemp("profile")) as running:
        yield running


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    frame = dusty(60)
    contents = {
        "frame": page_html(frame, strip=cut_strip(frame, flat_for(frame))),
        "filthy": page_html(dusty(700)),
        "clean": page_html(dusty(0)),
        "turned": page_html(turned(dusty(12, file=LONG_NAME))),
        "tall": page_html(dusty(12), hold=HOLDS[4]),
        "folder": index_html([dusty(12, file=LONG_NAME), unreadable(), spoiled(dusty(3))]),
        "comparison": comparison_html(cleaned()),
    }
    folder = tmp_path_factory.mktemp("pages")
    paths = {}
    for name, content in contents.items():
        paths[name] = folder / f"{name}.html"
        paths[name].write_text(content, encoding="utf-8")
    return paths


NAMES = ["frame", "filthy", "clean", "turned", "tall", "folder", "comparison"]


def of_kind(events: list[dict[str, Any]], *methods: str) -> list[dict[str, Any]]:
    return [event for event in events if event["method"] in methods]


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("width_px", [PHONE_PX, DESK_PX])
def test_it_fits_the_window_without_an_error_or_a_request(
    browser: Chromium, pages: dict[str, Path], name: str, width_px: int
) -> None:
    tab = browser.open(pages[name], width_px=width_px)
    inner, whole = tab.value_of("[innerWidth, document.scrollingElement.scrollWidth]")
    assert inner == width_px
    assert whole <= width_px
    too_wide = tab.value_of(
        "[...document.querySelectorAll('body *')]"
        ".filter(e => !e.closest('svg') && !e.classList.contains('skip')"
        " && e.getBoundingClientRect().right > innerWidth + 1"
        " && !e.parentElement.closest('.wide')).map(e => e.outerHTML.slice(0, 80))"
    )
    assert too_wide == []
    requests = [
        event["params"]["request"]["url"]
        for event in of_kind(browser.events, "Network.requestWillBeSent")
    ]
    assert [url for url in requests if not url.startswith("data:")] == [pages[name].as_uri()]
    troubles = of_kind(
        browser.events, "Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded"
    )
    assert troubles == []


def test_scripts_in_a_page_would_not_run(browser: Chromium, tmp_path: Path) -> None:
    # The second line of defence: were a name not escaped, the page's own policy stops it.
    hostile = page_html(dusty(1)).replace("</main>", "<script>document.title='run'</script></main>")
    path = tmp_path / "hostile.html"
    path.write_text(hostile, encoding="utf-8")
    tab = browser.open(path)
    assert tab.value_of("document.title") != "run"


def row_state(tab: Tab, number: int) -> dict[str, Any]:
    state: dict[str, Any] = tab.value_of(
        f"(() => {{ const row = document.getElementById('f1-m{number}');"
        " const box = row.getBoundingClientRect();"
        " return { position: getComputedStyle(row).position,"
        " isSeen: box.top >= 0 && box.bottom <= innerHeight + 1 && box.height > 0,"
        " ground: getComputedStyle(row.firstElementChild).backgroundColor,"
        " text: row.innerText.replace(/\\s+/g, ' ') }; })()"
    )
    return state


def test_a_mark_that_is_clicked_shows_its_row(browser: Chromium, pages: dict[str, Path]) -> None:
    tab = browser.open(pages["frame"], width_px=DESK_PX)
    ground = row_state(tab, 3)["ground"]
    assert not row_state(tab, 3)["isSeen"]
    tab.click("#f1-k3")
    assert tab.value_of("location.hash") == "#f1-m3"
    state = row_state(tab, 3)
    assert state["isSeen"]
    assert state["ground"] != ground
    assert state["ground"] != row_state(tab, 4)["ground"]


def test_a_small_mark_without_a_number_can_be_clicked_too(
    browser: Chromium, pages: dict[str, Path]
) -> None:
    # Its row is folded away: following the link must unfold it.
    tab = browser.open(pages["frame"], width_px=DESK_PX)
    number = tab.value_of("document.querySelector('details tr[id]').id.slice(4)")
    tab.click(f"#f1-k{number}")
    assert tab.value_of("document.querySelector('details').open")
    assert row_state(tab, int(number))["isSeen"]


def test_a_mark_with_the_keyboards_focus_shows_its_row(
    browser: Chromium, pages: dict[str, Path]
) -> None:
    tab = browser.open(pages["frame"], width_px=DESK_PX)
    tab.press("Tab")
    assert tab.value_of("document.activeElement.className") == "skip"
    tab.press("Tab")
    # In the order of the rows.
    first, second = tab.value_of(
        "[...document.querySelectorAll('tr[id]')].slice(0, 2).map(row => +row.id.slice(4))"
    )
    assert tab.value_of("document.activeElement.id") == f"f1-k{first}"
    state = row_state(tab, first)
    assert state["position"] == "fixed"
    assert state["isSeen"]
    assert state["text"].startswith(f"{first} ")
    tab.press("Tab")
    assert row_state(tab, first)["position"] != "fixed"
    assert row_state(tab, second)["position"] == "fixed"
    tab.press("Enter")
    gone_to = f"f1-m{second}"
    assert tab.value_of("[location.hash, document.activeElement.id]") == [f"#{gone_to}", gone_to]
    assert row_state(tab, second)["position"] != "fixed"
    assert row_state(tab, second)["isSeen"]


def test_the_way_back_leads_from_the_row_to_the_mark(
    browser: Chromium, pages: dict[str, Path]
) -> None:
    tab = browser.open(pages["frame"], width_px=DESK_PX)
    tab.click("#f1-m5 a")
    assert tab.value_of("location.hash") == "#f1-k5"
    top, bottom = tab.value_of(
        "(() => { const b = document.getElementById('f1-k5').getBoundingClientRect();"
        " return [b.top, b.bottom]; })()"
    )
    assert top < 900
    assert bottom > 0


@pytest.mark.parametrize("width_px", [PHONE_PX, DESK_PX])
def test_marks_are_drawn_where_they_lie_on_the_sensor(
    browser: Chromium, pages: dict[str, Path], width_px: int
) -> None:
    tab = browser.open(pages["frame"], width_px=width_px)
    plate = tab.value_of(
        "(() => { const b = document.querySelector('figure.map > svg > rect')"
        ".getBoundingClientRect(); return [b.left, b.top, b.width, b.height]; })()"
    )
    assert plate[2] / plate[3] == pytest.approx(36 / 24, rel=1e-3)
    for spot in dusty(60).spots:
        if spot.kind != "speck" or spot.layer != "filter stack":
            continue
        box = tab.value_of(
            f"(() => {{ const b = document.querySelector('#f1-k{spot.id} > circle')"
            ".getBoundingClientRect(); return [b.left, b.top, b.width, b.height]; })()"
        )
        assert spot.from_left_mm is not None
        assert spot.from_top_mm is not None
        drawn_mm = (
            (box[0] + box[2] / 2 - plate[0]) / plate[2] * 36,
            (box[1] + box[3] / 2 - plate[1]) / plate[3] * 24,
        )
        # A tenth of a pixel on a phone is 0.01 mm on the sensor.
        assert drawn_mm == pytest.approx((spot.from_left_mm, spot.from_top_mm), abs=0.02)


READABILITY = """
(() => {
  const share = text => { const [r, g, b, a] = text.match(/[\\d.]+/g).map(Number);
    return { light: [r, g, b].map(c => c / 255).map(c => c <= 0.04045 ? c / 12.92
      : ((c + 0.055) / 1.055) ** 2.4).reduce((sum, c, i) => sum + c * [.2126, .7152, .0722][i], 0),
      alpha: a === undefined ? 1 : a }; };
  const groundOf = element => { for (let at = element; at; at = at.parentElement) {
    const ground = share(getComputedStyle(at).backgroundColor);
    if (ground.alpha > 0) return ground.light; } return 1; };
  const poor = [];
  for (const element of document.querySelectorAll('body *')) {
    if (element.closest('svg') || !element.offsetParent) continue;
    const words = [...element.childNodes].filter(n => n.nodeType === 3 && n.textContent.trim());
    if (!words.length) continue;
    const text = share(getComputedStyle(element).color).light, ground = groundOf(element);
    const ratio = (Math.max(text, ground) + .05) / (Math.min(text, ground) + .05);
    if (ratio < 4.5) poor.push([element.outerHTML.slice(0, 60), ratio]);
  }
  return poor;
})()
"""


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("name", ["frame", "folder", "comparison"])
def test_all_text_can_be_read(
    browser: Chromium, pages: dict[str, Path], name: str, scheme: str
) -> None:
    tab = browser.open(pages[name], width_px=DESK_PX)
    tab.send(
        "Emulation.setEmulatedMedia",
        features=[{"name": "prefers-color-scheme", "value": scheme}],
    )
    ground = tab.value_of("getComputedStyle(document.body).backgroundColor")
    assert ground == ("rgb(255, 255, 255)" if scheme == "light" else "rgb(18, 23, 26)")
    assert tab.value_of(READABILITY) == []


@pytest.mark.parametrize(
    ("paper", "width_in", "height_in"), [("A4", 8.27, 11.69), ("Letter", 8.5, 11)]
)
def test_it_prints(
    browser: Chromium, pages: dict[str, Path], paper: str, width_in: float, height_in: float
) -> None:
    tab = browser.open(pages["frame"], width_px=DESK_PX)
    tab.send(
        "Emulation.setEmulatedMedia",
        media="print",
        features=[{"name": "prefers-color-scheme", "value": "dark"}],
    )
    # Paper is white whatever the room is like.
    assert tab.value_of("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    content = tab.printed(width_in, height_in)
    assert content.startswith(b"%PDF")
    n_sheets = content.count(b"/Type /Page\n")
    assert 2 <= n_sheets <= 8, paper


def test_the_map_file_opens_alone(browser: Chromium, tmp_path: Path) -> None:
    path = tmp_path / "map.svg"
    path.write_text(sensor_map_svg(dusty(60)), encoding="utf-8")
    browser.open(path, width_px=DESK_PX)
    assert of_kind(browser.events, "Runtime.exceptionThrown", "Log.entryAdded") == []
    requests = of_kind(browser.events, "Network.requestWillBeSent")
    assert [event["params"]["request"]["url"] for event in requests] == [path.as_uri()]
