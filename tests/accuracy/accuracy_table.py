"""Print how far headcuts can be trusted, by kind of ground and cell size: `make accuracy`.

Grounds are those that nothing was fitted on (seeds 1201 and on). Real rasters with marks follow,
each by weights that were fitted without it, where `shared/dem/real` lies beside the checkout.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from siting.channels.headcuts import Headcuts, find_headcuts
from terrain.channels.network import channel_network, default_channel_area_ha
from terrain.flow.conditioning import condition
from terrain.values.raster import Raster
from tests.accuracy.fit_confidence import (
    INCOMPLETE,
    apart,
    chance,
    control_drops,
    fit,
    made_drops,
    real_drops,
)
from tests.accuracy.ground_scoring import HeadCount, count_heads, pooled
from tests.accuracy.grounds import MadeGround, made_ground
from tests.accuracy.real_marks import REAL, count, marks_of, pairs_within

SURE = 0.5
BINS = (0.25, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.01)
BY_GROUND = ("ranch", "ranch_full", "ranch_full_lidar", "second", "second_lidar", "terraces_lidar")
BY_CELL = ("ranch_full_lidar", "second_lidar")
CELLS_M = (0.5, 1.0, 2.0, 3.0, 5.0)
SEEDS = (1201, 1202, 1203)


@dataclass
class Tally:
    """What was found on several grounds of one kind."""

    counts: list[HeadCount] = field(default_factory=list)
    height_error: list[float] = field(default_factory=list)
    said: list[float] = field(default_factory=list)
    was: list[bool] = field(default_factory=list)

    def add(self, ground: MadeGround) -> None:
        """Find heads on a ground and count them."""
        heads = heads_on(ground.raster())
        xy = np.column_stack([heads.x_m, heads.y_m])
        sure = heads.confidence >= SURE
        self.counts.append(count_heads(xy[sure], ground))
        told = ground.truth["headcuts"]
        places = np.array([(h["x"], h["y"]) for h in told], float).reshape(-1, 2)
        met = dict(pairs_within(xy, places))
        for i in range(heads.size):
            head = told[met[i]] if i in met else None
            if head is not None and not head["counted"]:
                continue
            self.said.append(float(heads.confidence[i]))
            self.was.append(head is not None)
            if head is not None and sure[i]:
                height = float(head.get("fall_m", head["height_m"]))
                drop = heads.headcut_height_m[i]
                self.height_error.append(float(drop) / height - 1.0)

    def row(self, name: str) -> str:
        """One row of the table."""
        c = pooled(self.counts)
        near = np.median(c.position_m) if c.position_m else np.nan
        off = 100 * np.median(np.abs(self.height_error)) if self.height_error else np.nan
        precision = f"{c.precision:.2f}" if c.found + c.wrong.total() else "-"
        recall = f"{c.recall:.2f}" if c.found + c.missed else "-"
        return (
            f"| {name} | {c.found + c.missed} | {recall} | {precision} | {c.wrong.total()} "
            f"| {near:.1f} m | {off:.0f} % |"
        )


def heads_on(raster: Raster) -> Headcuts:
    """Headcuts of a raster, as the main job finds them."""
    conditioned = condition(raster)
    counts = conditioned.flow.accumulate()
    area = default_channel_area_ha(raster.grid.cell_m)
    network = channel_network(conditioned.flow, counts, channel_area_ha=area)
    return find_headcuts(raster, conditioned, counts, network)


def tally_of(name: str, *, cell_m: float = 1.0) -> Tally:
    """Count on all scoring grounds of one kind."""
    tally = Tally()
    for seed in SEEDS:
        tally.add(made_ground(name, seed, cell_m=cell_m))
    return tally


def reliability(said: Iterable[float], was: Iterable[bool]) -> Iterator[str]:
    """Rows: confidence, number of finds, share that are heads."""
    s, w = np.array(list(said), float), np.array(list(was), bool)
    for low, high in itertools.pairwise(BINS):
        here = (s >= low) & (s < high)
        if here.any():
            yield (
                f"| {low:.2f} to {min(high, 1.0):.2f} | {here.sum()} | {s[here].mean():.2f} "
                f"| {w[here].mean():.2f} |"
            )


def _real() -> tuple[list[str], list[float], list[bool]]:
    """Rows of recall and precision, and the finds on real rasters with what they are."""
    real = real_drops()
    rest = [*control_drops(), *made_drops()]
    marks = marks_of(REAL)
    rows, said, was = [], [], []
    sure_of = {g.name: chance(fit([*rest, *(h for h in real if h is not g)]), g) for g in real}
    for level in BINS[:-1]:
        total = np.zeros(5, dtype=int)
        for g in real:
            keep = apart(g, sure_of[g.name])
            keep = keep[np.minimum(sure_of[g.name], g.most)[keep] >= level]
            row = np.array(count(g.xy[keep], g.height_m[keep] < 0.5, marks[g.name][1]))
            if g.name in INCOMPLETE:
                row[2:] = 0
            total += row
        agreed, found, right, wrong, doubles = total.tolist()
        rows.append(
            f"| {level:.2f} | {found} of {agreed} | {found / agreed:.2f} "
            f"| {right / max(right + wrong + doubles, 1):.2f} |"
        )
    for g in real:
        if g.name in INCOMPLETE:
            continue
        keep = apart(g, sure_of[g.name])
        sure = np.minimum(sure_of[g.name], g.most)
        keep = keep[(sure[keep] >= BINS[0]) & (g.height_m[keep] >= 0.5)]
        agreed = {i for i, _ in pairs_within(g.xy[keep], marks[g.name][1].agreed)}
        marked = {i for i, _ in pairs_within(g.xy[keep], marks[g.name][1].every)}
        for i, k in enumerate(keep.tolist()):
            if i in agreed or i not in marked:
                said.append(float(sure[k]))
                was.append(i in agreed)
    return rows, said, was


def main() -> None:
    """Print the tables."""
    head = "| ground | heads | recall | precision | wrong | position | height |"
    print(f"{head}\n|---|---|---|---|---|---|---|", flush=True)
    all_said: list[float] = []
    all_was: list[bool] = []
    for name in BY_GROUND:
        tally = tally_of(name)
        all_said += tally.said
        all_was += tally.was
        print(tally.row(name), flush=True)
    for name in BY_CELL:
        for cell in CELLS_M:
            print(tally_of(name, cell_m=cell).row(f"{name}, cells of {cell:g} m"), flush=True)
    told = "| confidence | finds | said | were heads |\n|---|---|---|---|"
    print(f"\nInvented ground:\n\n{told}")
    print("\n".join(reliability(all_said, all_was)))
    if not (REAL / "marks").exists():
        print("\nNo real rasters with marks beside the checkout: their tables are left out.")
        return
    rows, said, was = _real()
    print("\nReal ground:\n\n| confidence at least | agreed heads found | recall | precision |")
    print("|---|---|---|---|\n" + "\n".join(rows) + f"\n\n{told}")
    print("\n".join(reliability(said, was)))


if __name__ == "__main__":
    main()
