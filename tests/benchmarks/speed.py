"""Measures how fast it is: whole processes from the shell, as ratios within one run.

Run by hand, from the repository's root, on a machine that does nothing else; the first takes
a minute, the last half an hour and 2 GB of disk::

    python tests/benchmarks/speed.py --size tiny
    python tests/benchmarks/speed.py --size small --parts "decoding,starting"
    python tests/benchmarks/speed.py --size full --page --json speed.json
    python tests/benchmarks/speed.py --page-from speed.json

It prints the page ``docs/explanation/speed.md``, and writes it when asked to.
"""

from __future__ import annotations

import argparse
import datetime as dt
import os
import platform
import sys
import tempfile
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from speed_parts import material, page
from speed_parts.parts import PARTS
from speed_parts.sizes import SIZES

from publishing import add_output_options, circumstances, publish, publish_again

PACKAGES = (
    "motemap",
    "numpy",
    "scipy",
    "rawpy",
    "pillow",
    "sep",
    "photutils",
    "scikit-image",
    "opencv-python-headless",
)


def main() -> None:
    """Do what the command line asks for."""
    chosen = parse(sys.argv[1:])
    if chosen.page_from:
        publish_again(chosen.page_from, page.write_page)
        return
    results = measure(chosen)
    print(page.page_of(results))
    publish(chosen, results, page.write_page)


def parse(words: list[str]) -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="Measure how fast it is.")
    add = parser.add_argument
    add("--size", choices=tuple(SIZES), default="tiny", help="of the frames and of the folders")
    add("--parts", default="", help=f"only these, parted by commas: {', '.join(PARTS)}")
    add_output_options(parser, page.PAGE)
    add(
        "--folder", type=Path, help="where files are drawn; the system's place for such if left out"
    )
    chosen = parser.parse_args(words)
    chosen.parts = tuple(part.strip() for part in chosen.parts.split(",") if part.strip())
    unknown = set(chosen.parts) - set(PARTS)
    if unknown:
        parser.error(f"there is no part called {', '.join(sorted(unknown))}")
    return chosen


def measure(chosen: argparse.Namespace) -> dict[str, Any]:
    """Run the parts that were asked for; a line about each on standard error."""
    results: dict[str, Any] = {"made": made(chosen)}
    with tempfile.TemporaryDirectory(dir=chosen.folder) as folder:
        for name in chosen.parts or PARTS:
            print(f"{dt.datetime.now(tz=dt.UTC):%H:%M:%S} {name}", file=sys.stderr, flush=True)
            place = Path(folder) / name
            place.mkdir()
            results[name] = PARTS[name](SIZES[chosen.size], place)
            material.clear(place)
    return results


def made(chosen: argparse.Namespace) -> dict[str, Any]:
    """Return how, when, where and with what the figures come about."""
    return {
        "command": command_of(chosen),
        "size": chosen.size,
        **circumstances(PACKAGES),
        "system": platform.system(),
        "processor": processor(),
        "n_cores": len(os.sched_getaffinity(0)),
        "load": os.getloadavg()[0],
    }


def command_of(chosen: argparse.Namespace) -> str:
    """Return the command that brings such figures again; where they go is left out."""
    words = ["python tests/benchmarks/speed.py", f"--size {chosen.size}"]
    if chosen.parts:
        words.append(f'--parts "{",".join(chosen.parts)}"')
    if chosen.page:
        words.append("--page")
    return " ".join(words)


def processor() -> str:
    """Return what the processor is called."""
    lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    names = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    return names[0] if names else platform.machine()


if __name__ == "__main__":
    main()
