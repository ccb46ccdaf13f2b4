"""The design flow at a spot, solved once."""

from __future__ import annotations

import functools
import math

from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import LOWEST_SLOPE, FlowState, normal_flow
from siting.places.spot import Spot
from siting.values.wording import figures, flow, metres


@functools.lru_cache(maxsize=1024)
def _solved(
    section: CrossSection, discharge_m3s: float, slope: float, roughness: float
) -> FlowState:
    return normal_flow(section, discharge_m3s, slope=slope, roughness=roughness)


def sizing_flow_m3s(spot: Spot) -> float:
    """Flow that stone and wood have to hold in: the high end of the design flow's range."""
    high = spot.high_flow_m3s()
    return max(spot.flow_m3s(), high) if math.isfinite(high) else spot.flow_m3s()


def flow_at(spot: Spot, discharge_m3s: float) -> FlowState:
    """Normal flow of a discharge above 0 where a structure stands."""
    return _solved(spot.section, discharge_m3s, max(spot.slope, LOWEST_SLOPE), spot.roughness)


def design_flow(spot: Spot) -> FlowState | None:
    """Normal flow that stone and wood have to hold in; None where no flow is known."""
    discharge = sizing_flow_m3s(spot)
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
    likely, high = flow(spot.flow_m3s()), flow(state.discharge_m3s)
    which = f"of {likely}" if high == likely else f"at the high end of its range, {high}"
    return (
        f"Made for the {years(spot)} flow {which}: {metres(state.depth_m)} "
        f"deep and {figures(state.velocity_mps)} m/s fast by Manning's equation, n = "
        f"{spot.roughness:g}."
    )


def years(spot: Spot) -> str:
    """Write the design return period."""
    return f"{spot.floods.design_period_yr:g}-year"
