"""What two simple detectors find on the invented grounds: how hard each ground is.

The first calls every fall of 0.3 m within 3 m along a D8 path a head; the second every place where
a flow line steepens sharply and the ground is hollow below. Neither is part of the tool.
"""

from __future__ import annotations

import argparse

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sample_dem.naive import naive_heads
from sample_dem.routing import accumulate, breach, downstream_order, receivers
from tests.accuracy.ground_scoring import HeadCount, count_heads, pooled
from tests.accuracy.grounds import FITTING, NAMES, MadeGround, made_ground

LEAST_AREA_HA = 0.03
STEEPER = 0.15  # m/m, over 4 m below against 6 m above
HOLLOW_PER_M = 0.005  # curvature across the flow line


def falls(ground: MadeGround) -> NDArray[np.float64]:
    """Local x, y of falls of 0.3 m within 3 m."""
    return naive_heads(ground.elevation, ground.cell_m, least_area_ha=LEAST_AREA_HA)


def slope_steps(ground: MadeGround) -> NDArray[np.float64]:
    """Local x, y of places where a flow line of the smoothed ground steepens in a hollow."""
    cell = ground.cell_m
    z = ndimage.gaussian_filter(ground.elevation.astype(np.float64), 1.0 / cell, mode="nearest")
    level = z.copy()
    breach(level)
    rec = receivers(level)
    order = downstream_order(rec)
    area = accumulate(rec, order) * cell**2 / 1e4
    here = np.arange(z.size)
    for _ in range(max(round(4 / cell), 1)):
        here = np.where(rec[here] >= 0, rec[here], here)
    below = (z.ravel() - z.ravel()[here]) / 4.0
    broad = ndimage.gaussian_filter(ground.elevation.astype(np.float64), 4.0 / cell)
    gy, gx = np.gradient(broad, cell)
    usual = np.hypot(gx, gy).ravel()
    hollow = ndimage.laplace(broad).ravel() / cell**2
    step = np.where((area >= LEAST_AREA_HA) & (hollow > HOLLOW_PER_M), below - usual, 0.0)
    label, n = ndimage.label((step > STEEPER).reshape(z.shape), structure=np.ones((3, 3)))
    best = ndimage.maximum_position(step.reshape(z.shape), label, np.arange(1, n + 1))
    return np.array([((c + 0.5) * cell, (r + 0.5) * cell) for r, c in best]).reshape(-1, 2)


DETECTORS = {"falls along paths": falls, "slope steps in hollows": slope_steps}


def score(name: str, detector: str, seeds: list[int]) -> HeadCount:
    """Pool what one detector finds on one ground over seeds."""
    counts = []
    for seed in seeds:
        ground = made_ground(name, seed)
        local = DETECTORS[detector](ground)
        corner = np.array([ground.transform.c, ground.transform.f])
        counts.append(count_heads(corner + local * [1.0, -1.0], ground))
    return pooled(counts)


def main() -> None:
    """Print a table: a ground a row for each detector."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--seeds", type=int, nargs="*", default=list(FITTING)[:4])
    parser.add_argument("--grounds", nargs="*", default=list(NAMES))
    asked = parser.parse_args()
    print("| ground | detector | heads | recall | precision | wrong, mostly |")
    print("|---|---|---|---|---|---|")
    for name in asked.grounds:
        for detector in DETECTORS:
            got = score(name, detector, asked.seeds)
            often = ", ".join(f"{kind} {n}" for kind, n in got.wrong.most_common(3))
            heads = got.found + got.missed
            recall = f"{got.recall:.2f}" if heads else "-"
            precision = f"{got.precision:.2f}" if heads else "-"
            print(
                f"| {name} | {detector} | {heads} | {recall} | {precision} "
                f"| {got.wrong.total()}: {often} |"
            )


if __name__ == "__main__":
    main()
