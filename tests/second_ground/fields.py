"""Control ground: a hillside of terraced fields without a single gully."""

from __future__ import annotations

from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage

from tests.second_ground import things
from tests.second_ground.ground import (
    BASE_M,
    CRS,
    FINE_M,
    NORTH_M,
    WEST_M,
    Ground,
    _coarser,
    _told,
)
from tests.second_ground.lines import draw_lines
from tests.second_ground.wear import bumps, refine, wear_down

FIELD_M = 190.0


def _terraced(
    part: NDArray[np.float64], rise: float, stepped: bool, ridge: float
) -> NDArray[np.float64]:
    """One field of benches with ridges on their edges, or of ridges on an even slope."""
    smooth = ndimage.gaussian_filter(part, 8.0 / FINE_M, mode="nearest")
    turn = smooth / rise
    share = turn - np.floor(turn)
    near_edge = np.exp(-(((share - 0.93) / 0.06) ** 2))
    dug = np.exp(-(((share - 0.10) / 0.08) ** 2)) * 0.4
    if stepped:
        bench = rise * (np.floor(turn) + np.clip((share - 0.75) / 0.25, 0, 1))
        return np.asarray(0.9 * bench + 0.1 * smooth + (part - smooth) + ridge * near_edge)
    return np.asarray(part + ridge * (near_edge - dug))


def terraced_fields(seed: int, *, size_m: int = 640, noise_m: float = 0.05) -> Ground:
    """Fields laid in terraces on a slope, with swales, tracks, a road and a pond but no gully.

    Parameters
    ----------
    seed
        Any whole number; the same one gives the same ground.
    size_m
        Length of a side, a multiple of 8: 640 m are 41 ha.
    noise_m
        Standard deviation of the white noise of ``elevation``.
    """
    rng = np.random.default_rng([seed, 4])
    worn = wear_down(
        rng, size_m, uplift_m=0.30, steps=70, softness=0.12, creep_m=9.0, tilt=0.02, rough_m=1.5
    )
    fine = refine(worn, 4)
    n = fine.shape[0]
    traps: list[things.Thing] = []
    count = max(round(size_m / FIELD_M), 1)
    out = fine.copy()
    for i in range(count):
        for j in range(count):
            rows = slice(n * i // count, n * (i + 1) // count)
            cols = slice(n * j // count, n * (j + 1) // count)
            part = fine[rows, cols]
            if rng.random() < 0.15:
                continue  # a field left as it was
            rise = float(np.clip(np.ptp(part) / rng.uniform(5, 10), 0.6, 1.6))
            stepped = bool(rng.random() < 0.5)
            ridge = float(rng.uniform(0.25, 0.45) if stepped else rng.uniform(0.4, 0.7))
            r, c = np.indices(part.shape) * FINE_M
            edge = np.minimum.reduce([r, c, part.shape[0] * FINE_M - r, part.shape[1] * FINE_M - c])
            ease = np.clip((edge - 3.0) / 5.0, 0, 1)
            made = _terraced(part, rise, stepped, ridge)
            out[rows, cols] = part + ease * (made - part)
            at = np.argwhere(np.abs(made - part)[::20, ::20] > 0.5 * ridge) * 20
            for a, b in at[rng.integers(0, len(at), 4)] if len(at) else []:
                y, x = (rows.start + a) * FINE_M, (cols.start + b) * FINE_M
                traps.append(things.Thing("terrace", float(x), float(y), rise))
    for wave_m, tall_m in ((9.0, 0.03), (2.0, 0.012)):
        out += tall_m * bumps(rng, out.shape, FINE_M, wave_m)
    site = things.Site(out, FINE_M, np.ones(out.shape, bool), np.zeros(out.shape, bool), traps)
    lines = draw_lines(_coarser(out, 4), 2.0, rng)
    things.road(site, lines, rng)
    water = things.stock_pond(site, lines, [np.zeros(line.x.size) for line in lines], rng)
    for _ in range(4):
        things.track(site, rng, water)
    clean = _coarser(site.z, 2)
    noise = noise_m * rng.standard_normal(clean.shape)
    noise[_coarser(site.water.astype(float), 2) > 0.5] = 0.0
    told = _told(traps)
    for trap in told:
        trap["x"], trap["y"] = round(WEST_M + trap["x"], 2), round(NORTH_M - trap["y"], 2)
    truth: dict[str, Any] = {
        "note": "Invented. No gully and no head.",
        "seed": seed,
        "kind": "terraced_fields",
        "cell_m": 1.0,
        "headcuts": [],
        "gullies": [],
        "traps": told,
    }
    arrays = [
        (clean + BASE_M + noise).astype(np.float32),
        (clean + BASE_M).astype(np.float32),
        (site.z + BASE_M).astype(np.float32),
        site.water,
        (clean + BASE_M).astype(np.float32),
        np.zeros(clean.shape, np.int32),
    ]
    for array in arrays:
        array.setflags(write=False)
    transform = Affine(1.0, 0, WEST_M, 0, -1.0, NORTH_M)
    return Ground(seed, "terraced_fields", *arrays, transform, CRS, truth)  # type: ignore[call-arg]
