"""A place where something should be done: what the rules propose before it is measured for good."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from siting.channels.ground import Ground
from siting.layout.healing import HealingReach
from siting.places.spot import RoadRun, Task
from siting.structures.spacing_table import SpacingRow


@dataclass(frozen=True, slots=True)
class Where:
    """A place on the ground.

    Parameters
    ----------
    cell
        Flat number of the cell it stands on.
    section_cell
        Cell at which width and depth are measured; differs at a headcut, where the channel below
        the drop counts.
    x_m, y_m
        East and north; at a headcut the lip as measured, finer than its cell.
    reach, station_m
        Reach of the channel network (-1 for none), and metres up it from its lower end.
    """

    cell: int
    section_cell: int
    x_m: float
    y_m: float
    reach: int = -1
    station_m: float = 0.0


@dataclass(frozen=True, slots=True)
class AtHead:
    """The headcut that a place works at.

    Parameters
    ----------
    index
        Which of the ground's headcuts, -1 for none.
    drop_m
        Height of the drop, only at the headcut itself; NaN elsewhere.
    above_m
        Depth of the channel above the place (what is still whole), m; NaN where not known.
    heads_below
        Headcuts further down the same way.
    bases
        Cells of the headcuts further down the way of the water within
        `siting.layout.headcuts_below.BASE_REACH_M`, the nearest first; only at a headcut itself.
    """

    index: int = -1
    drop_m: float = np.nan
    above_m: float = np.nan
    heads_below: int = 0
    bases: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Member:
    """A place in a group.

    Parameters
    ----------
    group
        Places that work together share this number; 0 for none.
    order
        Place in its group in the order of building, from 1; 0 where not settled.
    in_series
        Whether it stands in a series, whose spacing rules then apply.
    """

    group: int = 0
    order: int = 0
    in_series: bool = False


@dataclass(frozen=True, slots=True)
class Foot:
    """Foot of the drop that a grade control backs water to, wholly or in part.

    Parameters
    ----------
    cell
        Flat number of its cell; -1 for none.
    distance_m
        Metres along the bed from the grade control up to it; NaN for none.
    rise_m
        Height of a crest at the grade control that is level with it, m; NaN for none.
    """

    cell: int = -1
    distance_m: float = np.nan
    rise_m: float = np.nan


@dataclass(frozen=True, slots=True)
class OnRoad:
    """What is known of a place on a road.

    Parameters
    ----------
    azimuth_deg
        Direction in which its water runs.
    grade_error
        Error of its grade.
    land_ha
        Land that drains onto it since the place above.
    spacing
        Spacing rules that apply.
    run
        The piece of road whose water comes to it; None in plans that did not keep it.
    stretch
        Number of the stretch of road that falls one way, from 1: its dips are one work. 0 in plans
        that did not keep it.
    soil_m3_per_yr
        Soil that this water would cut from that piece of road in a year (the depth of
        ``road_dip.soil_cut`` over its surface), m3: what the dip may save; NaN where not known.
    """

    azimuth_deg: float
    grade_error: float
    land_ha: float
    spacing: tuple[SpacingRow, ...]
    run: RoadRun | None = None
    stretch: int = 0
    soil_m3_per_yr: float = np.nan


@dataclass(frozen=True, slots=True)
class Words:
    """What is said of a place beside what the structure types say.

    Parameters
    ----------
    found
        What is there, and why a structure should stand here.
    built, after
        What more is said before and after the sentence about the structure, where one is built.
    cautions
        Sentences: what to check, where one is built.
    says_all
        Whether ``found`` also says what the structure does, so that its own sentence is left out.
    """

    found: str
    built: str = ""
    after: str = ""
    cautions: tuple[str, ...] = ()
    says_all: bool = False


@dataclass(frozen=True, slots=True)
class FromField:
    """What was found out on site.

    Parameters
    ----------
    measured
        Some of ``width``, ``depth``, ``bankfull``, ``drop``, ``slope``.
    left_out
        Why nothing is built here though it could be; empty where it is.
    refer
        Why an engineer has to look at it, whatever the types say; empty for no reason.
    hold
        Why nothing is built until it is settled on site, in sentences; empty where nothing waits.
    said
        What was measured, in sentences.
    """

    measured: tuple[str, ...] = ()
    left_out: str = ""
    refer: str = ""
    hold: str = ""
    said: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Proposal:
    """A place that asks for a structure.

    Parameters
    ----------
    where, task
        The place, and what it asks of a structure.
    confidence
        0 to 1.
    words
        What is said of it.
    slope
        Grade of the road, m per m; NaN in a channel, whose bed is measured at the place.
    head, member, foot
        The headcut that it works at, its group, and the foot of the drop that it backs water to.
    floor_m
        Width of a swale's floor, which has to be spanned whole; NaN for none.
    road
        What is known of a place on a road; None elsewhere.
    field
        What was found out on site.
    """

    where: Where
    task: Task
    confidence: float
    words: Words
    slope: float = np.nan
    head: AtHead = AtHead()
    member: Member = Member()
    foot: Foot = Foot()
    floor_m: float = np.nan
    road: OnRoad | None = None
    field: FromField = FromField()

    @property
    def at_head(self) -> bool:
        """Whether it stands at a headcut itself, not below one."""
        return self.task.purpose == "vertical"


@dataclass(frozen=True, slots=True)
class Placing:
    """What one placing function proposes.

    Parameters
    ----------
    proposals
        Places; groups are counted from 1 within one placing.
    notes
        What was left out, in sentences.
    look_first
        Reaches that are left alone because they may be healing.
    """

    proposals: tuple[Proposal, ...] = ()
    notes: tuple[str, ...] = ()
    look_first: tuple[HealingReach, ...] = ()


def at_station(ground: Ground, i: int) -> Where:
    """One of the ground's stations as a place."""
    s = ground.stations
    cell = int(s.cell[i])
    x, y = ground.raster.grid.xy_of(cell)
    return Where(
        cell, cell, float(x), float(y), reach=int(s.reach[i]), station_m=float(s.station_m[i])
    )


