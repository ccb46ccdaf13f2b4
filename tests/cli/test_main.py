from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import click
import pytest

import cli.main
from cli.main import gullywalk, run
from cli.options import read_channel_area
from cli.progress_bar import Talk, kernels_are_cold
from terrain.values.errors import GullywalkError
from tests.processes import PATIENCE_S, REPOSITORY, running

COMMANDS = ("screen", "inspect", "step")


def test_help_names_every_command_and_the_exit_codes(command: Callable) -> None:
    ended = command("--help")
    assert ended.code == 0
    assert all(name in ended.out for name in COMMANDS)
    assert "1 when it could not" in " ".join(ended.out.split())
    assert ended.err == ""


@pytest.mark.parametrize("name", COMMANDS)
def test_help_of_every_command_fits_100_columns(command: Callable, name: str) -> None:
    ended = command(name, "--help")
    assert ended.code == 0
    assert max(len(line) for line in ended.out.splitlines()) <= 100
    assert "!" not in ended.out


def test_without_a_command_the_help_is_shown_as_a_usage_error(command: Callable) -> None:
    ended = command()
    assert ended.code == 2
    assert "screen" in ended.out


def test_version(command: Callable) -> None:
    ended = command("--version")
    assert (ended.code, ended.out) == (0, f"gullywalk {cli.main._version()}\n")


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["dig"], "no such command 'dig'. See 'gullywalk --help'."),
        (["screen"], "missing argument 'DEM...'"),
        (["screen", "dem.tif"], "missing option '--out'"),
        (["screen", "dem.tif", "--out", "p.gpkg", "--units", "metric"], "'metric' is not one of"),
        (["screen", "dem.tif", "--out", "p.gpkg", "--storm-type", "IV"], "'IV' is not one of"),
        (["screen", "dem.tif", "--out", "p.gpkg", "--top", "few"], "'few' is not a valid integer"),
        (["screen", "dem.tif", "--out", "p.gpkg", "--carve-depth", "-1"], "-1.0 is not in the"),
        (["screen", "dem.tif", "--out", "p.gpkg", "--channel-area", "big"], "such as 0.5ha"),
        (["screen", "dem.tif", "--out", "p.gpkg", "--crs", "EPSG:no"], "--crs"),
        (["screen", "dem.tif", "--out", "p.gpkg", "--vertical-unit", "in"], "'in' is not one of"),
        (["screen", "dem.tif", "--out", "p.gpkg", "--nosuch"], "--nosuch"),
        (["inspect"], "missing argument 'DEM...'"),
        (["step", "dig"], "no such command 'dig'. See 'gullywalk step --help'."),
    ],
)
def test_usage_errors_are_one_line_with_code_2(
    command: Callable, arguments: list[str], part: str
) -> None:
    ended = command(*arguments)
    assert ended.code == 2
    assert ended.out == ""
    assert ended.line.startswith("gullywalk: ")
    assert part in ended.line


def _failing(error: BaseException) -> click.Command:
    @click.command()
    def fail() -> None:
        raise error

    return fail


@pytest.fixture
def raising(monkeypatch: pytest.MonkeyPatch) -> Callable[[BaseException], None]:
    """Let the command ``screen`` raise something."""

    def use(error: BaseException) -> None:
        monkeypatch.setattr(type(gullywalk), "get_command", lambda *_: _failing(error))

    return use


@pytest.mark.parametrize(
    ("error", "code", "part"),
    [
        (GullywalkError("a thing", expected="another", do="try again"), 1, "a thing; expected"),
        (RuntimeError("the roof\nfell"), 1, "an unexpected fault (RuntimeError: the roof fell)"),
        (MemoryError(), 1, "ran out of memory"),
        (KeyboardInterrupt(), 130, "stopped"),
    ],
)
def test_every_failure_is_one_line(
    command: Callable, raising: Callable, error: BaseException, code: int, part: str
) -> None:
    raising(error)
    ended = command("screen")
    assert ended.code == code
    assert part in ended.line
    assert ended.out == ""


