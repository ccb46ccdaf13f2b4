"""Match found headcuts one to one with planted ones and count."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from siting.channels.headcuts import find_headcuts
from terrain.channels.network import channel_network, default_channel_area_ha
from terrain.flow.conditioning import condition
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.ranches import kept_ranch

WITHIN_M = 5.0
SURE = 0.5
COUNTED_M = 0.6  # lower heads (0.4 to 0.6 m) are neutral: neither missed nor false


@dataclass(frozen=True, slots=True)
class Score:
    """Counts and errors pooled over ranches."""

    found: int
    missed: int
    false: int
    neutral: int
    position_m: tuple[float, ...]
    height_error: tuple[float, ...]

    @property
    def recall(self) -> float:
        return self.found / (self.found + self.missed)

    @property
    def precision(self) -> float:
        return self.found / max(1, self.found + self.false)

    def line(self) -> str:
        return (
            f"{self.found + self.missed} heads of 0.6 m and more: recall {self.recall:.3f}, "
            f"precision {self.precision:.3f}, median position error "
            f"{np.median(self.position_m):.2f} m, median height error "
            f"{100 * np.median(np.abs(self.height_error)):.1f} %"
        )


def match(
    found_xy: np.ndarray, found_height: np.ndarray, truth_xy: np.ndarray, truth_height: np.ndarray
) -> Score:
    """Match finds with planted heads, counted heads first, then the nearest."""
    counted = truth_height >= COUNTED_M
    if len(found_xy) == 0 or len(truth_xy) == 0:
        return Score(0, int(counted.sum()), len(found_xy), 0, (), ())
    distance = np.hypot(*(found_xy[:, None, :] - truth_xy[None, :, :]).transpose(2, 0, 1))
    cost = np.where(distance <= WITHIN_M, distance - 100.0 - 10.0 * counted[None, :], 0.0)
    i, j = linear_sum_assignment(cost)
    ok = distance[i, j] <= WITHIN_M
    i, j = i[ok], j[ok]
    hit = counted[j]
    return Score(
        int(hit.sum()),
        int(counted.sum() - hit.sum()),
        int(len(found_xy) - len(i)),
        int((~hit).sum()),
        tuple(distance[i[hit], j[hit]]),
        tuple((found_height[i[hit]] - truth_height[j[hit]]) / truth_height[j[hit]]),
    )


def pooled(scores: Iterable[Score]) -> Score:
    """Add scores up."""
    s = list(scores)
    return Score(  # type: ignore[call-arg]
        *(sum(getattr(k, name) for k in s) for name in ("found", "missed", "false", "neutral")),
        tuple(v for k in s for v in k.position_m),
        tuple(v for k in s for v in k.height_error),
    )


def score_ranch(
    seed: int, *, noise_m: float = 0.05, noise_correlation_m: float = 0.0, rows: int = 1200
) -> Score:
    """Generate a ranch, look for its headcuts and score them."""
    ranch = kept_ranch(
        seed, rows=rows, cols=rows, noise_m=noise_m, noise_correlation_m=noise_correlation_m
    )
    grid = Grid(*ranch.elevation.shape, ranch.transform)  # type: ignore[call-arg]
    raster = Raster.from_array(ranch.elevation, grid=grid)
    conditioned = condition(raster)
    counts = conditioned.flow.accumulate()
    area = default_channel_area_ha(grid.cell_m)
    network = channel_network(conditioned.flow, counts, channel_area_ha=area)
    heads = find_headcuts(raster, conditioned, counts, network)
    sure = heads.confidence >= SURE
    truth = ranch.truth["headcuts"]
    return match(
        np.column_stack([heads.x_m, heads.y_m])[sure],
        heads.headcut_height_m[sure],
        np.array([[h["x"], h["y"]] for h in truth]).reshape(-1, 2),
        np.array([h["height_m"] for h in truth]),
    )


def main() -> None:
    """Print the scores that the documentation quotes."""
    for noise, correlation in ((0.05, 0.0), (0.10, 3.0)):
        seeds = range(401, 411)
        total = pooled(
            score_ranch(s, noise_m=noise, noise_correlation_m=correlation) for s in seeds
        )
        how = f"{100 * noise:.0f} cm noise" + (
            f", correlated over {correlation:g} m" if correlation else ""
        )
        print(f"seeds {seeds.start} to {seeds.stop - 1}, {how}: {total.line()}")


if __name__ == "__main__":
    main()
