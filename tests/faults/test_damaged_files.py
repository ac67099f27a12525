"""Damage of every kind to every format: always an answer, in time, within memory.

The thousands are tried by ``hunt.py``; here are some of each, chosen the same every time.
"""

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from faults.hunt import spoilt
from faults.samples import SAMPLES, WHOLE_SAMPLES
from faults.trial import FORMS, Trial

N_EACH, N_WHOLE = 120, 24


@pytest.fixture(scope="module")
def trial() -> Iterator[Trial]:
    with Trial() as trial:
        yield trial


@pytest.mark.parametrize("name", [*SAMPLES, *WHOLE_SAMPLES])
def test_damage_gets_a_proper_answer(tmp_path: Path, trial: Trial, name: str) -> None:
    place = tmp_path / name
    {**SAMPLES, **WHOLE_SAMPLES}[name](place)
    assert trial.judge(place).code in {0, 4}  # whole, it is read
    n_wanted = N_WHOLE if name in WHOLE_SAMPLES else N_EACH
    tally: Counter[int | None] = Counter()
    complaints = []
    damage = spoilt(name, place.read_bytes(), n_wanted=n_wanted, seed=20)
    for number, each in enumerate(damage):
        place.write_bytes(each.content)
        form = FORMS[number % len(FORMS)]
        answer = trial.judge(place, form)
        tally[answer.code] += 1
        complaints += [f"{each.what}: {complaint}" for complaint in answer.complaints(form)]
    assert complaints == []
    assert tally.total() == n_wanted
    assert tally[1] > 0  # some of it is beyond reading


def test_a_trial_sees_what_it_is_there_for(tmp_path: Path) -> None:
    """The watch itself: a child that ends, or says nothing, is reported and replaced."""
    place = tmp_path / "grey.jpg"
    SAMPLES["grey.jpg"](place)
    with Trial(patience_s=0.001) as hasty:
        assert hasty.judge(place).complaints("json") == ["no answer in 0 s"]
    with Trial() as trial:
        assert trial.judge(place).code == 4
        assert trial.process is not None
        trial.process.kill()
        trial.process.wait()
        assert "brought down" in trial.judge(place).complaints("json")[0]
        assert trial.judge(place).code == 4