def test_an_unexpected_fault_says_how_to_see_the_traceback(
    command: Callable, raising: Callable
) -> None:
    raising(ZeroDivisionError("x"))
    assert "-v" in command("screen").line


def test_verbose_shows_the_traceback(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert run(["inspect", str(tmp_path / "nothing.tif"), "-v"]) == 1
    err = capsys.readouterr().err
    assert "Traceback" in err
    assert err.splitlines()[-1].startswith("gullywalk: no file ")


def test_a_reader_that_goes_away_is_no_fault() -> None:
    """`gullywalk --help | true` must not end in a traceback."""
    code = "import time, cli.main; time.sleep(0.5); raise SystemExit(cli.main.run(['--help']))"
    reading, writing = os.pipe()
    os.close(reading)
    ended = subprocess.run(
        [sys.executable, "-c", code],
        stdout=writing,
        stderr=subprocess.PIPE,
        cwd=REPOSITORY,
        text=True,
        check=False,
    )
    os.close(writing)
    assert ended.stderr == ""


@pytest.mark.skipif(os.name != "posix", reason="signals are those of a POSIX system")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_signals_end_with_130_and_one_line(number: signal.Signals) -> None:
    code = (
        "import sys, time, click, cli.main\n"
        "@click.command()\n"
        "def wait():\n"
        "    print('ready', flush=True)\n"
        "    time.sleep(600)\n"
        "type(cli.main.gullywalk).get_command = lambda *_: wait\n"
        "sys.argv = ['gullywalk', 'screen']\n"
        "cli.main.main()\n"
    )
    with running("-c", code) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        process.send_signal(number)
        _, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 130
    assert err == "gullywalk: stopped; old output files are as they were.\n"


@pytest.mark.parametrize(
    ("text", "hectares"),
    [
        ("0.5ha", 0.5),
        ("0.5", 0.5),
        (" 1.2 ac ", 1.2 * 0.40468564224),
        ("2acres", 2 * 0.40468564224),
        ("3000m2", 0.3),
        ("0.01km2", 1.0),
        ("auto", "auto"),
    ],
)
def test_channel_area_takes_its_unit(text: str, hectares: object) -> None:
    assert read_channel_area(text) == pytest.approx(hectares)


@pytest.mark.parametrize("text", ["", "ha", "-1ha", "0ha", "1 mile", "nan", "1e3ha", "one"])
def test_channel_areas_that_are_none(text: str) -> None:
    with pytest.raises(click.BadParameter, match="is not an area"):
        read_channel_area(text)


def test_quiet_says_nothing_and_verbose_says_all(capsys: pytest.CaptureFixture[str]) -> None:
    for verbosity, lines in ((-1, 0), (0, 1), (1, 2)):
        talk = Talk(verbosity)
        talk.say("one")
        talk.detail("two")
        assert len(capsys.readouterr().err.splitlines()) == lines


def test_progress_is_silent_where_no_one_watches(capsys: pytest.CaptureFixture[str]) -> None:
    with Talk().progress() as progress:
        progress("digging", 0.5)
    assert capsys.readouterr().err == ""
    with Talk(1).progress() as progress:
        progress("digging", 0.5)
        progress("digging", 1.0)
    assert capsys.readouterr().err.count("digging") == 1


def test_a_cold_cache_is_noticed(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("NUMBA_DISABLE_JIT", raising=False)
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))
    assert kernels_are_cold()
    for name in ("directions.steepest_codes", "carve.search_pits", "accumulate.accumulate_band"):
        assert kernels_are_cold()
        index = tmp_path / f"{name}-1.py311.nbi"
        index.touch()
    assert not kernels_are_cold()
    long_ago = time.time() - 10 * 365 * 24 * 3600
    os.utime(index, (long_ago, long_ago))
    assert kernels_are_cold()
    monkeypatch.setenv("NUMBA_DISABLE_JIT", "1")
    assert not kernels_are_cold()
