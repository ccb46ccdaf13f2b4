"""Score the reading of channels against planted widths, benches, settings and heights."""

from __future__ import annotations

import functools
from collections.abc import Iterable
from dataclasses import dataclass, fields

import numpy as np
from scipy.spatial import cKDTree

from sample_dem.generator import Ranch
from sample_dem.plan import ChannelPlan
from siting.channels.channel_reading import ChannelReading, read_places, read_stations
from siting.channels.ground import Ground
from siting.channels.headcuts import find_headcuts
from siting.channels.reaches import reach_stations
from siting.channels.study_area import CutAreas
from siting.values.rules import load_rules
from terrain.channels.drainage_areas import Catchments
from terrain.channels.network import channel_network, default_channel_area_ha
from terrain.flow.conditioning import condition
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.ranches import kept_ranch

WITHIN_M = 3.5  # a station further from every planted channel is not scored
CLEAR_M = 10.0  # no bench is planted nearer than this: what is found there is false
ONE_STONE_M = 0.10
#: 2-year flow per ha^0.75, m3/s: what the sample's rain gives on a curve number of 80.
Q2_PER_HA = 0.03
SETTING = {
    "swale": "swale",
    "widening_swale": "swale",
    "fan": "fan",
    "alluvial_fan": "fan",
    "incised": "incised channel",
    "side_gully": "incised channel",
    "discontinuous_gully": "discontinuous gully",
}
#: What a planted setting may also be called: a wet meadow is a swale that is wide and flat.
SAME = {"wet-meadow candidate": "swale", "widening reach": "incised channel"}


@dataclass(frozen=True, slots=True)
class Truth:
    """Planted values at places; arrays of one length."""

    x: np.ndarray
    y: np.ndarray
    width_m: np.ndarray
    depth_m: np.ndarray
    bankfull_m: np.ndarray
    cut: np.ndarray  # share of a cut channel, 0 to 1
    bench_away_m: np.ndarray
    setting: np.ndarray
    cell_m: np.ndarray

    def take(self, which: np.ndarray) -> Truth:
        return Truth(*(getattr(self, f.name)[which] for f in fields(self)))


@dataclass(frozen=True, slots=True)
class Reading:
    """What was read at the same places."""

    width_m: np.ndarray
    depth_m: np.ndarray
    bench_m: np.ndarray
    height_m: np.ndarray
    setting: np.ndarray


def ground_of(ranch: Ranch) -> Ground:
    """Measure a ranch as a screening does."""
    grid = Grid(*ranch.elevation.shape, ranch.transform)  # type: ignore[call-arg]
    raster = Raster.from_array(ranch.elevation, grid=grid)
    conditioned = condition(raster)
    counts = conditioned.flow.accumulate()
    area = default_channel_area_ha(grid.cell_m)
    network = channel_network(conditioned.flow, counts, channel_area_ha=area)
    heads = find_headcuts(raster, conditioned, counts, network)
    catchments = Catchments.of(conditioned.flow, counts)
    return Ground(
        raster=raster,
        conditioned=conditioned,
        counts=counts,
        network=network,
        catchments=catchments,
        cut=CutAreas.of(catchments, edge_is_divide=False),
        headcuts=heads,
        stations=reach_stations(raster, network, counts, headcuts=heads),
        rules=load_rules(),
    )


def truth_of(ranch: Ranch) -> Truth:
    """Planted values every 5 m along every channel."""
    benches = np.concatenate(
        [
            np.column_stack(
                [
                    ranch.transform.c + plan.line.x[plan.bench_depth > 0],
                    ranch.transform.f - plan.line.y[plan.bench_depth > 0],
                ]
            )
            for plan in ranch.plans
        ]
    )
    parts = []
    for told, plan in zip(ranch.truth["channels"], ranch.plans, strict=True):
        at = np.array(told["station_m"])
        xy = np.column_stack([told["x"], told["y"]])
        away = cKDTree(benches).query(xy)[0] if len(benches) else np.full(at.size, np.inf)
        parts.append(
            Truth(
                xy[:, 0],
                xy[:, 1],
                np.array(told["bank_width_m"], dtype=float),
                np.array(told["depth_m"], dtype=float),
                np.array(told["bankfull_depth_m"], dtype=float),
                np.interp(at / 0.25, np.arange(plan.gully.size), plan.gully),
                away,
                _settings(plan, at),
                np.full(at.size, ranch.truth["cell_m"]),
            )
        )
    return Truth(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Truth)))


