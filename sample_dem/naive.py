"""A straw detector: any drop above 0.3 m within 3 m along a D8 path is called a headcut.

Only here to show that the sample is hard enough: it follows the noisy surface, knows nothing of
channels, and so reports gully walls, grass, scarps, fills and banks as well. Not part of the tool.
"""

from __future__ import annotations

import argparse

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sample_dem.generator import NORTH_M, WEST_M, Ranch, make_ranch
from sample_dem.routing import accumulate, breach, downstream_order, receivers

DROP_M = 0.3
SPAN_M = 3.0
MATCH_M = 5.0


def naive_heads(
    z: NDArray[np.float32], cell_m: float, *, least_area_ha: float = 0.3
) -> NDArray[np.float64]:
    """Local x, y of each clump of cells whose path falls more than 0.3 m in 3 m."""
    level = z.astype(np.float64)
    breach(level)
    rec = receivers(level)
    count = accumulate(rec, downstream_order(rec))
    steps = max(round(SPAN_M / cell_m), 1)
    here = np.arange(z.size)
    for _ in range(steps):
        here = np.where(rec[here] >= 0, rec[here], here)
    flat = z.ravel()
    fall = flat - flat[here]
    hit = (fall > DROP_M) & (count * cell_m**2 / 1e4 >= least_area_ha)
    label, n = ndimage.label(hit.reshape(z.shape), structure=np.ones((3, 3)))
    best = ndimage.maximum_position(fall.reshape(z.shape), label, np.arange(1, n + 1))
    return np.array([((c + 0.5) * cell_m, (r + 0.5) * cell_m) for r, c in best]).reshape(-1, 2)


def score(found: NDArray[np.float64], ranch: Ranch) -> tuple[int, int, int, int]:
    """True, false and missed heads, and how many were asked.

    One to one within 5 m; heads under 0.6 m count neither way.
    """
    heads = ranch.truth["headcuts"]
    spots = np.array([(h["x"] - WEST_M, NORTH_M - h["y"]) for h in heads]).reshape(-1, 2)
    neutral = np.array([h["height_m"] < 0.6 for h in heads], bool)
    d = np.hypot(found[:, None, 0] - spots[:, 0], found[:, None, 1] - spots[:, 1])
    used_found, used_head = set(), set()
    for k in np.argsort(d, axis=None):
        i, j = np.unravel_index(k, d.shape)
        if d[i, j] > MATCH_M:
            break
        if i not in used_found and j not in used_head:
            used_found.add(int(i))
            used_head.add(int(j))
    right = sum(not neutral[j] for j in used_head)
    asked = int((~neutral).sum())
    return right, len(found) - len(used_found), asked - right, asked


def main() -> None:
    """Score the straw detector on a few ranches."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("seeds", nargs="*", type=int, default=[1, 2, 3])
    for seed in parser.parse_args().seeds:
        ranch = make_ranch(seed)
        right, wrong, missed, asked = score(naive_heads(ranch.elevation, 1.0), ranch)
        precision = right / max(right + wrong, 1)
        print(
            f"seed {seed}: {asked} heads, recall {right / asked:.2f}, "
            f"precision {precision:.2f}, {wrong} false, {missed} missed"
        )


if __name__ == "__main__":
    main()
