import click
import pytest
from click.testing import CliRunner

from motemap.cli import options
from motemap.cli.main import main
from motemap.pipeline.exit_codes import USAGE_CODE
from motemap.place import HOLDS
from motemap.settings import Settings


@click.command()
@options.paths
@options.work
@options.hold
@options.reporting
@options.jobs
@options.run
@click.pass_context
def probe(ctx: click.Context, /, **values: object) -> None:
    work = {
        key: values.pop(key)
        for key in ("shoot_at_f", "show_depth_frac", "view", "sensor", "stack_mm", "done")
    }
    settings = options.settings_from(**work)
    click.echo(repr((settings, values, options.console(ctx))))


def run(*args: str) -> tuple[int, str]:
    result = CliRunner().invoke(probe, args, catch_exceptions=False)
    return result.exit_code, result.output


def test_defaults_are_those_of_the_settings() -> None:
    code, said = run("trip")
    assert code == 0
    assert said.startswith(f"({Settings()!r}, ")
    assert "'paths': ('trip',)" in said
    assert "'output_format': 'text'" in said
    assert "'output': None" in said
    assert "'jobs': None" in said
    assert "'hold': 'upright'" in said


@pytest.mark.parametrize("written", ["8", "f/8", "F/8", "f8", " f8.0 ", "8,0"])
def test_apertures_as_people_write_them(written: str) -> None:
    assert "shoot_at_f=8.0" in run("trip", "--shoot-at", written)[1]


@pytest.mark.parametrize("written", ["", "wide", "0", "-8", "f/0.2", "100", "nan", "inf", "f//8"])
def test_apertures_no_lens_has(written: str) -> None:
    code, said = run("trip", "--shoot-at", written)
    assert code == 2
    assert "--shoot-at" in said


def test_a_list_of_apertures() -> None:
    assert options.f_numbers("5.6,8, f/11") == (5.6, 8.0, 11.0)
    with pytest.raises(click.BadParameter):
        options.f_numbers("5.6,,8")


@pytest.mark.parametrize(("written", "share"), [("2", 0.02), ("0.5%", 0.005), ("3 %", 0.03)])
def test_percentages(written: str, share: float) -> None:
    assert options.percentage(written) == pytest.approx(share)
    assert run("trip", "--show-depth", written)[0] == 0


@pytest.mark.parametrize("written", ["0", "100", "-1", "two", "nan"])
def test_percentages_that_are_none(written: str) -> None:
    code, said = run("trip", "--show-depth", written)
    assert code == 2
    assert "--show-depth" in said


def test_methods_already_tried() -> None:
    assert (
        "done=('blower', 'wet swab', 'wet swab')" in run("t", "--done", "Blower,wet-swab,swab")[1]
    )
    code, said = run("trip", "--done", "sandpaper")
    assert code == 2
    assert "sandpaper" in said


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ("screen", "screen at 100 %"),
        ("print:60x40cm@80cm", "print 60 x 40 cm at 80 cm"),
        ("print 60x40cm at 80cm", "print 60 x 40 cm at 80 cm"),
    ],
)
def test_ways_of_looking_at_a_picture(written: str, name: str) -> None:
    assert f"view='{name}'" in run("trip", "--view", written)[1]


def test_a_way_of_looking_that_is_none() -> None:
    code, said = run("trip", "--view", "wall")
    assert code == 2
    assert "--view" in said


@pytest.mark.parametrize("written", ["36x24", "full frame"])
def test_sensors_that_are_known(written: str) -> None:
    assert f"sensor='{written}'" in run("trip", "--sensor", written)[1]


def test_a_sensor_nobody_knows() -> None:
    code, said = run("trip", "--sensor", "enormous")
    assert code == 2
    assert "enormous" in said


@pytest.mark.parametrize("written", ["0", "-1", "99", "thin"])
def test_a_stack_that_cannot_be_is_wrong_usage(
    written: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "trip", "--stack-mm", written]) == USAGE_CODE
    said = capsys.readouterr().err
    assert "stack" in said
    assert written in said


@pytest.mark.parametrize("hold", [hold.name for hold in HOLDS])
def test_every_way_of_holding_is_taken_and_named_in_the_help(hold: str) -> None:
    assert f"'hold': '{hold}'" in run("trip", "--hold", hold)[1]
    assert hold in "".join(run("--help")[1].split())  # lines may end at a hyphen


def test_a_way_of_holding_nobody_knows() -> None:
    code, said = run("trip", "--hold", "sideways")
    assert code == 2
    assert "sideways" in said


@pytest.mark.parametrize("args", [("--jobs", "0"), ("--jobs", "many"), ("--format", "xml"), ()])
def test_other_wrong_usage(args: tuple[str, ...]) -> None:
    paths = ("trip",) if args else ()
    assert run(*paths, *args)[0] == 2


def test_an_unset_variable_is_not_the_current_folder() -> None:
    code, said = run("")
    assert code == 2
    assert "empty path" in said


def test_how_much_is_said() -> None:
    assert "is_quiet=True" in run("trip", "-q")[1]
    assert "n_verbose=2" in run("trip", "-vv")[1]
    assert "is_debug=True" in run("trip", "--debug")[1]


def test_a_minus_and_a_file_of_that_name_stay_apart() -> None:
    assert "'paths': ('-', './-')" in run("-", "./-")[1]
