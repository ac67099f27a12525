"""The demo frames are those that the maker draws and the README lists."""

import importlib.util
import json
import re
import sys
from hashlib import sha256
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest
import rawpy

DEMO = Path(__file__).parents[3] / "demo_data"
LARGEST_BYTES = 10_000_000


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo", DEMO / "make_demo.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_demo"] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


def listed() -> dict[str, tuple[int, str]]:
    text = (DEMO / "README.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `(\S+)` \| (\d+) \| `([0-9a-f]{64})` \|$", text, re.MULTILINE)
    return {name: (int(n_bytes), digest) for name, n_bytes, digest in rows}


def test_every_file_has_its_sum_in_the_readme() -> None:
    found = {
        path.relative_to(DEMO).as_posix(): path.read_bytes()
        for part in ("frames", "truth")
        for path in (DEMO / part).rglob("*")
        if path.is_file()
    }
    assert listed() == {
        name: (len(content), sha256(content).hexdigest()) for name, content in found.items()
    }
    assert sum(map(len, found.values())) < LARGEST_BYTES


def test_every_shot_has_frame_and_truth(maker: ModuleType) -> None:
    names = {f"frames/{shot.path}" for shot in maker.shots()}
    names |= {f"truth/{Path(shot.path).with_suffix('.json').as_posix()}" for shot in maker.shots()}
    assert names == set(listed())


def test_drawing_again_gives_the_raw_frame(maker: ModuleType) -> None:
    shot = maker.clean_body()
    drawn = maker.draw(shot)
    with rawpy.imread(str(DEMO / "frames" / shot.path)) as raw:
        stored = raw.raw_image_visible.astype(int)
    # another processor may round a value the other way
    assert (np.abs(drawn.codes.astype(int) - stored) > 1).sum() == 0
    truth = json.loads((DEMO / "truth" / shot.path).with_suffix(".json").read_text("utf-8"))
    for mark, told in zip(drawn.marks, truth["marks"], strict=True):
        assert mark.image_x_px == told["image_x_px"]
        assert mark.depth_frac == pytest.approx(told["depth_frac"], rel=1e-4)


def test_story_of_the_dusty_body(maker: ModuleType) -> None:
    before, blown, wiped = (set(shot.marks) for shot in maker.dusty_body())
    assert len(before - blown) == 18  # 16 loose specks, a fibre and the flake where it lay first
    assert len(blown - before) == 2  # one moved, one new
    assert wiped < blown
    assert len([mark for mark in wiped if mark.layer == "filter stack"]) == 2
