"""The low grade control below each headcut, without which the structure above is undermined.

Its crest has to lie between the foot of the drop, so that it backs water to the foot, and the sill
of the bowl. It stands 4 to 6 drop heights below the foot; where one low structure cannot reach the
foot from there, a second one stands between the two, each within its own height.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from siting.channels.bed_profile import bed_below
from siting.channels.ground import Ground
from siting.channels.headcut_measures import HeadMeasures
from siting.layout.measuring import Decision, Measured, SpotMaker, taken
from siting.layout.proposals import Place, Placed
from siting.structures.structure_type import Size
from siting.values.wording import metres, sentences
from terrain.values.arrays import BoolArray, FloatArray, IntArray

#: Banks lower than this below a rundown let the water spread, m (common practice).
OPEN_GROUND_M = 0.3
#: A second structure keeps this far from the end of the one at the drop, m (common practice).
CLEAR_M = 1.0
#: Crests that differ by less are level, m: stones are not set finer (common practice).
LEVEL_M = 0.005
#: Rows of a bed that its slope is told from, at least.
SLOPE_ROWS = 3
#: Words in the refusal of a crest that is too low.
TOO_LOW = "is needed to back water"
#: What is said at a grade control that backs water to the foot, at one that cannot, and at the
#: headcut of the latter.
BACKS_WATER = " and backs water to the foot"
TOO_LOW_HERE = (
    "It is too low here to back water to the foot: watch the foot of the drop after each flow, and "
    "measure bankfull, which may allow more."
)
ONLY_HOLDS = "Its grade control only holds the bed:"


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Where the grade control of one headcut may stand; arrays of shape ``(n,)``, going down.

    Parameters
    ----------
    cell, distance_m, needed_m
        Places, metres below the foot of the drop, and height of a crest there that is level with
        the foot.
    usual
        Whether a place lies within 4 to 6 drop heights; the others are closer.
    next_drop_m
        Metres from the foot to the next drop below, where that ends the stretch; else NaN.
    """

    cell: IntArray
    distance_m: FloatArray
    needed_m: FloatArray
    usual: BoolArray
    next_drop_m: float

    @property
    def size(self) -> int:
        """Number of places."""
        return int(self.cell.size)


def stretch_below(ground: Ground, foot: int, height_m: float) -> Stretch:
    """Lay out the bed below the foot of a drop.

    Parameters
    ----------
    ground
        Terrain.
    foot
        Cell of the foot.
    height_m
        Height of the drop.
    """
    rules, cell_m = ground.rules, ground.raster.grid.cell_m
    near = rules.low("pair.distance") * height_m
    # cells are coarse against short distances: one past the least distance always counts
    far = max(rules.high("pair.distance") * height_m, near + 1.5 * cell_m)
    bed = bed_below(ground, foot, length_m=far + 2 * cell_m)
    next_drop = float(bed.distance_m[-1]) if bed.ends_at == "headcut" else np.nan
    least = rules.value("rock_bowl.run") * height_m + CLEAR_M
    # the foot may lie in a plunge pool: the bed's own fall then counts
    slope = max(bed.slope()[0], 0.0) if bed.distance_m.size >= SLOPE_ROWS else 0.0
    clear = far if np.isnan(next_drop) else min(far, next_drop - cell_m)
    inside = np.flatnonzero((bed.distance_m >= min(least, near)) & (bed.distance_m <= clear))
    usual = bed.distance_m[inside] >= near - 1e-9
    # steps may share a cell: its middle lies midway between those in each part of the stretch
    keys = np.column_stack([bed.cell[inside], usual])
    _, first, own, rows = np.unique(
        keys, axis=0, return_index=True, return_inverse=True, return_counts=True
    )
    down = np.argsort(first)
    fall = (np.bincount(own, bed.bed_m[0] - bed.bed_m[inside]) / rows)[down]
    distance = (np.bincount(own, bed.distance_m[inside]) / rows)[down]
    return Stretch(
        cell=bed.cell[inside][first[down]],
        distance_m=distance,
        needed_m=np.maximum(np.maximum(fall, slope * distance) - LEVEL_M, 0.0),
        usual=usual[first[down]],
        next_drop_m=next_drop,
    )


