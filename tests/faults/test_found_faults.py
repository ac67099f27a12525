"""Files that broke the program once: every one gets a proper answer."""

from pathlib import Path

import pytest

from faults.trial import FORMS, Trial

FIXTURES = sorted(
    path for path in (Path(__file__).parent / "fixtures").iterdir() if path.suffix != ".md"
)


@pytest.mark.parametrize("form", FORMS)
def test_found_faults_stay_mended(form: str) -> None:
    assert len(FIXTURES) >= 5
    complaints = []
    with Trial() as trial:
        for path in FIXTURES:
            answer = trial.judge(path, form)
            complaints += [f"{path.name}: {each}" for each in answer.complaints(form)]
    assert complaints == []


def test_every_fixture_is_explained() -> None:
    readme = (Path(__file__).parent / "fixtures" / "README.md").read_text(encoding="utf-8")
    assert [path.name for path in FIXTURES if f"`{path.name}`" not in readme] == []
