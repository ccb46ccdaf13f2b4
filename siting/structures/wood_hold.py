"""What keeps the logs of a structure down at the design flow."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from siting.hydraulics.wood import DRAG, HoldDown, LogRow, hold_down, submerged_n, wood
from siting.places.spot import Spot
from siting.structures.design_flow import design_flow
from siting.structures.limit_checks import at_most
from siting.structures.rock_sizing import bed_stone, kilograms
from siting.structures.structure_type import Check
from siting.values.wording import metres, quantity

KG_PER_T = 1000.0


@dataclass(frozen=True, slots=True)
class Logs:
    """Logs that lie together.

    Parameters
    ----------
    diameter_m, length_m, count
        Of each log, and how many.
    area_m2
        Ground that ballast on them covers.
    posts
        Posts that hold them.
    lie
        Along the flow or across it.
    exposed_share
        Part of their front that the current meets; the rest is let into the bed or filled behind.
    """

    diameter_m: float
    length_m: float
    count: int
    area_m2: float
    posts: int
    lie: Literal["along", "across"]
    exposed_share: float = 1.0


@dataclass(frozen=True, slots=True)
class Hold:
    """How logs are held: what was computed, and the layer of ballast on them."""

    computed: HoldDown
    ballast_kg: float
    ballast_kg_m2: float
    layer_m: float
    bagged: bool


def gap_fill_m3(diameter_m: float, area_m2: float) -> float:
    """Gaps between round logs laid side by side, (1 - pi / 4) of their layer."""
    return (1 - math.pi / 4) * diameter_m * area_m2


def hold(spot: Spot, logs: Logs, *, filled: bool) -> Hold:
    """Compute what holds logs down at the design flow: dry wood, all of it under water.

    Ballast is a layer of stone over the logs, no thinner than the stone that the flow does not
    move; where the ranch has no rock it is gravel in bags, which moves only as a whole.

    Parameters
    ----------
    logs
        The logs.
    filled
        Whether the gaps between them hold gravel, whose upper half then helps.
    """
    rules = spot.rules
    computed = held_down(spot, logs, filled=filled, factor=rules.value("logs.hold_down"))
    bagged = "rock" not in spot.stock.have
    loose = rules.value("stone.bulk_density") * KG_PER_T
    layer = computed.ballast_kg / logs.area_m2 / loose
    asked = None if bagged else bed_stone(spot)
    if layer > 0 and asked is not None:
        layer = max(layer, asked.d50_m)
    return Hold(computed, layer * loose * logs.area_m2, layer * loose, layer, bagged)


def held_down(spot: Spot, logs: Logs, *, filled: bool, factor: float) -> HoldDown:
    """Balance the forces on logs at the design flow, for a factor of hold over load."""
    rules, stock, state = spot.rules, spot.stock, design_flow(spot)
    fill = 0.0
    if filled:
        solid = gap_fill_m3(logs.diameter_m, logs.area_m2) * (1 - rules.value("logs.gravel_voids"))
        fill = rules.value("logs.gap_fill") * submerged_n(solid, stock.stone_density_kg_m3)
    row = LogRow(
        logs.diameter_m,
        logs.length_m,
        logs.count,
        wood(stock.wood).density_kg_m3,
        lie=logs.lie,
        drag=DRAG * logs.exposed_share,
    )
    return hold_down(
        row,
        depth_m=max(state.depth_m if state else 0.0, logs.diameter_m),
        velocity_mps=state.velocity_mps if state else 0.0,
        fill_n=fill,
        stone_density=stock.stone_density_kg_m3,
        factor=factor,
        anchor_n=logs.posts * stock.anchor_n_per_post,
    )


def ballast_check(spot: Spot, held: Hold) -> Check:
    """Hold the ballast needed against what is practicable."""
    return at_most(
        spot.rules["logs.ballast"],
        held.ballast_kg_m2,
        what="the weight that keeps dry logs down in the design flow",
        so="that can be laid on them",
        show=_per_area,
    )


def hold_notes(spot: Spot, held: Hold) -> tuple[str, ...]:
    """Say what was computed and what holds the logs."""
    c = held.computed
    what = "gravel in bags" if held.bagged else "stone"
    first = (
        f"Hold-down of {spot.stock.wood} logs: lift {_newtons(c.uplift_n)}, pull of the water "
        f"{_newtons(c.drag_n)}; "
        + (
            f"{kilograms(held.ballast_kg)} of {what} on them, a layer of {metres(held.layer_m)}."
            if held.ballast_kg > 0
            else "no ballast is needed."
        )
    )
    return (first, *c.notes)


def hold_cautions(spot: Spot, held: Hold) -> tuple[str, ...]:
    """What the hold-down asks care for."""
    out = []
    if design_flow(spot) is None:
        out.append("Only the lift of the logs is counted: no flow is known, so no pull of water.")
    if held.bagged and held.ballast_kg > 0:
        out.append(
            "There is no rock: the ballast is gravel in bags of burlap or fabric, which rot; "
            "plants have to take over (common practice, no published source)."
        )
    if spot.stock.anchor_n_per_post == 0:
        out.append("Posts and wire keep the logs in place but are not counted on to hold them.")
    return tuple(out)


def green_log_kg(spot: Spot, logs: Logs) -> float:
    """Mass of one log freshly cut: what has to be carried."""
    volume = math.pi / 4 * logs.diameter_m**2 * logs.length_m
    return volume * wood(spot.stock.wood).green_density_kg_m3


def carrying(spot: Spot, log_kg: float) -> str:
    """Say how a log is moved."""
    rules = spot.rules
    if log_kg <= rules.low("hand_work.lift"):
        return f"A green log weighs {kilograms(log_kg)}: one person carries it."
    if log_kg <= rules.high("hand_work.lift"):
        return f"A green log weighs {kilograms(log_kg)}: two people carry it."
    return (
        f"A green log weighs {kilograms(log_kg)}: drag and roll it with ropes and bars, nobody "
        "below it on a slope."
    )


def _per_area(value: float) -> str:
    return quantity(value, "kg/m2")


def _newtons(value: float) -> str:
    return quantity(value, "N")
