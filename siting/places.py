"""A place where something should be done: what the rules give before it is sized and ranked."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

ROCK_BOWL = "rock bowl"
LOG_DROP = "log drop"
ROCK_RUNDOWN = "rock rundown"
ONE_ROCK_DAM = "one-rock dam"
LOG_MAT = "log mat"
SPREADER = "crescent spreader"
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
    needed_height_m
        Height a grade control needs to back water to the foot of its drop; NaN where none is asked.
    group
        Places that work together share this number; 0 for none.
    build_order
        Place in its group, from 1; 0 where not settled.
    above_m
        Depth of the channel above the place (what is still whole), m; NaN where not known.
    heads_below
        Headcuts further down the same way.
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
    needed_height_m: float = np.nan
    group: int = 0
    build_order: int = 0
    above_m: float = np.nan
    heads_below: int = 0


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
