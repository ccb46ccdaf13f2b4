"""Stone that the design flow does not move, and that people can lift."""

from __future__ import annotations

import math
from dataclasses import dataclass

from siting.hydraulics.open_channel import GRAVITY_MPS2, critical_unit_depth_m
from siting.hydraulics.stone import (
    STEEP_SLOPES,
    abt_johnson_d50_m,
    isbash_d_m,
    overtopping_d50_m,
    rock_chute_d50_m,
    shear_d50_m,
    steep_d30_m,
    stone_mass_kg,
)
from siting.places.spot import Spot
from siting.structures.design_flow import design_flow, flow_note
from siting.structures.limit_checks import ROUNDING, TRADE, condition
from siting.structures.stone_classes import largest_m, whole_cm
from siting.structures.structure_type import Check, Stone
from siting.values.wording import centimetres, quantity

#: Steepest bed to which the rock-chute formula is held against a low structure on it.
BED_CHUTE_SLOPE = 0.10
#: Isbash's coefficient where the water is rough, as below a fall.
ROUGH_WATER = 0.86
OVERFLOW_SOURCE = (
    "the largest of Robinson, Rice and Kadavy 1998, FHWA HEC-23 (2009) design guideline 5 "
    "(second-hand), and Abt and Johnson 1991 (from memory)"
)


@dataclass(frozen=True, slots=True)
class Asked:
    """Median stone that methods ask for, with the safety factor in it: method to size."""

    by: tuple[tuple[str, float], ...]

    @property
    def d50_m(self) -> float:
        """Largest of them: the larger rules."""
        return max(size for _, size in self.by)

    def words(self) -> str:
        """Write every method with its size."""
        each = ", ".join(f"{name} {centimetres(size)}" for name, size in self.by)
        return f"{each}; the larger rules" if len(self.by) > 1 else each


def bed_stone(spot: Spot) -> Asked | None:
    """Stone that lies on the bed in the design flow; None where no flow is known.

    By the pull of the water on the deepest part of the bed, and from 2 to 10 % by the rock-chute
    formula as well.
    """
    state = design_flow(spot)
    if state is None:
        return None
    rules = spot.rules
    safety = rules.value("stone.safety")
    by_shear = shear_d50_m(
        state.deepest_shear_pa,
        density=spot.stock.stone_density_kg_m3,
        shields=rules.value("stone.shields"),
        safety=safety,
    )
    by = [("pull on the bed (HEC-15)", by_shear)]
    gentlest = rules.low("rock_rundown.face_slope")
    if gentlest <= spot.slope <= BED_CHUTE_SLOPE:
        by.append(_chute(state.unit_flow_m2s, spot.slope, safety))
    return Asked(tuple(by))


def chute_stone(spot: Spot, *, width_m: float, slope: float) -> Asked | None:
    """Stone of a chute's face, by every method whose range holds its slope."""
    state = design_flow(spot)
    if state is None:
        return None
    rules = spot.rules
    safety = rules.value("stone.safety")
    unit_flow = state.discharge_m3s / width_m
    by = [_chute(unit_flow, slope, safety)]
    if STEEP_SLOPES[0] <= slope <= STEEP_SLOPES[1]:
        wider = math.cbrt(rules.value("stone.grading"))
        by.append(
            ("EM 1110-2-1601, steep channels", safety * wider * steep_d30_m(unit_flow, slope))
        )
        by.append(("Abt and Johnson 1991", safety * abt_johnson_d50_m(unit_flow, slope)))
    return Asked(tuple(by))


def overflow_stone(spot: Spot, *, crest_m: float, slope: float) -> Asked | None:
    """Stone of the lower face of a crest that stands proud, as the flow runs over it.

    By the methods made for stone that is overtopped; None where no flow is known.

    Parameters
    ----------
    crest_m
        Length of the crest that the flow passes.
    slope
        Of the lower face, m per m.
    """
    state = design_flow(spot)
    if state is None:
        return None
    q, safety = state.discharge_m3s / crest_m, spot.rules.value("stone.safety")
    density = spot.stock.stone_density_kg_m3
    return Asked(
        (
            ("over the crest by the rock-chute formula", safety * rock_chute_d50_m(q, slope)),
            ("by HEC-23", safety * overtopping_d50_m(q, slope, density=density)),
            ("by Abt and Johnson 1991", safety * abt_johnson_d50_m(q, slope)),
        )
    )


def asked_by(*asked: Asked | None) -> Asked | None:
    """Join what several places of a structure ask for; None where nothing is asked."""
    by = tuple(each for one in asked if one is not None for each in one.by)
    return Asked(by) if by else None


