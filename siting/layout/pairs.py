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
from siting.layout.measuring import Trials
from siting.layout.proposals import AtHead, Foot, Member, Proposal, Where, Words
from siting.places.spot import Task
from siting.structures.decisions import Decision
from siting.structures.structure_type import Size
from siting.values.wording import metres
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
    own = own.reshape(-1)  # numpy 2.0 gives it the shape of the keys
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


@dataclass(frozen=True, slots=True, eq=False)
class HeadTrial:
    """A headcut that would get a structure: its row among those measured, and what was tried."""

    row: int
    proposal: Proposal
    decision: Decision

    @property
    def sill_m(self) -> float:
        """Height of the sill at the end of its structure; infinite where it has none."""
        return self.decision.sized.dims.get("sill_height_m", np.inf)


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """A place of a stretch where something fits."""

    place: int
    task: Task
    decision: Decision


class Pairs:
    """Grade controls of many headcuts: measured together, placed one by one.

    Parameters
    ----------
    trials
        Measures and decides.
    heads
        Measures at the headcuts.
    which
        Those that get a structure, as rows of ``heads``.
    """

    def __init__(self, trials: Trials, heads: HeadMeasures, which: Sequence[int]) -> None:
        ground = trials.ground
        self._trials = trials
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
        self._measured = trials.measure(cells)
        reach, station = ground.on_network(cells)
        near = ground.station_near(reach, station)
        self._reach, self._station = reach, station
        s = ground.stations
        at = np.maximum(near, 0)
        self._fan = (near >= 0) & s.is_fan[at] if s.size else np.zeros(cells.size, bool)
        self._keep = trials.keep_off(cells)

    def proposals(self, stands: Sequence[HeadTrial]) -> list[Proposal]:
        """Headcuts with their grade controls; without one the headcut says why."""
        out: list[Proposal] = []
        groups = 0
        for head in stands:
            controls, why = self._controls(head)
            groups += bool(controls)
            group = groups if controls else 0
            out += [replace(c, member=replace(c.member, group=group)) for c in controls]
            words = head.proposal.words
            cautions = (*words.cautions, why) if why else words.cautions
            out.append(
                replace(
                    head.proposal,
                    member=Member(group, len(controls) + 1 if controls else 0),
                    words=replace(words, cautions=cautions),
                )
            )
        return out

    def _controls(self, head: HeadTrial) -> tuple[list[Proposal], str]:
        """Grade controls of one headcut from the lowest up, or why there is none."""
        stretch = self._stretch[head.row]
        usual = np.flatnonzero(stretch.usual)
        if not usual.size:
            return [], self._no_room(stretch)
        refusals: list[str] = []
        for j in usual:
            found, why = self._try(head, int(j), float(stretch.needed_m[j]))
            if found is not None:
                return [self._control(head, found, 1, of=1)], ""
            refusals.append(why)
        two = self._two_in_series(head, usual)
        if two:
            return two, ""
        too_low = [(int(j), why) for j, why in zip(usual, refusals, strict=True) if TOO_LOW in why]
        if not too_low:
            return [], f"No grade control below it: {refusals[0]}"
        return self._only_holds(head, too_low)

    def _only_holds(
        self, head: HeadTrial, too_low: list[tuple[int, str]]
    ) -> tuple[list[Proposal], str]:
        """A grade control too low to back water: it keeps the bed below from falling away."""
        others: list[str] = []
        nor = "Two in series do not reach the foot either."
        for j, why in too_low:
            found, other = self._try(head, j, np.nan)
            if found is not None:
                return [self._control(head, found, 1, of=1)], f"{ONLY_HOLDS} {why} {nor}"
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
        least = self._trials.ground.rules.low("pair.distance")
        return (
            "No place for a grade control below it: the channel leaves the raster before "
            f"{least:g} drop heights. Look for one on site."
        )

    def _try(self, head: HeadTrial, j: int, needed_m: float) -> tuple[_Trial | None, str]:
        """Ask the types about one place; also the reasons against it."""
        stretch = self._stretch[head.row]
        at = int(self._first[head.row]) + j
        if not bool(self._trials.ground.inside(stretch.cell[j : j + 1])[0]):
            return None, "it would stand outside the ranch; agree with the neighbour."
        refused = [c.why_not for c in self._keep[at] if not c.passed]
        if refused:
            return None, _lowered(refused[0])
        tasks = [Task("grade", needed_height_m=needed_m, below_head=True)]
        if self._opens(head, j):
            tasks.insert(0, Task("spread", opens=True))
        why: tuple[str, ...] = ()
        for task in tasks:
            spot = self._trials.meter.spot(self._measured, at, task)
            decision = self._trials.decide(spot, self._keep[at])
            if decision.size is None:
                why = decision.why_none
                continue
            # one that only holds the bed stands lower still
            needed = needed_m if np.isfinite(needed_m) else float(stretch.needed_m[j])
            over = decision.size.height_m - needed - head.sill_m
            if task.purpose == "grade" and over > LEVEL_M:
                why = ("Its crest would stand above the bowl's sill.",)
                continue
            return _Trial(j, task, decision), ""
        return None, _lowered(" ".join(why))

    def _opens(self, head: HeadTrial, j: int) -> bool:
        """Whether the water is free to spread below the drop."""
        at = self._first[head.row] + j
        depth = float(self._measured.reading.bank_depth_m[at])
        low = np.isfinite(depth) and depth < OPEN_GROUND_M
        return bool(self._fan[at]) or (low and head.decision.kind.name == "rock rundown")

    def _two_in_series(self, head: HeadTrial, usual: IntArray) -> list[Proposal]:
        """Two low structures that share the rise, the upper one as far down as it can reach."""
        stretch = self._stretch[head.row]
        for upper in np.flatnonzero(~stretch.usual)[::-1]:
            rise = float(stretch.needed_m[upper])
            above, _ = self._try(head, int(upper), rise)
            if above is None or above.task.purpose != "grade":
                continue
            for lower in usual:
                left = max(float(stretch.needed_m[lower]) - rise, 0.0)
                below, _ = self._try(head, int(lower), left)
                if below is None or below.task.purpose != "grade":
                    continue
                between = float(stretch.distance_m[lower] - stretch.distance_m[upper])
                if between >= _length_between_m(above.decision.sized, below.decision.sized):
                    return [
                        self._control(head, below, 1, of=2, foot=int(upper)),
                        self._control(head, above, 2, of=2),
                    ]
        return []

    def _control(
        self, head: HeadTrial, trial: _Trial, order: int, *, of: int, foot: int = -1
    ) -> Proposal:
        """One grade control; ``foot`` is the place that it backs water to, -1 for the drop's."""
        proposal, stretch, j = head.proposal, self._stretch[head.row], trial.place
        at = int(self._first[head.row]) + j
        distance, needed = float(stretch.distance_m[j]), trial.task.needed_height_m
        drop, cell = proposal.head.drop_m, int(stretch.cell[j])
        x, y = self._trials.ground.raster.grid.xy_of(cell)
        where = (
            f"{metres(distance)} below the foot of the {metres(drop)} drop "
            f"({distance / drop:.1f} drop heights)"
        )
        own = int(self._trials.ground.headcuts.foot_cell[proposal.head.index])
        return Proposal(
            where=Where(
                cell,
                cell,
                float(x),
                float(y),
                reach=int(self._reach[at]),
                station_m=float(self._station[at]),
            ),
            task=trial.task,
            confidence=proposal.confidence,
            words=Words(_why_here(where, order, of, trial.task)),
            head=AtHead(proposal.head.index, heads_below=proposal.head.heads_below),
            member=Member(order=order),
            foot=Foot(
                cell=own if foot < 0 else int(stretch.cell[foot]),
                distance_m=distance - (0.0 if foot < 0 else float(stretch.distance_m[foot])),
                rise_m=float(stretch.needed_m[j]) if np.isnan(needed) else needed,
            ),
        )


def _why_here(where: str, order: int, of: int, task: Task) -> str:
    if task.purpose == "spread":
        return f"Spreads the water {where}, where the channel opens, before it gathers again."
    if not np.isfinite(task.needed_height_m):
        return f"Holds the bed {where}. {TOO_LOW_HERE}"
    if of == 1:
        return f"Holds the bed {where}{BACKS_WATER}; without it the drop's structure is undermined."
    if order == 1:
        return (
            f"The lower of two in series, {where}: from here one low crest cannot reach the foot, "
            "so it backs water to the upper one."
        )
    return f"The upper of two in series, {where}: it backs water to the foot."


def _length_between_m(upper: Size, lower: Size) -> float:
    """From crest to crest where the one begins just below the end of the other, m."""
    ends = [along for part in upper.parts for along, _ in part.outline]
    begins = [along for part in lower.parts for along, _ in part.outline]
    return max(ends, default=upper.length_m / 2) - min(begins, default=-lower.length_m / 2)


def _lowered(sentence: str) -> str:
    """A sentence as the rest of another one."""
    return sentence[:1].lower() + sentence[1:]
