"""Time the terrain chain side by side with pysheds and pyflwdir, each in a process of its own.

The chain is: condition, D8, drainage area, channel lines of at least 0.3 ha. Run from the top of
the checkout::

    python tests/benchmarks/terrain_chain.py --size 4000 --pysheds-size 1000 --cold

It runs on every ground of `tests.benchmarks.grounds`, real ones included where they are there
(``--grounds`` names some). Each tool gets the same raster from a file, runs once on a small one
(its compiled code may come from a cache on disk), then on the big one. pysheds is so slow that it
gets a smaller raster of the same ground, and is compared by time a cell; ``--pysheds-size 0``
leaves it out. With ``--cold`` the small run is made once more with an empty cache, as on a fresh
machine. Memory is the peak of the process above what it held after the warm-up, before the big
raster was loaded: it counts the raster itself. The floor is what reading the raster and writing
surface, codes and counts to files takes in the same run.
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
        cpu_s = time.process_time()
        parts, lines = CHAINS[tool](z)
        cpu_s = time.process_time() - cpu_s
    return {
        "tool": tool,
        "cells": int(z.size),
        "cold_s": cold_s,
        "parts_s": parts,
        "total_s": sum(parts.values()),
        "cpu_s": cpu_s,
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


def floor_s(raster: Path) -> float:
    """Seconds to read a raster and to write surface, codes and counts of its size."""
    start = time.perf_counter()
    z = np.load(raster)
    with tempfile.TemporaryFile(dir=raster.parent) as file:
        for dtype in (np.float32, np.uint8, np.int32):
            file.write(z.astype(dtype, copy=False).view(np.uint8).data)
        file.flush()
        os.fsync(file.fileno())
    return time.perf_counter() - start


def run_all(
    names: Sequence[str], size: int, pysheds_size: int, tools: Sequence[str] = TOOLS
) -> list[dict[str, Any]]:
    """Run every tool on every ground, one ground after the other."""
    from tests.benchmarks.grounds import ground
    from tests.benchmarks.ranch import make_ranch

    results = []
    with tempfile.TemporaryDirectory() as folder:
        small = Path(folder) / "small.npy"
        np.save(small, make_ranch(WARM_UP_CELLS))
        raster = Path(folder) / "ground.npy"
        for name in names:
            for tool in tools:
                cells = pysheds_size if tool == "pysheds" else size
                if not cells:
                    continue
                z = ground(name, cells)
                np.save(raster, z if tool == "gullywalk" else np.nan_to_num(z, nan=-9999.0))
                floor = floor_s(raster)
                results.append({"ground": name, "floor_s": floor, **run_apart(tool, raster, small)})
                sys.stderr.write(as_row(results[-1], results))
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


HEAD = (
    "ground",
    "tool",
    "cells",
    "ns a cell",
    "CPU ns a cell",
    "times ours",
    "floor, ns a cell",
    "bytes a cell",
    "lines",
)


def as_row(result: dict[str, Any], results: Sequence[dict[str, Any]]) -> str:
    """Return one result as a row of a Markdown table, compared with ours by time a cell."""
    mine = [r for r in results if (r["ground"], r["tool"]) == (result["ground"], "gullywalk")]
    cells = result["cells"]
    ratio = float("nan")
    if mine:
        ratio = result["total_s"] / cells / (mine[0]["total_s"] / mine[0]["cells"])
    row = [result["ground"], result["tool"], f"{cells / 1e6:.3g} M"]
    row += [f"{1e9 * result[key] / cells:.0f}" for key in ("total_s", "cpu_s")]
    row += [f"{ratio:.1f}", f"{1e9 * result['floor_s'] / cells:.0f}"]
    row += [f"{result['bytes_per_cell']:.0f}", str(result["lines"])]
    return "| " + " | ".join(row) + " |\n"


def as_table(results: Sequence[dict[str, Any]]) -> str:
    """Return the results as a Markdown table, and how far apart our grounds lie."""
    lines = ["| " + " | ".join(HEAD) + " |\n", "| " + " | ".join(["---"] * len(HEAD)) + " |\n"]
    lines += [as_row(result, results) for result in results]
    ours = [r["total_s"] / r["cells"] for r in results if r["tool"] == "gullywalk"]
    if ours:
        lines.append(
            f"\nOurs: the slowest ground takes {max(ours) / min(ours):.1f} times the fastest."
        )
    return "".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run what the arguments ask for and print it."""
    from tests.benchmarks.grounds import MADE, real_names

    everything = [*MADE, *real_names()]
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("--size", type=int, default=4000, help="rows and columns")
    parser.add_argument("--pysheds-size", type=int, default=1000)
    parser.add_argument("--grounds", nargs="+", choices=everything, default=everything)
    parser.add_argument("--tools", nargs="+", choices=TOOLS, default=list(TOOLS))
    parser.add_argument("--cold", action="store_true")
    parser.add_argument("--one", nargs=3, metavar=("TOOL", "RASTER", "SMALL"))
    asked = parser.parse_args(arguments)
    if asked.one:
        tool, raster, small = asked.one
        sys.stdout.write(json.dumps(run_one(tool, Path(raster), Path(small))) + "\n")
        return
    results = run_all(asked.grounds, asked.size, asked.pysheds_size, asked.tools)
    sys.stdout.write(as_table(results) + "\n")
    if asked.cold:
        for tool, seconds in run_cold(asked.tools).items():
            sys.stdout.write(f"{tool}, first run with nothing compiled: {seconds:.0f} s\n")


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main()