def overflow_check(stone: Stone, asked: Asked | None, *, slope: float, rule: str) -> Check:
    """Hold the stone laid against what the flow over the lower face asks for."""
    face = f"on its lower face, 1 down for {1 / slope:g} along"
    needed = asked.d50_m if asked else 0.0
    return condition(
        needed <= stone.d50_m + ROUNDING,
        rule=rule,
        asks=f"stone of at least {centimetres(needed)} {face}"
        if asked
        else f"stone that holds {face}",
        found=f"stone of {centimetres(stone.d50_m)}" if asked else "no flow known",
        why_not=f"The flow over the crest asks for stone of {centimetres(needed)} {face}, more "
        f"than the {centimetres(stone.d50_m)} laid.",
        source=OVERFLOW_SOURCE,
        basis="published" if asked else TRADE,
    )


def _chute(unit_flow_m2s: float, slope: float, safety: float) -> tuple[str, float]:
    size = safety * rock_chute_d50_m(unit_flow_m2s, slope)
    return "rock chute (Robinson, Rice and Kadavy 1998)", size


def sill_stone(spot: Spot, *, width_m: float) -> Asked | None:
    """Stone that holds at a sill below a fall, by Isbash in rough water.

    The velocity is the faster of the channel's own and the critical one over the sill.
    """
    state = design_flow(spot)
    if state is None:
        return None
    critical = math.sqrt(GRAVITY_MPS2 * critical_unit_depth_m(state.discharge_m3s / width_m))
    size = isbash_d_m(
        max(state.velocity_mps, critical),
        coefficient=ROUGH_WATER,
        density=spot.stock.stone_density_kg_m3,
    )
    return Asked((("Isbash at the sill", spot.rules.value("stone.safety") * size),))


def laid_stone(
    spot: Spot, asked: Asked | None, *, by_size_m: float, because: str, trade_only: bool = False
) -> Stone:
    """Return the stone to lay: what the flow asks for, or the size that the work needs.

    Parameters
    ----------
    asked
        What the flow asks for.
    by_size_m
        Median size that the structure needs whatever the flow.
    because
        Where that comes from, in words.
    trade_only
        Whether no published method is made for such a structure, so that even a size by the flow
        stays common practice.
    """
    flow_size = asked.d50_m if asked else 0.0
    d50 = whole_cm(max(flow_size, by_size_m))
    d100 = largest_m(spot.rules, d50)
    heaviest = stone_mass_kg(d100, density=spot.stock.stone_density_kg_m3)
    ruled_by_flow = flow_size > by_size_m
    if asked is None:
        method = f"{because} (common practice); not checked: no flow"
    elif ruled_by_flow:
        method = asked.words()
    else:
        method = f"{because} (common practice); the flow asks for less: {asked.words()}"
    return Stone(
        d50_m=d50,
        d100_m=d100,
        heaviest_kg=heaviest,
        two_person=heaviest > spot.rules.low("hand_work.lift"),
        method=method,
        basis="published" if ruled_by_flow and not trade_only else TRADE,
    )


def lift_check(spot: Spot, stone: Stone, asked: Asked | None, *, tried: str = "") -> Check:
    """Hold the largest stone against what two people can lift; ``tried`` says what did not help."""
    limit = spot.rules["hand_work.lift"]
    heaviest = kilograms(stone.heaviest_kg)
    by_flow = asked is not None and whole_cm(asked.d50_m) >= stone.d50_m - ROUNDING
    thick = f"{centimetres(stone.d100_m)} thick and {heaviest}"
    why = (
        f"The flow is too strong for stone that people can lift: what holds here is {thick}, more "
        f"than the {kilograms(limit.high)} of two people{tried}."
        if by_flow
        else f"The largest stone needed here is {thick}, more than the {kilograms(limit.high)} "
        "that two people can lift."
    )
    return condition(
        stone.heaviest_kg <= limit.high + ROUNDING,
        rule=limit.name,
        asks=f"stone of at most {kilograms(limit.high)}, two people's lift",
        found=f"the largest {heaviest}",
        why_not=why,
        source=limit.source,
        basis=limit.basis,
    )


def kilograms(value: float) -> str:
    """Write a mass."""
    return quantity(value, "kg")


def stone_note(stone: Stone) -> str:
    """Say what stone it takes and how that came about."""
    return (
        f"Stone D50 {centimetres(stone.d50_m)}, D100 {centimetres(stone.d100_m)} "
        f"({kilograms(stone.heaviest_kg)}): {stone.method}."
    )


def stone_notes(spot: Spot, stone: Stone) -> tuple[str, ...]:
    """Say what flow and what stone."""
    safety = spot.rules.value("stone.safety")
    factor = f"Computed stone holds a safety factor of {safety:g}."
    return (flow_note(spot), stone_note(stone), *((factor,) if design_flow(spot) else ()))


def stone_cautions(spot: Spot, stone: Stone | None) -> tuple[str, ...]:
    """What the stone asks care for."""
    if stone is None:
        return ()
    out = []
    if design_flow(spot) is None:
        out.append("Stone not checked: no flow.")
    if stone.two_person:
        out.append(
            f"The largest stones weigh {kilograms(stone.heaviest_kg)}: two people lift them, or a "
            "bar rolls them."
        )
    return tuple(out)