def _settings(plan: ChannelPlan, at: np.ndarray) -> np.ndarray:
    """Planted settings at stations of a channel; '' between two of them."""
    out = np.full(at.size, "", dtype=object)
    # what is planted last lies on top: fans are laid over what they bury
    order = sorted(plan.reaches, key=lambda r: SETTING.get(r.setting) == "fan")
    for reach in order:
        inside = (at >= reach.low_m) & (at < reach.high_m)
        name = SETTING.get(reach.setting, "")
        headless = not any(reach.low_m - 1 <= h.lip_m <= reach.high_m + 5 for h in plan.heads)
        if name == "discontinuous gully" and headless:
            name = "incised channel"
        out[inside] = name
    gully = np.interp(at / 0.25, np.arange(plan.gully.size), plan.gully)
    fading = np.isin(out, ["discontinuous gully", "incised channel"]) & (gully < 0.5)
    out[fading] = ""
    return out


@functools.lru_cache(maxsize=4)
def _measured(seed: int, noise_m: float) -> tuple[Ground, Truth]:
    ranch = kept_ranch(seed, noise_m=noise_m)
    return ground_of(ranch), truth_of(ranch)


def read_ranch(
    seed: int, *, noise_m: float = 0.05, at_cells: bool = False, flow: bool = True
) -> tuple[Truth, Reading]:
    """Generate a ranch and read its channels where channels are planted."""
    ground, truth = _measured(seed, noise_m)
    s = ground.stations
    x, y = ground.raster.grid.xy_of(s.cell) if at_cells else (s.x_m, s.y_m)
    away, nearest = cKDTree(np.column_stack([truth.x, truth.y])).query(np.column_stack([x, y]))
    near = np.flatnonzero(away <= WITHIN_M)
    q2 = Q2_PER_HA * s.drainage_area_ha**0.75 if flow else np.full(s.size, np.nan)
    if at_cells:
        reading = read_places(ground, s.cell[near], slope=s.slope[near], q2_m3s=q2[near])
    else:
        reading = read_stations(ground, q2_m3s=q2).take(near)
    return truth.take(nearest[near]), _kept(reading)


def _kept(r: ChannelReading) -> Reading:
    return Reading(r.bank_width_m, r.bank_depth_m, r.bankfull.bench_m, r.height_limit_m, r.setting)


@dataclass(frozen=True, slots=True)
class ChannelScore:
    """Figures pooled over ranches; shares from 0 to 1."""

    width_error: dict[str, tuple[int, float, float]]  # places, share given, median error
    depth_error: float
    benches: int
    bench_given: float
    bench_within: float
    bench_error: float
    bench_false: float
    bench_false_in_swale: float
    heights: int
    height_holds: float
    settings: dict[tuple[str, str], int]

    def lines(self) -> list[str]:
        """Write the figures out."""
        out = [
            f"width, {name}: {n} places, {100 * given:.0f} % given, "
            f"median error {100 * error:.1f} %"
            for name, (n, given, error) in self.width_error.items()
        ]
        out += [
            f"bank depth of cut channels: median error {100 * self.depth_error:.1f} %",
            f"benches: {self.benches} places, {100 * self.bench_given:.0f} % given, of these "
            f"{100 * self.bench_within:.0f} % within the larger of 20 % and 5 cm, median error "
            f"{100 * self.bench_error:.1f} cm; false in {100 * self.bench_false:.1f} % of cut "
            f"channels without one, {100 * self.bench_false_in_swale:.1f} % of swales",
            f"height at most a third of planted bankfull, or 0.10 m: "
            f"{100 * self.height_holds:.1f} % of {self.heights}",
        ]
        names = sorted({t for t, _ in self.settings})
        for t in names:
            row = {r: n for (tt, r), n in self.settings.items() if tt == t}
            told = ", ".join(
                f"{r or 'unknown'} {n}" for r, n in sorted(row.items(), key=lambda v: -v[1])
            )
            out.append(f"planted {t}: {told}")
        return out

    def setting_recall(self, name: str) -> float:
        """Share of the places planted as a setting that are read so."""
        row = {r: n for (t, r), n in self.settings.items() if t == name}
        return sum(n for r, n in row.items() if SAME.get(r, r) == name) / max(1, sum(row.values()))

    def setting_precision(self, name: str) -> float:
        """Share of the places read as a setting that are planted so."""
        column = {t: n for (t, r), n in self.settings.items() if SAME.get(r, r) == name}
        return column.get(name, 0) / max(1, sum(column.values()))


