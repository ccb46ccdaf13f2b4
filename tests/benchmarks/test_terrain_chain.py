"""The benchmark runs, on a raster small enough for every day."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

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


def test_the_table_compares_with_ours(raster: Path) -> None:
    mine = run_one("gullywalk", raster, raster)
    other = {**mine, "tool": "other", "total_s": 3 * mine["total_s"]}
    head, rule, first, second = as_table([mine, other]).splitlines()
    assert head.count("|") == rule.count("|") == first.count("|") == second.count("|")
    assert "| 1.0 |" in first
    assert "| 3.0 |" in second
