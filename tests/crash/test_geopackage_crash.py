"""A plan is written whole or not at all, whatever happens while it is written."""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import signal
import sqlite3
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from cli.file_errors import OutputError
from cli.plan import geopackage
from cli.plan.fields import LAYERS
from cli.plan.geopackage import check_target, write_geopackage
from cli.plan.relief_layer import relief_picture
from cli.plan.safe_files import PART_PREFIX
from tests.cli.conftest import small_files
from tests.example_plan import (
    example_layers,
    example_plan_file,
    example_raster,
    example_tables,
)
from tests.processes import PATIENCE_S, running
from tests.reading import read_layers

# Writes a plan of very many headcuts over an existing one, so that there is time to hit it.
_LONG_WRITE = """
import sys
import numpy as np
import shapely
from cli.plan.geopackage import write_geopackage
from cli.plan.layers import Layer
from tests.example_plan import UTM, texts

n = 150_000
columns = {name: np.ones(n) for name in (
    "station_m", "headcut_height_m", "face_slope", "drainage_area_ha", "confidence")}
columns |= {"headcut_id": np.arange(1, n + 1), "channel_id": np.ones(n, dtype=int)}
columns["evidence"] = texts(*["deeper below than above"] * n)
layer = Layer("headcuts", shapely.points(np.arange(n), np.arange(n)), columns, UTM)
print("ready", flush=True)
write_geopackage(sys.argv[1], [layer], overwrite=True)
print("written", flush=True)
"""


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    return example_plan_file(tmp_path / "plan.gpkg")


