"""Stone of a pool under a fall: unit discharge, height of the fall and depth of the pool decide.

A pool is laid with stone that the fall would scour no deeper than the pool is: see
`siting.hydraulics.falls`. What is counted is unfavourable. The flow crosses the narrower of lip
notch and pool, since a curved wall draws it together. Of the water in the pool only what the
structure itself holds counts: the pool below its sill, full at the flow it is made for, and
critical depth over the whole length of the sill; nothing of what a structure further down backs up,
and where there is no sill no pool at all. The fall is from the energy line above the lip.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from siting.hydraulics.falls import (
    TSCHOPP_BISAZ_RANGE,
    jet_velocity_mps,
    kolatus_d90_m,
    kolatus_depth_m,
    landing_m,
    tschopp_bisaz_d90_m,
    tschopp_bisaz_number,
)
from siting.hydraulics.open_channel import critical_unit_depth_m
from siting.hydraulics.stone import isbash_d_m, stone_diameter_m
from siting.places.spot import Spot
from siting.structures.design_flow import design_flow
from siting.structures.limit_checks import ROUNDING, TRADE, condition
from siting.structures.rock_sizing import ROUGH_WATER
from siting.structures.stone_classes import largest_m
from siting.structures.structure_type import Check, Stone
from siting.values.rules import Rules
from siting.values.wording import figures, metres, quantity

SCOUR_SOURCE = (
    "depth of scour after Kolatus (Bezzola 2012, ETH Zurich, second-hand), turned round for the "
    "stone that this pool needs"
)
LANDING_SOURCE = "Rand 1955, length of the jet at a straight drop (second-hand)"
#: Energy above a lip in critical flow, in critical depths.
CRITICAL_ENERGY = 1.5
#: Pools are dug to steps of this, m.
DUG_TO_M = 0.01


@dataclass(frozen=True, slots=True)
class Fall:
    """One of the equal falls of a structure, with its pool.

    Parameters
    ----------
    unit_flow_m2s
        Flow over the narrower of lip notch and pool, per metre.
    crest_fall_m
        From the lip to the crest that holds the pool.
    sill_depth_m
        Critical depth over that crest.
    pool_m
        From that crest down to the floor of the pool.
    """

    unit_flow_m2s: float
    crest_fall_m: float
    sill_depth_m: float
    pool_m: float

    @property
    def wall_m(self) -> float:
        """From the lip down to the floor of the pool."""
        return self.crest_fall_m + self.pool_m

    @property
    def fall_m(self) -> float:
        """From the energy line above the lip to the water of the pool."""
        head = CRITICAL_ENERGY * critical_unit_depth_m(self.unit_flow_m2s)
        return max(self.crest_fall_m + head - self.sill_depth_m, 0.0)

    @property
    def depth_m(self) -> float:
        """Depth of water in the pool."""
        return self.pool_m + self.sill_depth_m

    @property
    def d90_m(self) -> float:
        """Stone that stays in this pool, without a factor of safety.

        By Kolatus; where Tschopp and Bisaz hold and ask for more, by them.
        """
        where = (self.unit_flow_m2s, self.fall_m)
        d90 = kolatus_d90_m(*where, self.depth_m)
        low, _ = TSCHOPP_BISAZ_RANGE
        if d90 > 0 and tschopp_bisaz_number(*where, d90) >= low:
            return max(d90, tschopp_bisaz_d90_m(*where, self.depth_m))
        return d90

    @property
    def landing_m(self) -> float:
        """From the lip to where the jet meets the floor."""
        return landing_m(self.unit_flow_m2s, self.wall_m)

    def scour_m(self, d90_m: float) -> float:
        """Depth below the water to which the fall scours a stone."""
        return kolatus_depth_m(self.unit_flow_m2s, self.fall_m, d90_m)

    def pool_for_m(self, d90_m: float) -> float:
        """Depth of the pool, below its crest, in which a stone stays."""
        return self.scour_m(d90_m) - self.sill_depth_m


def fall_over(
    spot: Spot, *, crest_fall_m: float, pool_m: float, notch_m: float, sill_m: float
) -> Fall | None:
    """Return a fall of the design flow; None where no flow is known.

    Parameters
    ----------
    crest_fall_m, pool_m
        As `Fall` has them.
    notch_m
        Narrower of lip notch and pool.
    sill_m
        Length of the crest that holds the pool.
    """
    state = design_flow(spot)
    if state is None:
        return None
    over_sill = critical_unit_depth_m(state.discharge_m3s / max(sill_m, notch_m))
    return Fall(state.discharge_m3s / notch_m, crest_fall_m, over_sill, pool_m)


def d50_of(rules: Rules, d90_m: float) -> float:
    """Median of sorted stone by its d90, on a straight line of logarithms from D50 to D100."""
    return float(d90_m / rules.value("stone.sorted") ** 0.8)


def d90_of(rules: Rules, d50_m: float) -> float:
    """d90 of sorted stone by its median: `d50_of` turned round."""
    return float(d50_m * rules.value("stone.sorted") ** 0.8)


def needed_d50_m(spot: Spot, fall: Fall) -> float:
    """Median stone that a pool needs, with the factor of safety."""
    return spot.rules.value("stone.safety") * d50_of(spot.rules, fall.d90_m)


def lifted_d50_m(spot: Spot, *, people: int) -> float:
    """Median of the stone whose largest one person, or two, can lift, in whole centimetres."""
    limit = spot.rules["hand_work.lift"]
    heaviest = limit.low if people == 1 else limit.high
    largest = stone_diameter_m(heaviest, density=spot.stock.stone_density_kg_m3)
    d50 = math.floor(100 * largest / spot.rules.value("stone.sorted") + 1e-6) / 100
    while d50 > 0 and largest_m(spot.rules, d50) > largest + ROUNDING:
        d50 = round(d50 - 0.01, 2)
    return d50


def pooled(spot: Spot, fall: Fall, *, least_d50_m: float, deepest_m: float) -> tuple[Fall, float]:
    """Settle how deep the pool of a fall is dug, and the median stone in it.

    The pool stays as it is while one person lifts the stone that it needs. From there on it is dug
    deeper, no more than the limit, for stone of that size; from there on the stone grows. So more
    flow or more fall never asks for smaller stone.

    Parameters
    ----------
    fall
        With its pool as shallow as it may be.
    least_d50_m
        What the stone is at least, whatever the fall.
    deepest_m
        Deepest pool.
    """
    easy = max(least_d50_m, lifted_d50_m(spot, people=1))
    if needed_d50_m(spot, fall) <= easy + ROUNDING:
        return fall, max(least_d50_m, needed_d50_m(spot, fall))
    d90 = d90_of(spot.rules, easy) / spot.rules.value("stone.safety")
    dug = math.ceil(fall.pool_for_m(d90) / DUG_TO_M - 1e-6) * DUG_TO_M
    deeper = replace(fall, pool_m=min(max(dug, fall.pool_m), deepest_m))
    return deeper, max(easy, needed_d50_m(spot, deeper))


def scour_check(spot: Spot, fall: Fall | None, stone: Stone, *, rule: str) -> Check:
    """Hold the depth to which the fall scours the stone laid against that of its pool."""
    if fall is None:
        return condition(
            True,
            rule=rule,
            asks="a pool as deep as the fall scours its stone",
            found="no flow known",
            why_not="",
            source=SCOUR_SOURCE,
        )
    d90 = d90_of(spot.rules, stone.d50_m) / spot.rules.value("stone.safety")
    scour = fall.scour_m(d90)
    water = f"{metres(fall.depth_m)} of water in the pool"
    return condition(
        scour <= fall.depth_m + ROUNDING,
        rule=rule,
        asks=f"scour of its stone no deeper than {water}",
        found=f"{metres(scour)}, by {_flow(fall)} falling {metres(fall.fall_m)}",
        why_not=f"The fall would scour its stone {metres(scour)} deep, more than {water}.",
        source=SCOUR_SOURCE,
        basis="published",
    )


def landing_check(fall: Fall | None, floor_end_m: float, *, lip_m: float, rule: str) -> Check:
    """Hold where the jet lands against the end of the floor, both from the head of the wall."""
    lands = lip_m + fall.landing_m if fall else 0.0
    return condition(
        fall is None or lands <= floor_end_m + ROUNDING,
        rule=rule,
        asks=f"a jet that lands within the floor, which ends {metres(floor_end_m)} along",
        found=f"it lands {metres(lands)} along" if fall else "no flow known",
        why_not=f"The jet lands {metres(lands)} along, past the end of the floor.",
        source=LANDING_SOURCE,
        basis="published" if fall else TRADE,
    )


def fall_notes(spot: Spot, fall: Fall | None) -> tuple[str, ...]:
    """Say what falls how far into how much water, and what other formulas would say."""
    if fall is None:
        return ()
    return (
        f"The fall: {_flow(fall)} over the narrower of lip notch and pool, {metres(fall.fall_m)} "
        f"from the energy line to the pool, {metres(fall.depth_m)} of water in it: "
        f"{metres(fall.pool_m)} below its crest and critical depth over the crest; what a "
        f"structure below backs up is not counted ({SCOUR_SOURCE}; with what falls and stone it "
        "was tested is not known).",
        f"Beside it: {_tschopp_bisaz(spot, fall)}; {_jet(spot, fall)}.",
    )


def _tschopp_bisaz(spot: Spot, fall: Fall) -> str:
    """What Tschopp and Bisaz ask for, and whether they hold here."""
    where = (fall.unit_flow_m2s, fall.fall_m)
    d90 = tschopp_bisaz_d90_m(*where, fall.depth_m)
    asked = metres(spot.rules.value("stone.safety") * d50_of(spot.rules, d90))
    low, high = TSCHOPP_BISAZ_RANGE
    number = tschopp_bisaz_number(*where, fall.d90_m)
    if low <= number <= high:
        return f"Tschopp and Bisaz ask for {asked}, the larger rules"
    return (
        f"Tschopp and Bisaz would ask for {asked}, outside the range of their tests "
        f"({figures(number)}, not {low:g} to {high:g})"
    )


def _jet(spot: Spot, fall: Fall) -> str:
    """What the speed of the jet alone would ask for."""
    speed = jet_velocity_mps(fall.fall_m)
    density = spot.stock.stone_density_kg_m3
    struck = spot.rules.value("stone.safety") * isbash_d_m(
        speed, coefficient=ROUGH_WATER, density=density
    )
    return (
        f"the jet alone, {quantity(speed, 'm/s')}, would ask for {metres(struck)} by Isbash if no "
        "water lay in the pool, and never decides"
    )


def _flow(fall: Fall) -> str:
    return quantity(fall.unit_flow_m2s, "m2/s")
