"""Make an invented ranch from a seed: elevations, planted headcuts and everything around them."""

from __future__ import annotations

import argparse
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage

from sample_dem import (
    carving,
    checking,
    creeks,
    features,
    gullies,
    network,
    noise,
    relief,
    routing,
    truth,
)
from sample_dem.enriching import Added, enrich, tell_more
from sample_dem.extras import NOTHING, Extras
from sample_dem.plan import ChannelPlan

CRS = "EPSG:26913"
WEST_M, NORTH_M = 540_000.0, 4_140_000.0
BASE_ELEVATION_M = 2_060.0
SAMPLE_SEED = 9


@dataclass(frozen=True, slots=True)
class Ranch:
    """An invented ranch. Arrays are read-only, elevations in metres."""

    seed: int
    elevation: NDArray[np.float32]
    clean: NDArray[np.float32]
    transform: Affine
    crs: str
    truth: dict[str, Any]
    plans: list[ChannelPlan] = field(repr=False)
    road: features.Road | None
    pond: tuple[features.Feature, NDArray[np.int64]] | None
    cut_m: NDArray[np.float32] | None = None  # how far below the ground without any gully
    gully: NDArray[np.int32] | None = None  # number of the gully of each cell, 0 outside
    water: NDArray[np.bool_] | None = None  # still water


