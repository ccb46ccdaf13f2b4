"""A place where something should be done: what the rules give before it is sized and ranked."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from siting.channels.ground import Ground
from siting.layout.measuring import Decision
from siting.structures.spacing_table import SpacingRow
from siting.structures.structure_type import Check

ENGINEER = "engineer"
MORE_ELEVATIONS = "complete the DEM"


@dataclass(frozen=True, slots=True)
class Place:
    """A candidate site.

    Parameters
    ----------
    cell
        Flat number of the cell it stands on.
    section_cell
        Cell at which width and depth are measured; differs at a headcut, where the channel below
        the drop counts.
    reach, station_m
        Reach of the channel network (-1 for none), and metres up it from its lower end.
    control
        ``vertical``, ``grade``, ``spread`` or ``refer``.
    structure
        What to build.
    slope
        Bed slope of the reach, m per m.
    confidence
        0 to 1.
    reason
        Sentences: what is there and why this.
    cautions
        Sentences: what to check.
    headcut
        Index of the headcut it works at, -1 for none.
    headcut_height_m
        Height of that drop; NaN for none.
    group
        Places that work together share this number; 0 for none.
    build_order
        Place in its group, from 1; 0 where not settled.
    above_m
        Depth of the channel above the place (what is still whole), m; NaN where not known.
    heads_below
        Headcuts further down the same way.
    decision
        What stands here and why nothing else; None at a referral that no type was asked about.
    foot_cell
        Foot of the drop that a grade control backs water to; -1 for none.
    spacing
        Spacing rules of a series that apply here.
    azimuth_deg
        Direction of the road for a structure on one; NaN elsewhere.
    checks
        Limits that decided beside those of the types: distances to roads and the like.
    foot_distance_m
        Metres along the bed from there up to that foot; NaN for none.
    foot_rise_m
        Height of a crest here that is level with that foot, m; NaN for none.
    bases
        Cells of the headcuts further down the way of the water within
        `siting.layout.headcuts_below.BASE_REACH_M`, the nearest first; only at a headcut itself.
    on_site
        What was measured on site: some of ``width``, ``depth``, ``bankfull``, ``drop``, ``slope``.
    left_out
        Why nothing is built here though it could be; empty where it is.
    """

    cell: int
    section_cell: int
    reach: int
    station_m: float
    control: str
    structure: str
    slope: float
    confidence: float
    reason: str
    cautions: tuple[str, ...] = ()
    headcut: int = -1
    headcut_height_m: float = np.nan
    group: int = 0
    build_order: int = 0
    above_m: float = np.nan
    heads_below: int = 0
    decision: Decision | None = None
    foot_cell: int = -1
    spacing: tuple[SpacingRow, ...] = ()
    azimuth_deg: float = np.nan
    checks: tuple[Check, ...] = ()
    foot_distance_m: float = np.nan
    foot_rise_m: float = np.nan
    bases: tuple[int, ...] = ()
    on_site: tuple[str, ...] = ()
    left_out: str = ""


def placed_at_station(
    ground: Ground,
    i: int,
    decision: Decision,
    *,
    reason: str,
    cautions: tuple[str, ...],
    confidence: float,
    group: int,
    build_order: int,
    spacing: tuple[SpacingRow, ...] = (),
) -> Place:
    """A structure at one of the ground's stations."""
    s = ground.stations
    return Place(
        cell=int(s.cell[i]),
        section_cell=int(s.cell[i]),
        reach=int(s.reach[i]),
        station_m=float(s.station_m[i]),
        control=decision.kind.control,
        structure=decision.kind.name,
        slope=float(s.slope[i]),
        confidence=confidence,
        reason=reason,
        cautions=cautions,
        group=group,
        build_order=build_order,
        decision=decision,
        spacing=spacing,
    )


@dataclass(slots=True)
class Placed:
    """Places found so far, and plain notes about what was left out."""

    places: list[Place] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    groups: int = 0

    def new_group(self) -> int:
        """Return the next free group number."""
        self.groups += 1
        return self.groups


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
