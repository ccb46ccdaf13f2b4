"""Time the terrain chain side by side with pysheds and pyflwdir, each in a process of its own.

The chain is: condition, D8, drainage area, channel lines of at least 0.3 ha. Run from the top of
the checkout::

    python tests/benchmarks/terrain_chain.py --sizes 1000 2500 5000 --cold

Each tool gets the same raster from a file, runs once on a small one (reported; its compiled code
may come from a cache on disk), then on the big one. With ``--cold`` the small run is made once
more with an empty cache, as on a fresh machine. Memory is the peak of the
process above what it held after the warm-up, before the big raster was loaded: it counts the
raster itself.
"""

from __future__ import annotations

import argparse
import gc
import json
import os
import subprocess
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parents[2]
CHANNEL_AREA_HA = 0.3
WARM_UP_CELLS = 300
TOOLS = ("gullywalk", "pysheds", "pyflwdir")

Timings = dict[str, float]


class Stopwatch:
    """Seconds of each part of a chain."""

    def __init__(self) -> None:
        self.parts: Timings = {}
        self._last = time.perf_counter()

    def lap(self, name: str) -> None:
        now = time.perf_counter()
        self.parts[name] = now - self._last
        self._last = now


def gullywalk_chain(z: NDArray[np.float32]) -> tuple[Timings, int]:
    """Ours: carve, D8, exact counts, one line a reach."""
    from terrain.channels.network import channel_network
    from terrain.flow.conditioning import condition
    from terrain.values.raster import Raster

    raster = Raster.from_array(z)
    watch = Stopwatch()
    conditioned = condition(raster)
    watch.lap("condition and D8")
    counts = conditioned.flow.accumulate()
    watch.lap("drainage area")
    network = channel_network(conditioned.flow, counts, channel_area_ha=CHANNEL_AREA_HA)
    lines = network.lines()
    watch.lap("channel lines")
    return watch.parts, len(lines)


def pysheds_chain(z: NDArray[np.float32]) -> tuple[Timings, int]:
    """As in that library's own quick start: pits, depressions, flats, D8."""
    from affine import Affine
    from pysheds.grid import Grid
    from pysheds.sview import Raster, ViewFinder

    view = ViewFinder(
        affine=Affine(1, 0, 0, 0, -1, z.shape[0]), shape=z.shape, nodata=np.float64(-9999)
    )
    dem = Raster(z.astype(np.float64), viewfinder=view)
    grid = Grid(viewfinder=view)
    watch = Stopwatch()
    dem = grid.resolve_flats(grid.fill_depressions(grid.fill_pits(dem)))
    fdir = grid.flowdir(dem)
    watch.lap("condition and D8")
    counts = grid.accumulation(fdir)
    watch.lap("drainage area")
    lines = grid.extract_river_network(fdir, counts >= CHANNEL_AREA_HA * 1e4)
    watch.lap("channel lines")
    return watch.parts, len(lines["features"])


def pyflwdir_chain(z: NDArray[np.float32]) -> tuple[Timings, int]:
    """Fill and D8 in one call, then counts and streams as features."""
    import pyflwdir
    from affine import Affine

    watch = Stopwatch()
    flow = pyflwdir.from_dem(z, nodata=-9999.0, transform=Affine(1, 0, 0, 0, -1, z.shape[0]))
    watch.lap("condition and D8")
    counts = flow.upstream_area()
    watch.lap("drainage area")
    lines = flow.streams(mask=counts >= CHANNEL_AREA_HA * 1e4)
    watch.lap("channel lines")
    return watch.parts, len(lines)


CHAINS: dict[str, Callable[[NDArray[np.float32]], tuple[Timings, int]]] = {
    "gullywalk": gullywalk_chain,
    "pysheds": pysheds_chain,
    "pyflwdir": pyflwdir_chain,
}


def peak_bytes() -> int:
    """Most memory this process has held so far.

    Linux's own mark is read where there is one: ``ru_maxrss`` of a child counts what its parent
    held when it was started.
    """
    status = Path("/proc/self/status")
    if status.exists():
        for line in status.read_text().splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024
    import resource

    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit


def run_one(tool: str, raster: Path, small: Path) -> dict[str, Any]:
    """Warm up, then time one chain on one raster, in this process."""
    import psutil

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the other libraries' own
        start = time.perf_counter()
        CHAINS[tool](np.load(small))
        cold_s = time.perf_counter() - start
        gc.collect()
        before = psutil.Process().memory_info().rss
        z = np.load(raster)
        parts, lines = CHAINS[tool](z)
    return {
        "tool": tool,
        "cells": int(z.size),
        "cold_s": cold_s,
        "parts_s": parts,
        "total_s": sum(parts.values()),
        "bytes_per_cell": max(0, peak_bytes() - before) / z.size,
        "lines": lines,
    }


def run_apart(tool: str, raster: Path, small: Path, **environment: str) -> dict[str, Any]:
    """Run one chain in a fresh process."""
    command = [sys.executable, str(Path(__file__).resolve())]
    command += ["--one", tool, str(raster), str(small)]
    done = subprocess.run(
        command,
        cwd=ROOT,
        env={**os.environ, **environment},
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise RuntimeError(f"{tool} failed:\n{done.stderr}")
    result: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return result


def run_all(sizes: Sequence[int], tools: Sequence[str] = TOOLS) -> list[dict[str, Any]]:
    """Run every tool at every size."""
    from tests.benchmarks.ranch import make_ranch

    results = []
    with tempfile.TemporaryDirectory() as folder:
        small = Path(folder) / "small.npy"
        np.save(small, make_ranch(WARM_UP_CELLS))
        for size in sizes:
            raster = Path(folder) / f"{size}.npy"
            np.save(raster, make_ranch(size))
            results += [run_apart(tool, raster, small) for tool in tools]
            raster.unlink()
    return results


def run_cold(tools: Sequence[str]) -> dict[str, float]:
    """Seconds of each tool's first run on a small raster with nothing compiled before."""
    from tests.benchmarks.ranch import make_ranch

    seconds = {}
    for tool in tools:
        with tempfile.TemporaryDirectory() as folder:
            small = Path(folder) / "small.npy"
            np.save(small, make_ranch(WARM_UP_CELLS))
            result = run_apart(tool, small, small, NUMBA_CACHE_DIR=folder)
            seconds[tool] = result["cold_s"]
    return seconds


def as_table(results: Sequence[dict[str, Any]]) -> str:
    """Return the results as a Markdown table, with how many times as long as ours each took."""
    parts = list(results[0]["parts_s"])
    head = ["cells", "tool", *(f"{p}, s" for p in parts), "total, s", "times ours"]
    head += ["memory, bytes a cell", "first small run, s", "lines"]
    rows = [head, ["---"] * len(head)]
    ours = {r["cells"]: r["total_s"] for r in results if r["tool"] == "gullywalk"}
    for r in results:
        ratio = r["total_s"] / ours[r["cells"]] if r["cells"] in ours else float("nan")
        row = [f"{r['cells'] / 1e6:.3g} M", r["tool"]]
        row += [f"{r['parts_s'][p]:.2f}" for p in parts]
        row += [f"{r['total_s']:.2f}", f"{ratio:.1f}", f"{r['bytes_per_cell']:.0f}"]
        row += [f"{r['cold_s']:.1f}", str(r["lines"])]
        rows.append(row)
    return "\n".join("| " + " | ".join(row) + " |" for row in rows)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run what the arguments ask for and print it."""
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("--sizes", nargs="+", type=int, default=[1000, 2500, 5000])
    parser.add_argument("--tools", nargs="+", choices=TOOLS, default=list(TOOLS))
    parser.add_argument("--cold", action="store_true")
    parser.add_argument("--one", nargs=3, metavar=("TOOL", "RASTER", "SMALL"))
    asked = parser.parse_args(arguments)
    if asked.one:
        tool, raster, small = asked.one
        sys.stdout.write(json.dumps(run_one(tool, Path(raster), Path(small))) + "\n")
    else:
        sys.stdout.write(as_table(run_all(asked.sizes, asked.tools)) + "\n")
        if asked.cold:
            for tool, seconds in run_cold(asked.tools).items():
                sys.stdout.write(f"{tool}, first run with nothing compiled: {seconds:.0f} s\n")


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main()