class Pairs:
    """Grade controls of many headcuts: measured together, placed one by one.

    Parameters
    ----------
    maker
        Measures and decides.
    heads
        Measures at the headcuts.
    which
        Those that get a structure, as rows of ``heads``.
    """

    def __init__(self, maker: SpotMaker, heads: HeadMeasures, which: Sequence[int]) -> None:
        ground = maker.ground
        self._maker = maker
        self._stretch = {
            k: stretch_below(
                ground,
                int(ground.headcuts.foot_cell[heads.index[k]]),
                float(heads.height_m[k]),
            )
            for k in which
        }
        open_to = [k for k in which if self._stretch[k].size]
        sizes = [self._stretch[k].size for k in open_to]
        self._first = dict(zip(open_to, np.cumsum([0, *sizes[:-1]]), strict=True)) if sizes else {}
        if not open_to:
            return
        cells = np.concatenate([self._stretch[k].cell for k in open_to])
        # one flow for a stretch of a few metres: that of its lowest place
        last = np.array([self._stretch[k].cell[-1] for k in open_to])
        floods = taken(maker.gauge.at(last, notes=False), np.repeat(np.arange(len(sizes)), sizes))
        self._measured: Measured = maker.measure(cells, floods=floods)
        reach, station = ground.on_network(cells)
        near = ground.station_near(reach, station)
        self._reach, self._station = reach, station
        s = ground.stations
        at = np.maximum(near, 0)
        below = np.concatenate(
            [
                np.full(n, max(float(ground.headcuts.slope_below[heads.index[k]]), 0.0))
                for k, n in zip(open_to, sizes, strict=True)
            ]
        )
        self._slope = np.where(near >= 0, s.slope[at], below) if s.size else below
        self._fan = (near >= 0) & s.is_fan[at] if s.size else np.zeros(cells.size, bool)
        self._keep = maker.keep_off(cells)

    def place(self, stands: Sequence[tuple[int, Place]], placed: Placed) -> None:
        """Add headcuts with their grade controls; without one the headcut says why."""
        for k, head in stands:
            controls, why = self._controls(k, head)
            group = placed.new_group() if controls else 0
            placed.places += [replace(c, group=group) for c in controls]
            placed.places.append(
                replace(
                    head,
                    group=group,
                    build_order=len(controls) + 1 if controls else 0,
                    cautions=(*head.cautions, why) if why else head.cautions,
                )
            )

    def _controls(self, k: int, head: Place) -> tuple[list[Place], str]:
        """Grade controls of one headcut from the lowest up, or why there is none."""
        stretch = self._stretch[k]
        usual = np.flatnonzero(stretch.usual)
        if not usual.size:
            return [], self._no_room(stretch)
        refusals: list[str] = []
        for j in usual:
            decision, why = self._try(k, head, int(j), float(stretch.needed_m[j]))
            if decision is not None:
                return [self._control(k, head, int(j), decision, 1, of=1)], ""
            refusals.append(why)
        two = self._two_in_series(k, head, usual)
        if two:
            return two, ""
        too_low = [(int(j), why) for j, why in zip(usual, refusals, strict=True) if TOO_LOW in why]
        if not too_low:
            return [], f"No grade control below it: {refusals[0]}"
        return self._only_holds(k, head, too_low)

    def _only_holds(
        self, k: int, head: Place, too_low: list[tuple[int, str]]
    ) -> tuple[list[Place], str]:
        """A grade control too low to back water: it keeps the bed below from falling away."""
        others: list[str] = []
        nor = "Two in series do not reach the foot either."
        for j, why in too_low:
            decision, other = self._try(k, head, j, np.nan)
            if decision is not None:
                low = self._control(k, head, j, decision, 1, of=1)
                return [low], f"{ONLY_HOLDS} {why} {nor}"
            others.append(other)
        return [], (
            f"No grade control below it: {too_low[0][1]} {nor} One that only holds the bed does "
            f"not fit: {others[0]}"
        )

    def _no_room(self, stretch: Stretch) -> str:
        if np.isfinite(stretch.next_drop_m):
            return (
                f"No room for its own grade control: the next drop lies "
                f"{metres(stretch.next_drop_m)} below the foot. Build the lower one first; step "
                "the two together."
            )
        least = self._maker.ground.rules.low("pair.distance")
        return (
            "No place for a grade control below it: the channel leaves the raster before "
            f"{least:g} drop heights. Look for one on site."
        )

    def _try(self, k: int, head: Place, j: int, needed_m: float) -> tuple[Decision | None, str]:
        """Ask the types about one place; also the reasons against it."""
        ground, at = self._maker.ground, self._first[k] + j
        cell = self._stretch[k].cell[j : j + 1]
        if not bool(ground.inside(cell)[0]):
            return None, "it would stand outside the ranch; agree with the neighbour."
        refused = [c.why_not for c in self._keep[at] if not c.passed]
        if refused:
            return None, _lowered(refused[0])
        purposes = ("spread", "grade") if self._opens(k, head, j) else ("grade",)
        why: tuple[str, ...] = ()
        for purpose in purposes:
            spot = self._maker.spot(
                self._measured,
                int(at),
                purpose=purpose,
                slope=float(self._slope[at]),
                needed_height_m=np.nan if purpose == "spread" else needed_m,
                opens=purpose == "spread",
            )
            decision = self._maker.decide(replace(spot, below_head=purpose == "grade"))
            if decision.type is None or decision.size is None:
                why = tuple(c.why_not for c in decision.failed) or decision.nearest_why_not
                continue
            # one that only holds the bed stands lower still
            needed = needed_m if np.isfinite(needed_m) else float(self._stretch[k].needed_m[j])
            over = decision.size.height_m - needed - _sill_m(head)
            if purpose == "grade" and over > LEVEL_M:
                why = ("Its crest would stand above the bowl's sill.",)
                continue
            return decision, ""
        return None, _lowered(" ".join(why))

    def _opens(self, k: int, head: Place, j: int) -> bool:
        """Whether the water is free to spread below the drop."""
        at = self._first[k] + j
        depth = float(self._measured.reading.bank_depth_m[at])
        low = np.isfinite(depth) and depth < OPEN_GROUND_M
        return bool(self._fan[at]) or (low and head.structure == "rock rundown")

    def _two_in_series(self, k: int, head: Place, usual: IntArray) -> list[Place]:
        """Two low structures that share the rise, the upper one as far down as it can reach."""
        stretch = self._stretch[k]
        for upper in np.flatnonzero(~stretch.usual)[::-1]:
            rise = float(stretch.needed_m[upper])
            above, _ = self._try(k, head, int(upper), rise)
            if above is None or above.spot.purpose != "grade":
                continue
            for lower in usual:
                left = max(float(stretch.needed_m[lower]) - rise, 0.0)
                below, _ = self._try(k, head, int(lower), left)
                if below is None or below.spot.purpose != "grade":
                    continue
                between = float(stretch.distance_m[lower] - stretch.distance_m[upper])
                if between >= _length_between_m(above.sized, below.sized):
                    upper_cell = int(stretch.cell[upper])
                    return [
                        self._control(
                            k,
                            head,
                            int(lower),
                            below,
                            1,
                            of=2,
                            foot=upper_cell,
                            foot_m=float(stretch.distance_m[upper]),
                        ),
                        self._control(k, head, int(upper), above, 2, of=2),
                    ]
        return []

    def _control(
        self,
        k: int,
        head: Place,
        j: int,
        decision: Decision,
        order: int,
        *,
        of: int,
        foot: int | None = None,
        foot_m: float = 0.0,
    ) -> Place:
        """One grade control; ``foot`` is what it backs water to, by default that of the drop.

        ``foot_m`` is how far below that of the drop it lies.
        """
        own = int(self._maker.ground.headcuts.foot_cell[head.headcut])
        stretch, at = self._stretch[k], self._first[k] + j
        distance, needed = float(stretch.distance_m[j]), decision.spot.needed_height_m
        where = (
            f"{metres(distance)} below the foot of the {metres(head.headcut_height_m)} drop "
            f"({distance / head.headcut_height_m:.1f} drop heights)"
        )
        return Place(
            cell=int(stretch.cell[j]),
            section_cell=int(stretch.cell[j]),
            reach=int(self._reach[at]),
            station_m=float(self._station[at]),
            control=decision.kind.control,
            structure=decision.kind.name,
            slope=float(self._slope[at]),
            confidence=head.confidence,
            reason=sentences([_why_here(where, order, of, decision), decision.summary]),
            headcut=head.headcut,
            build_order=order,
            heads_below=head.heads_below,
            decision=decision,
            foot_cell=own if foot is None else foot,
            foot_distance_m=distance - foot_m,
            foot_rise_m=float(stretch.needed_m[j]) if np.isnan(needed) else needed,
            checks=self._keep[at],
        )


