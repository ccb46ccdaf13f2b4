"""Fit the witnesses of `siting.channels.headcut_confidence` on all kinds of ground at once.

`python -m tests.accuracy.fit_confidence` prints weights fitted on everything, and how each real
raster scores with weights that were fitted without it. Real marks: `tests.accuracy.real_marks`.
Witnesses, their ramps and the constants here were chosen while looking at those scores, which
therefore flatter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from siting.channels.head_doubts import doubted
from siting.channels.headcut_confidence import WITNESSES, measures_of, sharpness, testimony
from siting.channels.headcuts import HeadcutSettings, surest_apart
from terrain.channels.bed_drops import bed_drops, window_unit_m
from terrain.channels.network import stems
from terrain.flow.conditioning import condition
from terrain.reading.dem import read_dem
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.accuracy.grounds import made_ground
from tests.accuracy.real_marks import REAL, Marks, count, marks_of
from tests.ranches import kept_ranch

WITHIN_M = 6.0
#: Detections this close to a head, and no match, are doubles and teach nothing.
BESIDE_M = 10.0
#: Weight of a mark that one of two persons made.
MARKED_ONCE = 0.15
#: Marks of this raster are not complete: what is unmarked teaches less.
INCOMPLETE = ("skunk_creek",)
#: Real rasters without a gully head, or with none in these rows: their western half is fitted on,
#: their eastern half is for scoring. They weigh little, since nobody marked what they hold.
CONTROLS = {"soap_forest_roads": 0, "moab_wash": 330}
CONTROL_WEIGHT = 0.15
MADE = (
    ("second_lidar", (1101, 1102, 1103, 1104)),
    ("ranch_full_lidar", (1101, 1102, 1103)),
    ("terraces_lidar", (1101,)),
    ("second", (1105, 1106, 1107)),
    ("ranch_full", (1104, 1105)),
    ("ranch_lidar", (1106,)),
    ("second_sparse", (1108,)),
)
RANCHES = (301, 302, 303, 304)
#: Invented grounds together weigh so much beside all real ones: at equal weight a real find of 0.5
#: was one in three only.
MADE_TO_REAL = 0.3
SHRINK = 0.0005


@dataclass(frozen=True, slots=True, eq=False)
class Drops:
    """Drops of one ground: what the witnesses say, where they lie, what is known of them.

    ``most`` is the confidence that edges and stepped heights leave to each.
    """

    name: str
    real: bool
    said: np.ndarray
    xy: np.ndarray
    feet: np.ndarray
    height_m: np.ndarray
    area_ha: np.ndarray
    most: np.ndarray
    is_head: np.ndarray
    weight: np.ndarray


def table(raster: Raster) -> tuple[np.ndarray, ...]:
    """Testimony ``(n, witnesses)``, lips and feet ``(n, 2)``, heights and areas of all drops."""
    settings = HeadcutSettings()
    conditioned = condition(raster)
    counts = conditioned.flow.accumulate()
    walked = stems(
        conditioned.flow,
        counts,
        channel_area_ha=settings.walk_area_ha,
        top_area_ha=settings.top_area_ha,
    )
    drops = bed_drops(raster, conditioned, walked, least_drop_m=settings.least_drop_m)
    area = counts.reshape(-1)[drops.lip_cell] * raster.grid.cell_area_m2 / 10_000.0
    cell = raster.grid.cell_m
    sharp = sharpness(
        drops.measures, drops.from_junction_m, area, unit_m=window_unit_m(cell), cell_m=cell
    )
    said = testimony(measures_of(drops.measures, sharp, area))
    keep = drops.measures["height_m"] >= settings.least_height_m
    keep &= area >= settings.least_area_ha
    places = np.column_stack([drops.x_m, drops.y_m])
    height = drops.measures["height_m"]
    most = doubted(raster, drops.lip_cell, height, np.ones(height.size))
    return (
        np.column_stack([said[name] for name in WITNESSES])[keep],
        places[keep],
        np.column_stack([drops.foot_x_m, drops.foot_y_m])[keep],
        drops.measures["height_m"][keep],
        area[keep],
        most[keep],
    )


def _nearest(xy: np.ndarray, to: np.ndarray) -> np.ndarray:
    if not len(to):
        return np.full(len(xy), np.inf)
    distance = np.hypot(*(xy[:, None] - to[None]).transpose(2, 0, 1))
    return np.asarray(distance.min(axis=1))


def of_made(name: str, raster: Raster, heads: np.ndarray, counted: np.ndarray) -> Drops:
    """Drops of an invented ground whose heads lie at ``heads`` (n, 2)."""
    said, xy, feet, height, area, most = table(raster)
    near, near_any = _nearest(xy, heads[counted]), _nearest(xy, heads)
    is_head = near <= WITHIN_M
    weight = np.where(is_head, 1.0, np.where(near_any <= BESIDE_M, 0.0, 1.0))
    return Drops(name, False, said, xy, feet, height, area, most, is_head, weight)


def of_real(name: str, raster: Raster, marks: Marks) -> Drops:
    """Drops of a real raster inside the windows whose marks are complete."""
    said, xy, feet, height, area, most = table(raster)
    keep = marks.inside(xy)
    said, xy, feet, height, area, most = (v[keep] for v in (said, xy, feet, height, area, most))
    agreed = _nearest(xy, marks.agreed) <= WITHIN_M
    is_head = _nearest(xy, marks.every) <= WITHIN_M
    unmarked = 0.4 if name in INCOMPLETE else 1.0
    # marks leave out drops below half a metre
    weight = np.where(agreed, 1.0, np.where(is_head, MARKED_ONCE, unmarked))
    weight = np.where(height < 0.5, 0.3, weight)
    return Drops(name, True, said, xy, feet, height, area, most, is_head, weight)


def fit(grounds: Sequence[Drops]) -> np.ndarray:
    """Logit where no witness speaks, then the witnesses' weights, none below 0."""
    said = np.vstack([g.said for g in grounds])
    y = np.concatenate([g.is_head for g in grounds]).astype(float)
    total = [sum(g.weight.sum() for g in grounds if g.real is real) for real in (False, True)]
    share = {
        True: 1.0,
        False: MADE_TO_REAL * total[1] / total[0] if total[0] and total[1] else 1.0,
    }
    weight = np.concatenate([g.weight * share[g.real] for g in grounds])
    weight /= weight.sum()

    def loss(p: np.ndarray) -> tuple[float, np.ndarray]:
        chance = 1.0 / (1.0 + np.exp(-(p[0] + said @ p[1:])))
        miss = -(weight * np.where(y > 0, np.log(chance + 1e-12), np.log(1 - chance + 1e-12))).sum()
        slope = weight * (chance - y)
        return miss + SHRINK * p[1:].sum(), np.r_[slope.sum(), said.T @ slope + SHRINK]

    start = np.r_[-3.0, np.full(said.shape[1], 0.3)]
    bounds = [(None, None)] + [(0.0, None)] * said.shape[1]
    return np.asarray(minimize(loss, start, jac=True, bounds=bounds, method="L-BFGS-B").x)