class Sheet:
    """The fine grid being shaped and the scratch arrays the kernels share."""

    def __init__(self, z: NDArray[np.float32], cell_m: float) -> None:
        self.z, self.cell_m = z, cell_m
        self.owner = np.full(z.size, -1, np.int32)
        self.nearest = np.empty(z.size, np.int32)
        self.distance = np.empty(z.size, np.float32)
        self.mark = 0

    def along(self, line: network.CentreLine, reach_m: float) -> Any:
        """Cells near a line: flat index, station and offset."""
        rows, cols = self.z.shape
        self.mark += 1
        return carving.collect(
            line.x,
            line.y,
            reach_m,
            rows,
            cols,
            self.cell_m,
            self.owner,
            self.nearest,
            self.distance,
            self.mark,
        )

    def at(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Ground at points in local metres."""
        where = np.stack([y / self.cell_m - 0.5, x / self.cell_m - 0.5])
        return np.asarray(
            ndimage.map_coordinates(self.z, where, order=1, mode="nearest"), np.float64
        )


def _lay_valleys(sheet: Sheet, lines: list[network.CentreLine]) -> NDArray[np.float32]:
    """Lay the valley floors; returns each cell's distance from a channel (m, far ones 1000)."""
    claimed = np.full(sheet.z.size, 1e3, np.float32)
    for line in lines:
        floor = gullies.valley_floor(sheet.at(line.x, line.y))
        area = np.minimum(line.area_ha, 400.0)
        half = np.minimum(4.0 + 2.3 * area**0.5, 42.0)
        n = floor.size
        hold = np.ones(n)
        if line.parent >= 0:
            hold = np.clip(np.arange(n) / 15.0, 0, 1)
        hold *= np.clip((n - 1 - np.arange(n)) / 25.0, 0, 1)
        cells, station, offset = sheet.along(line, float(half.max() * 1.6))
        carving.lay_floor(sheet.z, cells, station, offset, floor, half, hold, 0.035, claimed)
        carving.claim(claimed, cells, offset)
    for line in lines:
        cells, _, offset = sheet.along(line, 32.0)
        carving.claim(claimed, cells, offset)
    return claimed.reshape(sheet.z.shape)


def _plan_channels(
    sheet: Sheet,
    lines: list[network.CentreLine],
    rng: np.random.Generator,
    thrift: float,
    extras: Extras | None,
    more: np.random.Generator,
) -> list[ChannelPlan]:
    wishes = gullies.Wishes(
        heights=[1.1, 2.4, 0.8, 0.5, 1.4],
        nested=[1, 3, 2],
        reaches=["fan", "incised", "widening", "knickzone", "chute"],
    )
    plans: list[ChannelPlan] = []
    for line in lines:
        plan = gullies.blank_plan(line, gullies.valley_floor(sheet.at(line.x, line.y)), rng)
        start: float | None = None
        junction = 0.3
        if line.parent >= 0:
            start = plans[line.parent].bed_at(line.parent_station_m)
            junction = float(plan.floor[0]) - start
        walker = gullies.Walker(plan, rng, wishes, thrift)
        if extras is not None and extras.creek and line.number == 0:
            creeks.walk_creek(walker, more)
        else:
            walker.walk(junction)
        gullies.add_benches(plan, rng)
        if extras is not None:
            creeks.alter(plan, more, extras)
        gullies.finish(plan, start)
        plans.append(plan)
    return plans


def make_ranch(
    seed: int,
    rows: int = 1200,
    cols: int = 1200,
    *,
    cell_m: float = 1.0,
    noise_m: float = 0.05,
    noise_correlation_m: float = 0.0,
    extras: Extras | None = None,
    details: bool = False,
) -> Ranch:
    """Make a ranch.

    Parameters
    ----------
    seed
        Any whole number; the same seed and size give the same ranch.
    rows, cols
        Size of the raster in cells.
    cell_m
        Cell size (m).
    noise_m
        Standard deviation of the measuring noise (m).
    noise_correlation_m
        Length over which the noise is alike (m); 0 for white noise.
    extras
        Gullies of other kinds and more that is none; the ground of the plain ranch without it.
    details
        Tell of drops, gullies and traps as well, which ``extras`` does anyway.
    """
    rng, more = np.random.default_rng(seed), np.random.default_rng([seed, 3])
    height_m, width_m = rows * cell_m, cols * cell_m
    mid = relief.mid_relief(rng, height_m, width_m)
    z = noise.upsample(mid, relief.MID_CELL_M, rows, cols, cell_m)
    lines = network.trace(mid, height_m, width_m, rng)
    sheet = Sheet(z, cell_m)
    off_channel = _lay_valleys(sheet, lines)
    z[:] = ndimage.gaussian_filter(z, 4.0 / cell_m, mode="nearest", truncate=3.0)
    for wave, size in ((45.0, 0.10), (18.0, 0.05), (7.0, 0.02)):
        z += size * noise.smooth_noise(rng, rows, cols, cell_m, wave)
    if extras is not None and extras.creek:
        lines = creeks.meander(lines, more)
    plans = _plan_channels(sheet, lines, rng, 1.5, extras, more)
    for plan in plans:
        if plan.fan_rise.max() > 0:
            cells, station, offset = sheet.along(plan.line, 56.0)
            carving.raise_fan(z, cells, station, offset, plan.fan_rise, plan.fan_spread)
    decoys = _hillside(z, off_channel, cell_m, rng)
    raw = z.copy()
    bare, pond, road, flow, checks = _settle(sheet, plans, off_channel, seed)
    added = None
    if extras is not None or details:
        added = _set_apart(sheet, raw, bare, plans, pond)
        flow = enrich(z, flow, plans, road, off_channel, added, more, extras or NOTHING)
    clean = z + np.float32(BASE_ELEVATION_M)
    fuzz = measuring_noise(rng, rows, cols, cell_m, noise_m, noise_correlation_m)
    fuzz += features.grass(z.shape, off_channel, cell_m, rng)
    if pond is not None:
        fuzz.flat[pond[1]] = 0.0
    if added is not None:
        fuzz[added.water] = 0.0
    elevation = clean + fuzz
    transform = Affine(cell_m, 0, WEST_M, 0, -cell_m, NORTH_M)
    for array in (clean, elevation):
        array.setflags(write=False)
    corner = (WEST_M, NORTH_M, BASE_ELEVATION_M)
    told = truth.tell(seed, plans, checks, decoys, road, pond, flow, (rows, cols), corner)
    plain = Ranch(seed, elevation, clean, transform, CRS, told, plans, road, pond)
    if added is None:
        return plain
    told, gully = tell_more(told, z, flow, plans, checks, added, corner)
    return replace(plain, truth=told, cut_m=added.cut_m, gully=gully, water=added.water)


def _settle(
    sheet: Sheet, plans: list[ChannelPlan], off_channel: NDArray[np.float32], seed: int
) -> tuple[
    NDArray[np.float32],
    tuple[features.Feature, NDArray[np.int64]] | None,
    features.Road | None,
    checking.Flow,
    list[checking.HeadCheck],
]:
    """Carve, build and check until every head left is one.

    Returns the ground with its channels alone, pond, road, flow and checks.
    """
    z, cell_m = sheet.z, sheet.cell_m
    raw = z.copy()
    for attempt in range(4):
        z[:] = raw
        later = np.random.default_rng([seed, 1])
        _carve_channels(sheet, plans)
        bare = z.copy()
        pond = features.build_pond(z, plans, cell_m, later)
        road = features.plan_road(plans, z.shape[1] * cell_m, z.shape[0] * cell_m, later)
        if road is not None:
            features.build_road(z, road, off_channel, plans, cell_m)
        flow = checking.route(z, cell_m)
        checks = [checking.check_head(z, flow, plan, head) for plan in plans for head in plan.heads]
        failed = truth.not_heads(checks)
        if not failed or attempt == 3:
            break
        for head in failed:  # take it out of the ground too, not only out of the list
            plan = plans[head.channel]
            plan.heads.remove(head)
            plan.softened.append(head)
        _finish_beds(plans)
    return bare, pond, road, flow, checks


def _set_apart(
    sheet: Sheet,
    raw: NDArray[np.float32],
    bare: NDArray[np.float32],
    plans: list[ChannelPlan],
    pond: tuple[features.Feature, NDArray[np.int64]] | None,
) -> Added:
    """How far the ground with channels lies under one that has their swales alone."""
    held = sheet.z.copy()
    sheet.z[:] = raw
    _carve_channels(sheet, [gullies.swale_alone(plan) for plan in plans])
    cut = sheet.z - bare
    sheet.z[:] = held
    added = Added(np.maximum(cut, 0), np.zeros(cut.shape, bool))
    if pond is not None:
        added.traps.append(pond[0])
        added.water.flat[pond[1]] = True
    return added


def _hillside(
    z: NDArray[np.float32],
    off_channel: NDArray[np.float32],
    cell_m: float,
    rng: np.random.Generator,
) -> list[features.Feature]:
    """Decoys away from the channels."""
    size_ha = z.size * cell_m**2 / 1e4
    found = features.terracettes(z, off_channel, cell_m, rng)
    level = z.astype(np.float64)
    routing.breach(level)
    rec = routing.receivers(level)
    count = routing.accumulate(rec, routing.downstream_order(rec)) * cell_m**2
    dry = (count < 150.0) & (off_channel.ravel() > 28)
    inner = np.zeros(z.shape, bool)
    edge = int(60 / cell_m)
    inner[edge:-edge, edge:-edge] = True
    found += features.scarps(
        z, np.flatnonzero(dry & inner.ravel()), cell_m, rng, max(int(size_ha / 14), 2)
    )
    found += features.boulders(z, off_channel, cell_m, rng, int(size_ha / 3))
    return found


def _carve_channels(sheet: Sheet, plans: list[ChannelPlan]) -> None:
    for plan in plans:
        reach = max(14.0, 1.15 * float(plan.swale_half.max()) + 8.0)
        cells, station, offset = sheet.along(plan.line, reach)
        carving.carve(
            sheet.z,
            cells,
            station,
            offset,
            plan.bed,
            plan.gully,
            plan.half_bed,
            plan.bank_slope,
            plan.bench_depth,
            plan.bench_width,
            plan.swale_half,
            plan.swale_depth,
            reach,
        )


def _finish_beds(plans: list[ChannelPlan]) -> None:
    """Work the beds out again, mains before the channels that join them."""
    for plan in plans:
        line = plan.line
        start = plans[line.parent].bed_at(line.parent_station_m) if line.parent >= 0 else None
        gullies.finish(plan, start)


def measuring_noise(
    rng: np.random.Generator,
    rows: int,
    cols: int,
    cell_m: float,
    noise_m: float,
    correlation_m: float,
) -> NDArray[np.float32]:
    """Measuring noise of the DEM: white, or alike over ``correlation_m``."""
    white = rng.standard_normal((rows, cols), dtype=np.float32)
    if correlation_m > 0:
        white = ndimage.gaussian_filter(white, correlation_m / cell_m / 2, mode="wrap")
        white /= white.std()
    return np.asarray(noise_m * white, np.float32)


def main() -> None:
    """Write an invented ranch to a folder."""
    from pathlib import Path

    from sample_dem.export import write_ranch

    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--seed", type=int, default=SAMPLE_SEED)
    parser.add_argument("--rows", type=int, default=1200)
    parser.add_argument("--cols", type=int, default=1200)
    parser.add_argument("--cell", type=float, default=1.0, help="cell size (m)")
    parser.add_argument("--noise", type=float, default=0.05, help="measuring noise (m)")
    parser.add_argument(
        "--noise-correlation", type=float, default=0.0, help="length over which it is alike (m)"
    )
    parser.add_argument("--out", type=Path, required=True, help="folder to write into")
    asked = parser.parse_args()
    ranch = make_ranch(
        asked.seed,
        asked.rows,
        asked.cols,
        cell_m=asked.cell,
        noise_m=asked.noise,
        noise_correlation_m=asked.noise_correlation,
    )
    for path in write_ranch(ranch, asked.out):
        print(path)


if __name__ == "__main__":
    main()