def _why_here(where: str, order: int, of: int, decision: Decision) -> str:
    if decision.spot.purpose == "spread":
        return f"Spreads the water {where}, where the channel opens, before it gathers again."
    if not np.isfinite(decision.spot.needed_height_m):
        return f"Holds the bed {where}. {TOO_LOW_HERE}"
    if of == 1:
        return f"Holds the bed {where}{BACKS_WATER}; without it the drop's structure is undermined."
    if order == 1:
        return (
            f"The lower of two in series, {where}: from here one low crest cannot reach the foot, "
            "so it backs water to the upper one."
        )
    return f"The upper of two in series, {where}: it backs water to the foot."


def _sill_m(head: Place) -> float:
    """Height of the sill at the end of the structure at the drop; infinite where it has none."""
    size = None if head.decision is None else head.decision.size
    return np.inf if size is None else size.dims.get("sill_height_m", np.inf)


def _length_between_m(upper: Size, lower: Size) -> float:
    """From crest to crest where the one begins just below the end of the other, m."""
    ends = [along for part in upper.parts for along, _ in part.outline]
    begins = [along for part in lower.parts for along, _ in part.outline]
    return max(ends, default=upper.length_m / 2) - min(begins, default=-lower.length_m / 2)


def _lowered(sentence: str) -> str:
    """A sentence as the rest of another one."""
    return sentence[:1].lower() + sentence[1:]