def chance(p: np.ndarray, ground: Drops) -> np.ndarray:
    """Probability of each drop under weights ``p``."""
    return np.asarray(1.0 / (1.0 + np.exp(-(p[0] + ground.said @ p[1:]))))


def real_drops() -> list[Drops]:
    """All real rasters that have marks."""
    return [of_real(n, raster, marks) for n, (raster, marks) in marks_of(REAL).items()]


def control_drops(*, east: bool = False) -> list[Drops]:
    """Drops of the control rasters: of their western halves, or of the eastern ones."""
    out = []
    for name, first_row in CONTROLS.items():
        path = REAL / f"{name}.tif"
        if not path.exists():
            continue
        raster = read_dem(str(path)).raster
        said, xy, feet, height, area, most = table(raster)
        t = raster.grid.transform
        col, row = (xy[:, 0] - t.c) / t.a, (xy[:, 1] - t.f) / t.e
        keep = (row >= first_row) & (height >= 0.5) & ((col >= raster.grid.cols / 2) == east)
        none = np.zeros(int(keep.sum()), dtype=bool)
        parts = (said[keep], xy[keep], feet[keep], height[keep], area[keep], most[keep])
        out.append(Drops(name, True, *parts, none, np.full(none.size, CONTROL_WEIGHT)))
    return out


def made_drops() -> list[Drops]:
    """All invented grounds that are fitted on."""
    out = []
    for name, seeds in MADE:
        for seed in seeds:
            ground = made_ground(name, seed)
            heads = ground.truth["headcuts"]
            xy = np.array([(h["x"], h["y"]) for h in heads], float).reshape(-1, 2)
            counted = np.array([h["counted"] for h in heads], bool)
            out.append(of_made(f"{name} {seed}", ground.raster(), xy, counted))
    for seed in RANCHES:
        ranch = kept_ranch(seed, rows=1200, cols=1200, noise_m=0.05, noise_correlation_m=0.0)
        grid = Grid(*ranch.elevation.shape, ranch.transform)  # type: ignore[call-arg]
        heads = ranch.truth["headcuts"]
        xy = np.array([(h["x"], h["y"]) for h in heads], float).reshape(-1, 2)
        counted = np.array([h["height_m"] >= 0.6 for h in heads], bool)
        out.append(
            of_made(f"plain {seed}", Raster.from_array(ranch.elevation, grid=grid), xy, counted)
        )
    return out


def apart(ground: Drops, sure: np.ndarray) -> np.ndarray:
    """Indices of the surest drops, none within 6 m of a surer one."""
    return surest_apart(ground.xy, ground.feet, sure, ground.area_ha, 6.0)


def main() -> None:
    """Print weights, and scores of real rasters by weights fitted without them."""
    real = real_drops()
    everything = [*real, *control_drops(), *made_drops()]
    p = fit(everything)
    print(f"no witness: {p[0]:.2f}")
    for name, weight in zip(WITNESSES, p[1:], strict=True):
        print(f"{name}: {weight:.2f}")
    all_marks = marks_of(REAL)
    for level in (0.3, 0.4, 0.5, 0.6, 0.7, 0.8):
        pooled = np.zeros(5, dtype=int)
        for ground in real:
            q = fit([g for g in everything if g is not ground])
            sure = chance(q, ground)
            keep = apart(ground, sure)
            sure = np.minimum(sure, ground.most)
            keep = keep[sure[keep] >= level]
            small = ground.height_m[keep] < 0.5
            row = np.array(count(ground.xy[keep], small, all_marks[ground.name][1]))
            if ground.name in INCOMPLETE:
                row[2:] = 0
            pooled += row
            if level == 0.5:
                print(ground.name, "agreed, found, right, wrong, doubles:", row.tolist())
        agreed, found, right, wrong, doubles = pooled.tolist()
        print(
            f"at {level}: recall {found / max(agreed, 1):.2f} ({found}/{agreed}), "
            f"precision {right / max(right + wrong + doubles, 1):.2f}"
        )
    for ground in control_drops(east=True):
        sure = chance(p, ground)
        kept = apart(ground, sure)
        sure = np.minimum(sure, ground.most)
        print(f"{ground.name}, eastern half: {(sure[kept] >= 0.5).sum()} finds of 0.5 and more")


if __name__ == "__main__":
    main()
