"""The benchmark runs, on a raster small enough for every day."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks.grounds import MADE, ground
from tests.benchmarks.ranch import make_ranch
from tests.benchmarks.terrain_chain import TOOLS, as_table, run_one

ROOT = Path(__file__).resolve().parents[2]
#: The script itself compiles all kernels of pysheds, as that library does for everybody.
SCRIPT = """
import runpy, sys
from tests.pysheds_kernels import compile_when_called
compile_when_called()
sys.argv[0] = "tests/benchmarks/terrain_chain.py"
runpy.run_path(sys.argv[0], run_name="__main__")
"""
SIZE = 300


@pytest.fixture(scope="module")
def raster(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("ranch") / "ranch.npy"
    np.save(path, make_ranch(SIZE))
    return path


def test_the_ranch_needs_cuts_and_fills() -> None:
    from terrain.flow.conditioning import condition
    from terrain.values.raster import Raster

    z = make_ranch(SIZE)
    assert z.dtype == np.float32
    assert np.array_equal(z, make_ranch(SIZE))
    assert not np.array_equal(z, make_ranch(SIZE, seed=2))
    report = condition(Raster.from_array(z)).report
    assert report.carved > 100
    assert report.filled_cell.size >= 1


@pytest.mark.parametrize("tool", TOOLS)
def test_each_chain_runs_apart(tool: str, raster: Path) -> None:
    if tool != "gullywalk":
        pytest.importorskip(tool)
    command = [sys.executable, "-c", SCRIPT, "--one", tool, str(raster), str(raster)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    result = json.loads(done.stdout)
    assert result["tool"] == tool
    assert result["cells"] == SIZE**2
    assert result["lines"] > 3
    assert result["total_s"] > 0


def test_the_table_compares_with_ours_cell_by_cell(raster: Path) -> None:
    mine = {"ground": "ranch", "floor_s": 0.1, **run_one("gullywalk", raster, raster)}
    other = {**mine, "tool": "other", "cells": mine["cells"] // 2, "total_s": 3 * mine["total_s"]}
    slower = {**mine, "ground": "flat", "total_s": 2 * mine["total_s"]}
    head, rule, first, second, third, *_, last = as_table([mine, other, slower]).splitlines()
    assert head.count("|") == rule.count("|") == first.count("|") == second.count("|")
    assert "| 1.0 |" in first
    assert "| 6.0 |" in second
    assert "| 1.0 |" in third
    assert "2.0 times the fastest" in last


@pytest.mark.parametrize("name", MADE)
def test_each_ground_is_what_its_name_says(name: str) -> None:
    z = ground(name, SIZE)
    assert z.shape == (SIZE, SIZE)
    assert z.dtype == np.float32
    assert np.array_equal(z, ground(name, SIZE))
    assert np.isfinite(z).all()
