"""Time the floods of many sites against pyflwdir's terrain chain, in one run.

The floods are everything that peak flows add to a screening: soil and cover maps crossed on every
cell, the weighted accumulation of curve numbers, mean slopes, longest flow paths, travel times,
and every flood method at every site for six return periods. Flow directions, drainage counts,
channels and the numbering of catchments are there in any screening; the numbering, which outlines
of drainage areas are drawn from, is timed and told apart. Run from the top of the checkout::

    python tests/benchmarks/floods.py --size 5000 --sites 5000

The two are timed in processes of their own, one after the other, on the same invented raster; each
runs once on a small one first.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = Path(__file__).resolve()
CHANNEL_AREA_HA = 0.3
WARM_UP_CELLS = 300
#: Floods may take at most this share of the other chain's time.
SHARE = 0.5
NUMBERING = "numbering of catchments"
#: Side of the invented patches of soil and cover, cells.
PATCH = 60


def rain() -> Any:
    """An invented rainfall table with short storms."""
    from siting.floods.rainfall import Rainfall

    hours = np.array([1 / 12, 0.25, 0.5, 1.0, 2.0, 6.0, 24.0])
    years = np.array([1.0, 2.0, 5.0, 10.0, 25.0, 50.0, 100.0])
    depths = 40.0 * (hours[:, None] / 24.0) ** 0.25 * (1.0 + 0.35 * np.log(years))[None, :]
    return Rainfall(hours, years, depths, source="invented")


def maps(shape: tuple[int, int], *, seed: int = 3) -> tuple[Any, Any]:
    """Invented soil and cover maps in square patches."""
    from terrain.vectors.burning import CodeMap

    rng = np.random.default_rng(seed)
    rows, cols = (n // PATCH + 1 for n in shape)

    def patches(codes: Sequence[Any], name: str) -> Any:
        small = rng.integers(0, len(codes) + 1, (rows, cols), dtype=np.uint8)
        index = np.repeat(np.repeat(small, PATCH, axis=0), PATCH, axis=1)
        return CodeMap(np.ascontiguousarray(index[: shape[0], : shape[1]]), tuple(codes), name)

    return patches(["A", "B", "C", "D", "C/D"], "soils"), patches([31, 42, 52, 71, 95], "cover")


def time_floods(z: NDArray[np.float32], sites: int) -> dict[str, Any]:
    """Seconds of each part of the floods; flow, counts and channels are made before the clock."""
    from siting.channels.ground import Land
    from siting.floods.regional import RegionalSettings
    from siting.places.land_maps import cross
    from siting.places.site_floods import FloodGauge, FloodSettings
    from siting.record.flood_tables import flood_columns
    from siting.values.rules import load_rules
    from terrain.channels.network import channel_network
    from terrain.flow.conditioning import condition
    from terrain.values.raster import Raster

    raster = Raster.from_array(z)
    conditioned = condition(raster)
    counts = conditioned.flow.accumulate()
    network = channel_network(conditioned.flow, counts, channel_area_ha=CHANNEL_AREA_HA)
    soils, cover = maps(raster.grid.shape)
    channel = np.flatnonzero(counts.reshape(-1) >= network.threshold_cells)
    cells = channel[np.linspace(0, channel.size - 1, min(sites, channel.size)).astype(np.int64)]

    parts: dict[str, float] = {}
    last = time.perf_counter()

    def lap(name: str) -> None:
        nonlocal last
        now = time.perf_counter()
        parts[name], last = now - last, now

    land = Land.of(conditioned, network, raster=raster, counts=counts, rules=load_rules())
    lap(NUMBERING)
    maps_crossed = cross(soils, cover, raster.valid, cell_area_m2=raster.grid.cell_area_m2)
    lap("maps crossed")
    gauge = FloodGauge(
        land,
        FloodSettings(rainfall=rain(), land=maps_crossed, regional=RegionalSettings({"WY-2": 1.0})),
    )
    gauge.means.curve_number(cells)
    lap("curve numbers of every cell")
    gauge.means.mean_slope(cells)
    lap("mean slopes")
    found = gauge.at(cells)
    lap("paths and all methods")
    rows = flood_columns(found)
    lap("rows of the table")
    numbering = parts.pop(NUMBERING)
    return {
        "tool": "floods",
        "cells": int(z.size),
        "sites": int(cells.size),
        "parts_s": parts,
        "total_s": sum(parts.values()),
        "numbering_s": numbering,
        "rows": int(rows["site_id"].size),
        "known": int(np.isfinite(found.q_m3s).all(axis=1).sum()),
    }


def run_one(raster: Path, small: Path, sites: int) -> dict[str, Any]:
    """Warm up, then time the floods on one raster, in this process."""
    time_floods(np.load(small), 100)
    return time_floods(np.load(raster), sites)


def run_both(size: int, sites: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """Time floods and the other chain on one raster, each in a process of its own."""
    from tests.benchmarks.ranch import make_ranch
    from tests.benchmarks.terrain_chain import run_apart

    with tempfile.TemporaryDirectory() as folder:
        small, raster = Path(folder) / "small.npy", Path(folder) / "ranch.npy"
        np.save(small, make_ranch(WARM_UP_CELLS))
        np.save(raster, make_ranch(size))
        command = [sys.executable, str(SCRIPT), "--one", str(raster), str(small)]
        done = subprocess.run(
            [*command, "--sites", str(sites)], cwd=ROOT, capture_output=True, text=True, check=False
        )
        if done.returncode:
            raise RuntimeError(f"the floods failed:\n{done.stderr}")
        floods: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
        return floods, run_apart("pyflwdir", raster, small)


def report(floods: dict[str, Any], other: dict[str, Any]) -> str:
    """Say how long each took and what share that is."""
    parts = ", ".join(f"{name} {s:.2f} s" for name, s in floods["parts_s"].items())
    share = floods["total_s"] / other["total_s"]
    both = (floods["total_s"] + floods["numbering_s"]) / other["total_s"]
    return (
        f"{floods['sites']:,} sites on {floods['cells'] / 1e6:.3g} M cells: floods "
        f"{floods['total_s']:.2f} s ({parts}); terrain chain of {other['tool']} "
        f"{other['total_s']:.2f} s; share {share:.2f} (at most {SHARE:g}), {both:.2f} with the "
        f"{NUMBERING}.\n"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Run both and print the share; ends with 1 when it is too large."""
    parser = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    parser.add_argument("--size", type=int, default=5000)
    parser.add_argument("--sites", type=int, default=5000)
    parser.add_argument("--one", nargs=2, metavar=("RASTER", "SMALL"))
    asked = parser.parse_args(arguments)
    if asked.one:
        raster, small = asked.one
        sys.stdout.write(json.dumps(run_one(Path(raster), Path(small), asked.sites)) + "\n")
        return 0
    floods, other = run_both(asked.size, asked.sites)
    sys.stdout.write(report(floods, other))
    return 0 if floods["total_s"] <= SHARE * other["total_s"] else 1


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    sys.exit(main())