def put_together(placings: Iterable[Placing]) -> Placing:
    """All proposals sorted by reach and station, their groups numbered in that order.

    What is alone in its group has none.
    """
    apart: list[Proposal] = []
    notes: list[str] = []
    look_first: list[HealingReach] = []
    groups = 0
    for placing in placings:
        own = [p.member.group for p in placing.proposals]
        apart += [
            _in_group(p, group and group + groups)
            for p, group in zip(placing.proposals, own, strict=True)
        ]
        groups += max(own, default=0)
        notes += placing.notes
        look_first += placing.look_first
    apart.sort(
        key=lambda p: (
            p.where.reach < 0,
            p.where.reach,
            p.where.station_m,
            p.where.cell,
            p.task.purpose,
        )
    )
    members: dict[int, int] = {}
    for p in apart:
        members[p.member.group] = members.get(p.member.group, 0) + 1
    number: dict[int, int] = {}
    for p in apart:
        group = p.member.group
        if group and members[group] > 1 and group not in number:
            number[group] = len(number) + 1
    numbered = tuple(_in_group(p, number.get(p.member.group, 0)) for p in apart)
    return Placing(numbered, tuple(notes), tuple(look_first))


def _in_group(p: Proposal, group: int) -> Proposal:
    """Give it another group; alone it is in no order."""
    return replace(p, member=replace(p.member, group=group, order=p.member.order if group else 0))


class Spots:
    """Places on the map, to keep others away from them.

    Parameters
    ----------
    apart_m
        Distance that others keep, m, above 0.
    """

    def __init__(self, apart_m: float) -> None:
        self._apart = apart_m
        self._by_square: dict[tuple[int, int], list[tuple[float, float]]] = {}

    def _square(self, x_m: float, y_m: float) -> tuple[int, int]:
        return int(x_m // self._apart), int(y_m // self._apart)

    def add(self, x_m: float, y_m: float) -> None:
        """Take a place."""
        self._by_square.setdefault(self._square(x_m, y_m), []).append((x_m, y_m))

    def clear(self, x_m: float, y_m: float) -> bool:
        """Whether no place taken is closer than the distance."""
        a, b = self._square(x_m, y_m)
        return all(
            (x - x_m) ** 2 + (y - y_m) ** 2 >= self._apart**2
            for i in (a - 1, a, a + 1)
            for j in (b - 1, b, b + 1)
            for x, y in self._by_square.get((i, j), ())
        )
