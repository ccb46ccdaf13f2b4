"""The design flow at a spot, solved once, and the same spot at the high end of its range.

What must hold is sized for the likely flow and checked at the high end (see `high_end`).
"""

from __future__ import annotations

import functools
import math
from dataclasses import replace

from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import LOWEST_SLOPE, FlowState, normal_flow
from siting.places.spot import Spot
from siting.values.wording import flow, metres, quantity


@functools.lru_cache(maxsize=1024)
def _solved(
    section: CrossSection, discharge_m3s: float, slope: float, roughness: float
) -> FlowState:
    return normal_flow(section, discharge_m3s, slope=slope, roughness=roughness)


def at_high_end(spot: Spot) -> Spot | None:
    """Return the same place with the high end of each flow's range for its flow.

    None where no range is known, or where it ends at the likely flow.
    """
    if not spot.high_flow_m3s() > spot.flow_m3s():
        return None
    return replace(spot, floods=replace(spot.floods, q_m3s=spot.floods.high_m3s))


def flow_at(spot: Spot, discharge_m3s: float) -> FlowState:
    """Normal flow of a discharge above 0 where a structure stands."""
    return _solved(spot.section, discharge_m3s, max(spot.slope, LOWEST_SLOPE), spot.roughness)


def design_flow(spot: Spot) -> FlowState | None:
    """Normal flow that stone and wood are sized for; None where no flow is known."""
    discharge = spot.flow_m3s()
    if not math.isfinite(discharge) or discharge <= 0:
        return None
    return flow_at(spot, discharge)


def flow_cautions(spot: Spot) -> tuple[str, ...]:
    """What the design flow, or its lack, asks care for."""
    state = design_flow(spot)
    if state is None:
        return ("No flow is known here: the structure is not checked against it.",)
    if state.overtops:
        return (
            f"The design flow ({years(spot)}, {flow(state.discharge_m3s)}) leaves the channel "
            "here: see where it goes beside the structure.",
        )
    return ()


def flow_note(spot: Spot) -> str:
    """Say what flow the sizes are made for."""
    state = design_flow(spot)
    if state is None:
        return "No flow is known here: nothing is checked against it."
    return (
        f"Made for the {years(spot)} flow of {flow(state.discharge_m3s)}: {metres(state.depth_m)} "
        f"deep and {quantity(state.velocity_mps, 'm/s')} fast by Manning's equation, n = "
        f"{spot.roughness:g}; {_checked_at(spot)}."
    )


def _checked_at(spot: Spot) -> str:
    """Say up to which flow it is checked."""
    high = spot.high_flow_m3s()
    if not math.isfinite(high):
        return "its range is not known, so nothing is checked beyond it"
    rests_on = f" ({spot.floods.range_from})" if spot.floods.range_from else ""
    return f"checked at the high end of its range, {flow(high)}{rests_on}"


def years(spot: Spot) -> str:
    """Write the design return period."""
    return f"{spot.floods.design_period_yr:g}-year"
