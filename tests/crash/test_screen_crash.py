"""The main command interrupted or killed in the middle of its work."""

from __future__ import annotations

import hashlib
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from cli.plan.safe_files import PART_PREFIX
from tests.cli.conftest import command as command
from tests.cli.conftest import write_dem as write_dem
from tests.example_plan import example_plan_file
from tests.processes import PATIENCE_S, running

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals are those of a POSIX system")

#: Runs the command in a process that stops at a named place, says so, and waits for the signal.
WAITING = """
import sys, time
import cli.main
{patch}
sys.argv = ["gullywalk", *sys.argv[1:]]
cli.main.main()
"""
PAUSE = """
def pause(*_, **__):
    print("ready", flush=True)
    time.sleep(600)
"""
#: In the middle of the analysis, and in the middle of writing the plan with layers already in it.
PLACES = {
    "analysis": PAUSE + "import siting.screening\nsiting.screening.reach_stations = pause\n",
    "writing": PAUSE + "import cli.plan.geopackage\ncli.plan.geopackage.write_extras = pause\n",
}


def snapshot(folder: Path) -> dict[str, str]:
    return {
        p.name: hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.iterdir())
        if not p.name.startswith(PART_PREFIX)
    }


def parts(folder: Path) -> list[Path]:
    return sorted(folder.glob(PART_PREFIX + "*"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with an old plan, an old list and an old map in it."""
    folder = tmp_path / "results"
    folder.mkdir()
    example_plan_file(folder / "plan.gpkg")
    (folder / "list.csv").write_text("old list\n")
    (folder / "map.png").write_bytes(b"old map")
    return folder


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_old_files_survive(
    write_dem: Callable, folder: Path, place: str, number: signal.Signals
) -> None:
    before = snapshot(folder)
    arguments = [
        *("screen", str(write_dem()), "--overwrite", "--edge-is-divide"),
        *("--out", str(folder / "plan.gpkg")),
        *("--list", str(folder / "list.csv"), "--map", str(folder / "map.png")),
    ]
    with running("-c", WAITING.format(patch=PLACES[place]), *arguments) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        if place == "writing":
            assert parts(folder)
        process.send_signal(number)
        _, err = process.communicate(timeout=PATIENCE_S)
    assert snapshot(folder) == before
    if number == signal.SIGKILL:
        assert process.returncode == -signal.SIGKILL
        return
    assert process.returncode == 130
    assert err.splitlines()[-1] == "gullywalk: stopped; old output files are as they were."
    assert "Traceback" not in err
    assert parts(folder) == []


def test_what_a_killed_run_left_is_swept_a_day_later(
    command: Callable, write_dem: Callable, folder: Path
) -> None:
    left = folder / f"{PART_PREFIX}0123abcd.gpkg"
    left.write_bytes(b"half a plan")
    yesterday = time.time() - 25 * 3600
    os.utime(left, (yesterday, yesterday))
    ended = command("screen", write_dem(), "--out", folder / "plan.gpkg", "--overwrite")
    assert ended.code == 0, ended.err
    assert not left.exists()
