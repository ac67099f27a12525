import pytest

from commanding import Captured
from motemap.cli.main import main
from motemap.facts.guide import GuideSection, sections


def test_the_whole_guide(capsys: Captured) -> None:
    assert main(["guide"]) == 0
    stdout, stderr = capsys.readouterr()
    assert stderr == ""
    assert all(section.title in stdout for section in sections())
    assert max(map(len, stdout.splitlines())) <= 80
    assert stdout.isascii()


@pytest.mark.parametrize("section", sections(), ids=lambda section: section.key)
def test_one_section(section: GuideSection, capsys: Captured) -> None:
    assert main(["guide", section.key]) == 0
    assert capsys.readouterr().out.startswith(section.title)


def test_a_section_that_is_not_there(capsys: Captured) -> None:
    assert main(["guide", "polish"]) == 2
    assert "'polish'" in capsys.readouterr().err
