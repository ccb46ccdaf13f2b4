"""The low grade control below each headcut, without which the structure above is undermined.

Its crest has to lie between the foot of the drop, so that it backs water to the foot, and the sill
of the bowl, at the likely elevations: on site it is set by level from the foot. It stands 4 to 6
drop heights below the foot. Where one low structure cannot reach the foot from any place there, two
are tried in series, each within its own height; then a type at the drop that needs no water backed
to it. What still reaches only in part is told by the share of the rise that it makes up.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from siting.channels.headcut_measures import HeadMeasures
from siting.layout.measuring import Trials
from siting.layout.pair_reach import LEVEL_M, UNSEEN, head_caution, reach_share
from siting.layout.pair_stretch import CLEAR_M, Stretch, stretch_below
from siting.layout.proposals import AtHead, Foot, Member, Proposal, Where, Words
from siting.places.spot import Spot, Task
from siting.structures.decisions import Decision
from siting.structures.grade_height import banks_unseen
from siting.structures.structure_type import Check, Size
from siting.structures.type_looks import needs_tailwater
from siting.values.wording import metres
from terrain.values.arrays import IntArray

#: Banks lower than this below a rundown let the water spread, m (common practice).
OPEN_GROUND_M = 0.3
#: Words in the refusal of a crest that is too low.
TOO_LOW = "is needed to back water"


@dataclass(frozen=True, slots=True, eq=False)
class HeadTrial:
    """A headcut that would get a structure: its row among those measured, and what was tried."""

    row: int
    proposal: Proposal
    spot: Spot
    decision: Decision
    keep: tuple[Check, ...] = ()

    @property
    def needs_tailwater(self) -> bool:
        """Whether what stands here is undermined without water backed to its foot."""
        return needs_tailwater(self.decision.kind)

    @property
    def sill_m(self) -> float:
        """Height of the sill at the end of its structure; infinite where it has none."""
        return self.decision.sized.dims.get("sill_height_m", np.inf)


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """A place of a stretch where something fits."""

    place: int
    spot: Spot
    decision: Decision

    @property
    def task(self) -> Task:
        """What it is asked for."""
        return self.spot.task

    @property
    def height_m(self) -> float:
        """Height of the crest."""
        return self.decision.sized.height_m


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
        for given in stands:
            head, controls, why = self._settled(given)
            groups += bool(controls)
            group = groups if controls else 0
            out += [replace(c, member=replace(c.member, group=group)) for c in controls]
            words = head.proposal.words
            cautions = (why, *words.cautions) if why else words.cautions
            out.append(
                replace(
                    head.proposal,
                    member=Member(group, len(controls) + 1 if controls else 0),
                    words=replace(words, cautions=cautions),
                )
            )
        return out

    def _settled(self, head: HeadTrial) -> tuple[HeadTrial, list[Proposal], str]:
        """What stands at a headcut, its grade controls from the lowest up, and what is said."""
        stretch = self._stretch[head.row]
        usual = np.flatnonzero(stretch.usual)
        refusals: list[str] = []
        for j in usual:
            found, why = self._try(head, int(j), Task("grade", float(stretch.needed_m[j])))
            if found is not None:
                said = head_caution(found.spot, found.height_m, "")
                return head, [self._control(head, found, 1, of=1)], said
            refusals.append(why)
        two, unseen = self._two_in_series(head, usual)
        if two:
            return head, two, UNSEEN if unseen else ""
        return self._falls_short(head, usual, refusals)

    def _falls_short(
        self, head: HeadTrial, usual: IntArray, refusals: list[str]
    ) -> tuple[HeadTrial, list[Proposal], str]:
        """Where no crest reaches the foot: a type that needs none, or what reaches in part."""
        stretch = self._stretch[head.row]
        too_low = next((why for why in refusals if TOO_LOW in why), "")
        none = too_low or (refusals[0] if refusals else "")
        dry = self._without_tailwater(head)
        if dry is not None:
            control = self._best(dry, usual, dry=True)
            stands = [self._control(dry, control, 1, of=1)] if control else []
            why = (
                f"No crest below backs water to its foot: {none}"
                if none
                else self._no_room(stretch)
            )
            alone = "" if stands else " See that the bed below is not falling away."
            return dry, stands, f"{why} The {dry.decision.kind.name} needs none.{alone}"
        if not usual.size:
            return head, [], self._no_room(stretch)
        part = self._best(head, usual)
        if part is not None:
            nor = "Two in series do not reach the foot either."
            said = head_caution(part.spot, part.height_m, f"{_sentence(none)} {nor}")
            return head, [self._control(head, part, 1, of=1)], said
        return head, [], f"No grade control below it: {none}"

    def _best(self, head: HeadTrial, usual: IntArray, *, dry: bool = False) -> _Trial | None:
        """Of the places where a crest may stand that falls short, that with the greatest share."""
        stretch = self._stretch[head.row]
        best: _Trial | None = None
        for j in usual:
            task = Task("grade", float(stretch.needed_m[j]), short=not dry, dry=dry)
            found, _ = self._try(head, int(j), task)
            if found is None:
                continue
            if dry:
                return found
            share = reach_share(found.spot, found.height_m)
            if best is None or share > reach_share(best.spot, best.height_m) + 1e-9:
                best = found
        return best

    def _without_tailwater(self, head: HeadTrial) -> HeadTrial | None:
        """The headcut with a type that needs no water backed to it; None where none fits.

        Without a flow nothing speaks against a crest below: it is only not known to fit.
        """
        if not np.isfinite(head.spot.flow_m3s()):
            return None
        task = replace(head.spot.task, dry=True)
        spot = replace(head.spot, task=task)
        decision = self._trials.decide(spot, head.keep)
        if not decision.builds:
            return None
        drop_m = self._stretch[head.row].next_drop_m
        if np.isfinite(drop_m) and drop_m < decision.sized.length_m + CLEAR_M:
            return None  # its apron would end at the next drop
        proposal = replace(head.proposal, task=task)
        return replace(head, spot=spot, decision=decision, proposal=proposal)

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

    def _try(self, head: HeadTrial, j: int, task: Task) -> tuple[_Trial | None, str]:
        """Ask the types about one place; also the reasons against it."""
        stretch = self._stretch[head.row]
        at = int(self._first[head.row]) + j
        if not bool(self._trials.ground.inside(stretch.cell[j : j + 1])[0]):
            return None, "it would stand outside the ranch; agree with the neighbour."
        refused = [c.why_not for c in self._keep[at] if not c.passed]
        if refused:
            return None, _lowered(refused[0])
        tasks = [replace(task, below_head=True)]
        if self._opens(head, j):
            tasks.insert(0, Task("spread", opens=True))
        why: tuple[str, ...] = ()
        for asked in tasks:
            spot = self._trials.meter.spot(self._measured, at, asked)
            decision = self._trials.decide(spot, self._keep[at])
            if decision.size is None:
                why = decision.why_none
                continue
            over = decision.size.height_m - asked.needed_height_m - head.sill_m
            if asked.purpose == "grade" and over > LEVEL_M:
                why = ("Its crest would stand above the bowl's sill.",)
                continue
            return _Trial(j, spot, decision), ""
        return None, _lowered(" ".join(why))

    def _opens(self, head: HeadTrial, j: int) -> bool:
        """Whether the water is free to spread below the drop."""
        at = self._first[head.row] + j
        depth = float(self._measured.reading.bank_depth_m[at])
        low = np.isfinite(depth) and depth < OPEN_GROUND_M
        return bool(self._fan[at]) or (low and head.decision.kind.name == "rock rundown")

    def _two_in_series(self, head: HeadTrial, usual: IntArray) -> tuple[list[Proposal], bool]:
        """Two low structures that share the rise, the upper one as far down as it can reach.

        Also whether banks are to be measured first.
        """
        stretch = self._stretch[head.row]
        for upper in np.flatnonzero(~stretch.usual)[::-1]:
            rise = float(stretch.needed_m[upper])
            above, _ = self._try(head, int(upper), Task("grade", rise))
            if above is None or above.task.purpose != "grade":
                continue
            for lower in usual:
                left = max(float(stretch.needed_m[lower]) - rise, 0.0)
                below, _ = self._try(head, int(lower), Task("grade", left))
                if below is None or below.task.purpose != "grade":
                    continue
                between = float(stretch.distance_m[lower] - stretch.distance_m[upper])
                if between >= _length_between_m(above.decision.sized, below.decision.sized):
                    two = [
                        self._control(head, below, 1, of=2, foot=int(upper)),
                        self._control(head, above, 2, of=2),
                    ]
                    return two, banks_unseen(above.spot) or banks_unseen(below.spot)
        return [], False

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
    if of == 1:
        return f"Holds the bed {where}."
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


def _sentence(text: str) -> str:
    """The rest of another sentence as one of its own."""
    return text[:1].upper() + text[1:]


def _lowered(sentence: str) -> str:
    """A sentence as the rest of another one."""
    return sentence[:1].lower() + sentence[1:]
