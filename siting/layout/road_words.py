"""What is said of dips on roads: why each is there, what to look at, what was left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from siting.layout.road_outlets import Outlets
from siting.layout.road_profile import RoadPiece
from siting.structures.dip_spacing import EROSIVE
from siting.values.rules import Rules
from siting.values.wording import hectares, metres, percent, quantity
from terrain.values.arrays import BoolArray

#: The two soils of the table of distances, in words.
SOIL_WORDS = {EROSIVE: "erosive soil", "firm": "soil that erodes little"}


def reason(row: dict[str, Any]) -> str:
    """Say what is at a dip, and by which rule it lies there; ``row`` holds all about one."""
    since = "the dip above" if row["after_dip"] else "the top of this stretch"
    road_m2 = quantity(row["road_area_m2"], "m2")
    return (
        f"The road falls at {percent(row['grade'])} here, and at {percent(row['mean_grade'])} on "
        f"the mean below {since}. For that, water may run at most {metres(row['spacing_m'])} along "
        f"it on {SOIL_WORDS[row['soil']]}; this place is {metres(row['from_last_m'])} below "
        f"{since}. The water leaves to the {row['side']}, looking down the road, where the ground "
        f"falls at {percent(row['outlet_slope'])}. {road_m2} of road, with all that drains onto "
        f"it {hectares(row['land_ha'])}, come to the dip."
    )


def cautions(row: dict[str, Any], rules: Rules) -> tuple[str, ...]:
    """Say what to look at on site; ``row`` holds all about one dip."""
    said = []
    if row["first_open"]:
        said.append(
            "No place closer by, that keeps the least distance, lets the water out: the dip lies "
            f"{metres(row['from_last_m'] - row['spacing_m'])} farther down than the table allows. "
            "The road above needs other drainage: an out-sloped surface, a ditch, water bars."
        )
    if row["land_ha"] > rules.value("road_dip.land"):
        said.append(
            f"{hectares(row['land_ha'])} of land drain onto this piece of road, more than a road's "
            "own water: find where it comes onto the road, and turn it away or lead it across."
        )
    if row["outlet_slope"] > rules.low("road_dip.outlet_stone"):
        said.append(
            f"The ground at the outlet falls at {percent(row['outlet_slope'])}: lay stone where "
            "the water leaves the road."
        )
    return tuple(said)


@dataclass(slots=True)
class Tally:
    """What was looked at, in metres of road; ``steepest`` is that of a dip, m per m."""

    steepest: float
    length_m: float = 0.0
    steep_m: float = 0.0
    closed_m: float = 0.0
    undrained_m: float = 0.0

    def add(self, piece: RoadPiece, fits: BoolArray, outlets: Outlets) -> None:
        """Count a piece of road; ``fits`` tells where the road itself will take a dip."""
        self.length_m += float(piece.station_m[-1] - piece.station_m[0])
        self.steep_m += float((np.abs(piece.grade) > self.steepest).sum() * piece.step_m)
        self.closed_m += float((fits & (outlets.side == 0)).sum() * piece.step_m)

    def notes(self) -> tuple[str, ...]:
        """Tell it in sentences."""
        if not self.length_m:
            return ()
        notes = [f"{metres(self.length_m)} of road were looked at for rolling dips."]
        if self.steep_m:
            notes.append(
                f"{metres(self.steep_m)} of it are steeper than {percent(self.steepest)}: no "
                "dip holds there; move the road, or have water bars built."
            )
        if self.closed_m:
            notes.append(
                f"On {metres(self.closed_m)} that are steep enough for dips the water cannot leave "
                "the road: no side falls away gently, or a channel or pond lies too near."
            )
        if self.undrained_m:
            notes.append(
                f"{metres(self.undrained_m)} at the foot of stretches should have a further dip, "
                "but no place for one was found."
            )
        return tuple(notes)
