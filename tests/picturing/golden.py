"""The golden pictures; ``python -m picturing.golden`` in ``tests`` draws them again.

Look at every one of them before you commit what has changed.
"""

from __future__ import annotations

from pathlib import Path

from motemap.place import find_hold
from motemap.report.pictures.comparison_map import comparison_map_svg
from motemap.report.pictures.history_plot import CoursePoint, history_plot_svg
from motemap.report.pictures.sensor_map import sensor_map_svg
from motemap.report.pictures.terminal_map import terminal_map
from picturing import bench

FOLDER = Path(__file__).resolve().parents[1] / "golden" / "pictures"

COURSE = (
    CoursePoint(taken_at="2030-11-20T10:00:00", n_showing=17, n_found=41),
    CoursePoint(taken_at="2030-11-20T10:20:00", n_showing=5, n_found=12, done=("blower",)),
    CoursePoint(taken_at="2031-05-04T10:20:30", n_showing=7, n_found=22),
)


def pictures() -> dict[str, str]:
    """Return every golden picture by the name of its file."""
    return {
        "map.svg": sensor_map_svg(bench.dusty(9)),
        "map-grip-up.svg": sensor_map_svg(bench.dusty(9), hold=find_hold("grip-up")),
        "map-of-stored-picture.svg": sensor_map_svg(bench.turned(bench.dusty(6))),
        "comparison.svg": comparison_map_svg(bench.cleaned(14, seed=9)),
        "course.svg": history_plot_svg(COURSE, body="Larkspur L-2", shoot_at_f=11.0),
        "terminal.txt": terminal_map(bench.dusty(60), 80, unicode_ok=True),
        "terminal-ascii.txt": terminal_map(bench.dusty(60), 60, unicode_ok=False),
    }


if __name__ == "__main__":
    for name, content in pictures().items():
        (FOLDER / name).write_text(content, encoding="utf-8")
