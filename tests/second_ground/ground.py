"""Second grounds by seed: four kinds of land, with gullies and what may be taken for one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage

from tests.second_ground import things
from tests.second_ground.lines import Line, Swing, draw_lines
from tests.second_ground.retreat import Cuts, Wave, run_waves
from tests.second_ground.telling import pour_overs, tell_gullies, tell_heads, without_dry
from tests.second_ground.trench import open_trenches
from tests.second_ground.wear import bumps, refine, wear_down

CRS = "EPSG:26914"
WEST_M, NORTH_M = 410_000.0, 4_420_000.0
BASE_M = 700.0
FINE_M, CELL_M = 0.5, 1.0
NEAR_M = 4.0
MARGIN_M = 32  # made around the land and cut off, since lines crowd along a closed edge
KINDS = ("swales", "dissected", "tableland", "meadow")


@dataclass(frozen=True, slots=True)
class Ground:
    """An invented land. Arrays are read-only; elevations in metres."""

    seed: int
    kind: str
    elevation: NDArray[np.float32]  # 1 m cells, with white noise
    clean: NDArray[np.float32]  # 1 m cells
    fine: NDArray[np.float32]  # 0.5 m cells, without noise
    water: NDArray[np.bool_]  # 0.5 m cells
    uncut: NDArray[np.float32]  # 1 m cells, as if there were no gully
    gully: NDArray[np.int32]  # 1 m cells: number of the gully, 0 outside
    transform: Affine
    crs: str
    truth: dict[str, Any]


@dataclass(frozen=True, slots=True)
class _Land:
    """How one kind of land is worn and cut."""

    uplift_m: float
    steps: int
    softness: float
    creep_m: float
    tilt: float
    rough_m: float
    drop_m: tuple[float, float]
    time: tuple[float, float]
    half_width_m: float
    young_wall: float
    old_wall: float
    spread_share: float
    waves: tuple[int, int]
    from_edge: bool = True
    swing: bool = False


_LANDS = {
    "swales": _Land(
        0.2, 80, 0.12, 6.0, 0.012, 1.0, (0.9, 2.6), (60, 170), 1.5, 2.6, 1.2, 0.45, (1, 2), False
    ),
    "dissected": _Land(
        0.6, 80, 0.15, 4.0, 0.03, 2.0, (3.0, 5.0), (250, 550), 1.9, 2.2, 0.9, 0.5, (2, 3)
    ),
    "tableland": _Land(
        0.06, 40, 0.06, 6.0, 0.008, 0.6, (6.0, 10.0), (250, 550), 2.0, 1.9, 0.8, 0.6, (2, 3)
    ),
    "meadow": _Land(
        0.3, 80, 0.12, 6.0, 0.008, 1.0, (1.3, 2.2), (70, 200), 1.3, 2.4, 1.3, 0.4, (1, 1),
        True, True,
    ),
}  # fmt: skip


def _fill_valley(z: NDArray[np.float64], cell_m: float, lines: list[Line]) -> NDArray[np.float64]:
    """Lay a flat meadow along the main line: the bottom of the valley filled up."""
    main = lines[0]
    big = main.area_m2 > 25_000
    x, y, bed = main.x[big], main.y[big], main.bed_m[big]
    if x.size < 50:
        return z
    near = np.full(z.shape, True)
    r, c = (y / cell_m).astype(int), (x / cell_m).astype(int)
    near[r, c] = False
    level = np.zeros(z.shape)
    level[r, c] = bed
    far, at = ndimage.distance_transform_edt(near, return_indices=True)
    fill = level[tuple(at)] + 1.0 + 0.006 * far * cell_m
    ease = np.clip((75.0 - far * cell_m) / 25.0, 0, 1)
    raised = np.maximum(z, fill * ease + (z - 5.0) * (1 - ease))
    return np.asarray(ndimage.gaussian_filter(raised, 5.0 / cell_m, mode="nearest"))


def _waves(land: _Land, lines: list[Line], rng: np.random.Generator) -> list[Wave]:
    def wave(line: int, start: int, drop: float, goal: float, time: float, first: bool) -> Wave:
        return Wave(
            line, start, drop, goal, time,
            float(rng.uniform(0.7, 0.9) if land.from_edge else rng.uniform(0.3, 0.6)),
            land.half_width_m * float(rng.uniform(0.8, 1.3)) * (1.0 if first else 0.65),
            land.young_wall, land.old_wall, land.spread_share,
        )  # fmt: skip

    begun: list[Wave] = []
    if land.from_edge:
        for line in lines:
            if line.parent >= 0 or line.area_m2[0] < 12_000:
                continue
            drop = float(rng.uniform(*land.drop_m)) * min((line.area_m2[0] / 6e4) ** 0.2, 1.2)
            begun.append(wave(line.number, 0, drop, drop, float(rng.uniform(*land.time)), True))
    else:
        for line in lines:
            fit = np.flatnonzero((line.area_m2 > 5_000) & (line.area_m2 < 150_000))
            at = int(rng.uniform(40, 160))
            while at < fit.size - 80:
                goal = float(rng.uniform(*land.drop_m))
                time = float(rng.uniform(*land.time))
                begun.append(wave(line.number, int(fit[at]), 0.05, goal, time, True))
                at += int(rng.uniform(240, 560))
    out = list(begun)
    for first in begun:
        time, drop = first.time, first.drop_m
        for _ in range(int(rng.integers(land.waves[0], land.waves[1] + 1)) - 1):
            time *= float(rng.uniform(0.35, 0.65))
            drop *= float(rng.uniform(0.3, 0.5))
            goal = first.goal_m * drop / first.drop_m
            out.append(wave(first.line, first.start, drop, goal, time, False))
    return out


def _put_things(
    site: things.Site, lines: list[Line], cuts: Cuts, kind: str, rng: np.random.Generator
) -> None:
    cut = [d.sum(axis=0) for d in cuts.depth_m]
    water = things.stock_pond(site, lines, cut, rng)
    if kind in ("meadow", "swales"):
        water = things.dugout(site, rng) or water
    things.road(site, lines, rng)
    for make, most in (
        (things.stepped_fields, 2), (things.ledge, 5), (things.pad, 2),
    ):  # fmt: skip
        for _ in range(int(rng.integers(1, most + 1))):
            make(site, rng)
    for _ in range(int(rng.integers(2, 6))):
        things.track(site, rng, water)
    for _ in range(int(rng.integers(1, 4))):
        things.track(site, rng)


def _coarser(z: NDArray[np.float64], times: int) -> NDArray[np.float64]:
    n = z.shape[0] // times
    return np.asarray(z.reshape(n, times, n, times).mean(axis=(1, 3)))


def make_ground(
    seed: int, kind: str | None = None, *, size_m: int = 800, noise_m: float = 0.05
) -> Ground:
    """Make a land, its gullies and the truth about both.

    Parameters
    ----------
    seed
        Any whole number; the same one gives the same ground.
    kind
        One of ``KINDS``; without it the seed's remainder by their number picks one.
    size_m
        Length of a side, a multiple of 8.
    noise_m
        Standard deviation of the white noise of ``elevation``.
    """
    kind = kind or KINDS[seed % len(KINDS)]
    land = _LANDS[kind]
    rng = np.random.default_rng([seed, 2])
    whole_m = size_m + 2 * MARGIN_M
    worn = wear_down(
        rng, whole_m, uplift_m=land.uplift_m, steps=land.steps, softness=land.softness,
        creep_m=land.creep_m, tilt=land.tilt, rough_m=land.rough_m,
    )  # fmt: skip
    swing = None
    if land.swing:
        worn = _fill_valley(worn, 2.0, draw_lines(worn, 2.0, np.random.default_rng(0)))
        swing = Swing(float(rng.uniform(60, 105)), float(rng.uniform(9, 17)), 25_000.0)
    for wave_m, tall_m in ((60.0, 0.08), (25.0, 0.05)):
        worn += tall_m * bumps(rng, worn.shape, 2.0, wave_m)
    before = refine(worn, 4)
    for wave_m, tall_m in ((10.0, 0.03), (4.0, 0.02), (1.8, 0.012)):
        before += tall_m * bumps(rng, before.shape, FINE_M, wave_m)
    lines = draw_lines(_coarser(before, 4), 2.0, rng, swing)
    waves = _waves(land, lines, rng)
    cuts = run_waves(lines, waves, rng)
    after = open_trenches(before, FINE_M, lines, waves, cuts, rng)
    edge = int(MARGIN_M / FINE_M)
    before, after = before[edge:-edge, edge:-edge], after[edge:-edge, edge:-edge]
    lines = [replace(line, x=line.x - MARGIN_M, y=line.y - MARGIN_M) for line in lines]
    cut_away = before - after
    far = ndimage.distance_transform_edt(cut_away < 0.03) * FINE_M
    site = things.Site(after.copy(), FINE_M, far > 12.0, np.zeros(after.shape, bool), [])
    _put_things(site, lines, cuts, kind, rng)
    fine = site.z
    clean, cut = _coarser(fine, 2), _coarser(cut_away, 2)
    transform = Affine(CELL_M, 0, WEST_M, 0, -CELL_M, NORTH_M)
    gully, gullies = tell_gullies(cut, CELL_M, transform)
    heads, smooth = tell_heads(after, FINE_M, lines, waves, cuts)
    heads = without_dry(heads, clean, CELL_M)
    sides, walls = pour_overs(clean, clean + cut, gully, CELL_M, heads)
    traps = [*_told(site.things), *smooth, *walls]
    truth = _truth(seed, kind, [*heads, *sides], gullies, gully, traps)
    noise = noise_m * rng.standard_normal(clean.shape)
    water = _coarser(site.water.astype(float), 2) > 0.5
    noise[water] = 0.0
    arrays = [
        (clean + BASE_M + noise).astype(np.float32),
        (clean + BASE_M).astype(np.float32),
        (fine + BASE_M).astype(np.float32),
        site.water,
        (clean + cut + BASE_M).astype(np.float32),
        gully,
    ]
    for array in arrays:
        array.setflags(write=False)
    return Ground(seed, kind, *arrays, transform, CRS, truth)  # type: ignore[call-arg]


def _told(placed: list[things.Thing]) -> list[dict[str, Any]]:
    return [{"kind": t.kind, "size_m": round(t.size_m, 2), "x": t.x, "y": t.y} for t in placed]


def _truth(
    seed: int,
    kind: str,
    heads: list[dict[str, Any]],
    gullies: list[dict[str, Any]],
    gully: NDArray[np.int32],
    traps: list[dict[str, Any]],
) -> dict[str, Any]:
    """Everything in map coordinates, heads with the gully that they belong to."""
    near, at = ndimage.distance_transform_edt(gully == 0, return_indices=True)
    for head in heads:
        r = int(np.clip(head["foot_y"] / CELL_M, 0, gully.shape[0] - 1))
        c = int(np.clip(head["foot_x"] / CELL_M, 0, gully.shape[1] - 1))
        head["gully"] = int(gully[at[0, r, c], at[1, r, c]]) if near[r, c] <= NEAR_M else 0
    # the cut of one that belongs to no gully is too shallow or too small to be one
    heads = [head for head in heads if head["gully"]]
    for number, head in enumerate(heads, 1):
        head["id"] = f"S{number:03d}"
        for x, y in (("x", "y"), ("foot_x", "foot_y")):
            head[x], head[y] = round(WEST_M + head[x], 2), round(NORTH_M - head[y], 2)
        for name in ("height_m", "drop_length_m", "face_slope", "drainage_area_ha"):
            head[name] = round(head[name], 4)
    for trap in traps:
        trap["x"], trap["y"] = round(WEST_M + trap["x"], 2), round(NORTH_M - trap["y"], 2)
    return {
        "note": "Invented. Height: lip to foot of the drop as the surface shows it.",
        "seed": seed,
        "kind": kind,
        "cell_m": CELL_M,
        "headcuts": heads,
        "gullies": gullies,
        "traps": traps,
    }