def score(parts: Iterable[tuple[Truth, Reading]]) -> ChannelScore:
    """Pool places of several ranches and score them."""
    pairs = list(parts)
    t = Truth(*(np.concatenate([getattr(p, f.name) for p, _ in pairs]) for f in fields(Truth)))
    r = Reading(*(np.concatenate([getattr(p, f.name) for _, p in pairs]) for f in fields(Reading)))
    error = np.abs(r.width_m / t.width_m - 1.0)
    cells = t.width_m / t.cell_m
    cut, given = t.cut > 0.9, np.isfinite(r.width_m)
    widths = {}
    for name, which in (
        ("5 cells and more", cells >= 5),
        ("5 cells and more, cut", (cells >= 5) & cut),
        ("3 to 5 cells", (cells >= 3) & (cells < 5)),
        ("3 to 5 cells, cut", (cells >= 3) & (cells < 5) & cut),
        ("under 3 cells", cells < 3),
    ):
        of = which & given
        widths[name] = (
            int(which.sum()),
            float(given[which].mean()) if which.any() else np.nan,
            float(np.median(error[of])) if of.any() else np.nan,
        )
    planted, found = np.isfinite(t.bankfull_m), np.isfinite(r.bench_m)
    hit = planted & found
    off = r.bench_m[hit] - t.bankfull_m[hit]
    none = t.bench_away_m > CLEAR_M
    limit = np.maximum(t.bankfull_m[planted] / 3.0, ONE_STONE_M)
    known = t.setting != ""
    names, counts = np.unique(
        np.array([f"{a}|{b}" for a, b in zip(t.setting[known], r.setting[known], strict=True)]),
        return_counts=True,
    )
    return ChannelScore(
        widths,
        float(np.nanmedian(np.abs(r.depth_m[cut] / t.depth_m[cut] - 1.0))),
        int(planted.sum()),
        float(hit.sum() / planted.sum()),
        float((np.abs(off) <= np.maximum(0.05, 0.2 * t.bankfull_m[hit])).mean()),
        float(np.median(np.abs(off))),
        _share(found[none & cut]),
        _share(found[none & (t.cut < 0.1)]),
        int(planted.sum()),
        float((r.height_m[planted] <= limit + 1e-9).mean()),
        {(a.split("|")[0], a.split("|")[1]): int(n) for a, n in zip(names, counts, strict=True)},
    )


def _share(which: np.ndarray) -> float:
    return float(which.mean()) if which.size else 0.0


def main() -> None:
    """Print the scores that the documentation quotes."""
    seeds = range(421, 429)
    for at_cells in (False, True):
        print("at cells" if at_cells else "at stations")
        for line in score(read_ranch(s, at_cells=at_cells) for s in seeds).lines():
            print("  " + line)
    without = score(read_ranch(s, flow=False) for s in seeds)
    print(f"without a flow, heights: {100 * without.height_holds:.1f} % of {without.heights} hold")


if __name__ == "__main__":
    main()