def sha(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def others(plan: Path) -> list[str]:
    return sorted(p.name for p in plan.parent.iterdir() if p != plan)


def rewrite(plan: Path) -> None:
    write_geopackage(plan, list(example_layers().values()), overwrite=True, units="us")


@contextlib.contextmanager
def long_write(plan: Path, *, least_bytes: int) -> Iterator[subprocess.Popen[str]]:
    """Start a long write in a process of its own and wait until it is well under way."""
    with running("-c", _LONG_WRITE, str(plan)) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        until = time.monotonic() + PATIENCE_S
        while max(sizes(plan), default=0) < least_bytes:
            assert process.poll() is None, process.communicate()[1]
            assert time.monotonic() < until, "it does not write"
            time.sleep(0.002)
        yield process


def sizes(plan: Path) -> list[int]:
    """Sizes of the plans that are being written beside a plan."""
    found = []
    for part in plan.parent.glob(f"{PART_PREFIX}*.gpkg"):
        with contextlib.suppress(FileNotFoundError):  # it was moved to its place just now
            found.append(part.stat().st_size)
    return found


@pytest.mark.parametrize("least_bytes", [4096, 100_000, 2_000_000, 12_000_000])
def test_killed_while_writing(plan: Path, least_bytes: int) -> None:
    before = sha(plan)
    with long_write(plan, least_bytes=least_bytes) as process:
        process.kill()
        out, _ = process.communicate()
    assert process.returncode == -signal.SIGKILL
    assert "written" not in out
    assert sha(plan) == before
    assert len(read_layers(plan)) == len(LAYERS)
    left = others(plan)
    assert left
    assert all(name.startswith(PART_PREFIX) for name in left)
    # A day later the next run takes the leftovers away, and works.
    for name in left:
        os.utime(plan.with_name(name), (0, 0))
    rewrite(plan)
    assert others(plan) == []


def test_interrupted_while_writing(plan: Path) -> None:
    before = sha(plan)
    with long_write(plan, least_bytes=2_000_000) as process:
        process.send_signal(signal.SIGINT)
        out, err = process.communicate()
    assert process.returncode != 0
    assert "KeyboardInterrupt" in err
    assert "written" not in out
    assert sha(plan) == before
    assert others(plan) == []


def test_the_long_write_does_replace_the_plan_when_left_alone(plan: Path) -> None:
    before = sha(plan)
    with long_write(plan, least_bytes=4096) as process:
        out, err = process.communicate()
    assert (process.returncode, out) == (0, "written\n"), err
    assert sha(plan) != before
    assert read_layers(plan)["headcuts"].rows == 150_000
    assert others(plan) == []


@pytest.mark.parametrize("relief", ["without relief", "with relief"])
@pytest.mark.parametrize("limit_bytes", [2_000, 30_000, 60_000, 100_000, 200_000])
def test_no_room_while_writing(plan: Path, limit_bytes: int, relief: str) -> None:
    before = sha(plan)
    layers = list(example_layers().values())
    picture = relief_picture(example_raster(), {}) if relief == "with relief" else None
    full = pytest.raises(OutputError, match=r"^the disk is full while writing plan\.gpkg")
    with full as e, small_files(limit_bytes):
        write_geopackage(plan, layers, relief=picture, overwrite=True)
    assert "\n" not in str(e.value)
    assert sha(plan) == before
    assert others(plan) == []


@contextlib.contextmanager
def small_disk(folder: Path, options: str) -> Iterator[None]:
    mount, umount = shutil.which("mount"), shutil.which("umount")
    if mount is None or umount is None:
        pytest.skip("mounting a small disk needs the mount command")
    command = [mount, "-t", "tmpfs", "-o", options, "tmpfs", str(folder)]
    if subprocess.run(command, capture_output=True, check=False).returncode != 0:
        pytest.skip("mounting a small disk is not permitted here")
    try:
        yield
    finally:
        subprocess.run([umount, str(folder)], check=True)


@pytest.mark.parametrize("kilobytes", [400, 420, 500])
def test_full_disk(tmp_path: Path, kilobytes: int) -> None:
    folder = tmp_path / "disk"
    folder.mkdir()
    with small_disk(folder, f"size={kilobytes}k"):
        # The old plan takes most of the disk.
        plan = write_geopackage(folder / "plan.gpkg", [example_layers()["sites"]])
        before = sha(plan)
        with pytest.raises(OutputError, match=r"the disk is full while writing plan\.gpkg") as e:
            rewrite(plan)
        assert "\n" not in str(e.value)
        assert sha(plan) == before
        assert others(plan) == []
        (folder / "filler").write_bytes(b"")
        with contextlib.suppress(OSError), open(folder / "filler", "wb") as file:
            while True:
                file.write(b"\0" * 1024)
                file.flush()
        with pytest.raises(OutputError, match="the disk is full"):
            check_target(plan, overwrite=True)
        assert others(plan) == ["filler"]


def test_read_only_disk(tmp_path: Path) -> None:
    folder = tmp_path / "disk"
    folder.mkdir()
    with small_disk(folder, "ro"), pytest.raises(OutputError, match="cannot be written to"):
        check_target(folder / "plan.gpkg")


@pytest.mark.parametrize("lock", ["BEGIN IMMEDIATE", "BEGIN EXCLUSIVE", "read"])
def test_held_by_another_program(plan: Path, lock: str) -> None:
    before = sha(plan)
    with contextlib.closing(sqlite3.connect(plan, isolation_level=None)) as db:
        if lock == "read":
            db.execute("BEGIN")
            db.execute("SELECT * FROM sites").fetchone()
        else:
            db.execute(lock)
        with pytest.raises(OutputError, match=r"plan\.gpkg is open in another program\. Close it"):
            rewrite(plan)
        db.execute("ROLLBACK")
    assert sha(plan) == before
    assert others(plan) == []
    rewrite(plan)


def test_held_in_write_ahead_mode(plan: Path) -> None:
    with contextlib.closing(sqlite3.connect(plan, isolation_level=None)) as db:
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("CREATE TABLE mine (x)")
        assert plan.with_name("plan.gpkg-wal").exists()
        with pytest.raises(OutputError, match=r"plan\.gpkg-wal lies beside .*has the plan open"):
            rewrite(plan)
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert db.execute("SELECT count(*) FROM sites").fetchone() == (6,)
    # Once closed, the log is gone and the plan may be replaced.
    rewrite(plan)
    with contextlib.closing(sqlite3.connect(plan)) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


@pytest.mark.parametrize("ending", ["-wal", "-journal"])
def test_a_leftover_log_is_respected_even_without_a_plan(tmp_path: Path, ending: str) -> None:
    log = tmp_path / f"plan.gpkg{ending}"
    log.write_bytes(b"left by a crash")
    with pytest.raises(OutputError, match=f"plan.gpkg{ending} lies beside"):
        check_target(tmp_path / "plan.gpkg")
    assert log.read_bytes() == b"left by a crash"


def test_opened_by_another_program_while_we_write(
    plan: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = sha(plan)
    real = geopackage.write_extras  # type: ignore[attr-defined]
    with contextlib.closing(sqlite3.connect(plan, isolation_level=None)) as db:

        def extras_and_a_lock(*args: object, **options: object) -> None:
            real(*args, **options)  # type: ignore[arg-type]
            db.execute("BEGIN IMMEDIATE")

        monkeypatch.setattr(geopackage, "write_extras", extras_and_a_lock)
        with pytest.raises(OutputError, match="open in another program"):
            rewrite(plan)
        db.execute("ROLLBACK")
    assert sha(plan) == before
    assert others(plan) == []


@pytest.mark.parametrize("failing", range(1, 9))
def test_a_layer_that_fails(plan: Path, monkeypatch: pytest.MonkeyPatch, failing: int) -> None:
    before = sha(plan)
    real, count = geopackage.pyogrio.raw.write, 0  # type: ignore[attr-defined]

    def write(path: str, geometry: object, data: list, fields: list, **options: Any) -> None:
        nonlocal count
        count += 1
        if count == failing:
            # Two fields that differ in case only: refused by the library once the layer exists.
            if len(fields) == 1:
                data, options["field_mask"] = data * 2, options["field_mask"] * 2
            fields = [fields[0], fields[0].upper(), *fields[2:]]
        real(path, geometry, data, fields, **options)

    monkeypatch.setattr(geopackage.pyogrio.raw, "write", write)  # type: ignore[attr-defined]
    with pytest.raises(OutputError, match=r"plan\.gpkg could not be written"):
        rewrite(plan)
    assert sha(plan) == before
    assert others(plan) == []


def test_a_plan_that_appears_meanwhile_is_not_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = tmp_path / "plan.gpkg"
    real = geopackage.write_extras  # type: ignore[attr-defined]
    ready = write_geopackage(tmp_path / "ready.gpkg", [example_layers()["sites"]])

    def extras_and_a_rival(*args: object, **options: object) -> None:
        real(*args, **options)  # type: ignore[arg-type]
        shutil.copyfile(ready, plan)

    monkeypatch.setattr(geopackage, "write_extras", extras_and_a_rival)
    with pytest.raises(OutputError, match="exists already"):
        write_geopackage(plan, list(example_layers().values()))
    assert sha(plan) == sha(ready)


def test_features_that_go_missing_are_noticed(plan: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = sha(plan)
    real = geopackage.write_extras  # type: ignore[attr-defined]

    def extras_and_a_loss(db: sqlite3.Connection, *args: object, **options: object) -> None:
        real(db, *args, **options)  # type: ignore[arg-type]
        db.execute("DELETE FROM run_info WHERE rowid = 1")

    monkeypatch.setattr(geopackage, "write_extras", extras_and_a_loss)
    with pytest.raises(OutputError, match="2 of 3 features of run_info were written"):
        write_geopackage(
            plan, list(example_layers().values()), tables=example_tables(), overwrite=True
        )
    assert sha(plan) == before
