"""What was sized for the likely flow, held against the high end of the flow's range.

A factor of safety is there to take what the flow may be larger; so at the high end it need not be
there as well. Each function is given the place with the high end for its flow (see
`siting.structures.design_flow.at_high_end`).
"""

from __future__ import annotations

import numpy as np

from siting.places.spot import Spot
from siting.structures.design_flow import flow_at
from siting.structures.grade_height import LEVEL_SOURCE, banks_hold, banks_unseen, crest_level_m
from siting.structures.limit_checks import ROUNDING, TRADE, condition
from siting.structures.rock_sizing import Asked, kilograms
from siting.structures.structure_type import Check, Stone
from siting.structures.wood_hold import Logs, held_down
from siting.values.wording import figures, flow, metres, quantity


def stone_stays(high: Spot, stone: Stone | None, asked: Asked | None) -> tuple[Check, ...]:
    """Hold the stone that is laid against the stone that the high end asks for.

    Parameters
    ----------
    high
        The place at the high end.
    stone
        What is laid; None for no stone.
    asked
        What the high end asks for, with the factor of safety of the likely flow in it.
    """
    if stone is None or asked is None:
        return ()
    return (_median_stays(high, stone.d50_m, asked, what="the stone"),)


def ballast_stays(
    high: Spot, logs: Logs, asked: Asked | None, *, filled: bool, laid_kg: float, layer_m: float
) -> tuple[Check, ...]:
    """Hold the ballast that is laid on logs against lift and pull at the high end.

    Parameters
    ----------
    high
        The place at the high end.
    logs
        The logs as they are laid.
    asked
        Stone on the bed at the high end; None where ballast is in bags.
    filled
        Whether the gaps between the logs hold gravel.
    laid_kg, layer_m
        Ballast on them, and its thickness, which is that of its stone at least.
    """
    limit = high.rules["logs.hold_down_high_end"]
    needed = held_down(high, logs, filled=filled, factor=limit.value).ballast_kg
    held = condition(
        needed <= laid_kg + ROUNDING,
        rule=limit.name,
        asks=f"ballast that holds the logs {_at(high)}: {kilograms(needed)}",
        found=f"{kilograms(laid_kg)} laid",
        why_not=f"{_start(high)} lifts or moves the logs: {kilograms(needed)} of ballast would "
        f"hold them, {kilograms(laid_kg)} is laid.",
        source=limit.source,
        basis=limit.basis,
    )
    if asked is None or layer_m <= 0:
        return (held,)
    return (held, _median_stays(high, layer_m, asked, what="the ballast"))


def ends_stay_dry(high: Spot, crest_m: float) -> tuple[Check, ...]:
    """Hold the width that the high end wets against a structure at a drop, ends included."""
    wet = high.section.top_width_m(flow_at(high, high.flow_m3s()).depth_m)
    return (
        condition(
            wet <= crest_m + ROUNDING,
            rule="grade_control.key",
            asks=f"a structure as wide as the flow {_at(high)}: {metres(wet)}",
            found=f"{metres(crest_m)} with its ends",
            why_not=f"{_start(high)} is {metres(wet)} wide and goes round the ends of "
            f"{metres(crest_m)}: look at them after such a flow.",
            source="no published source",
            basis=TRADE,
        ),
    )


def crest_between_banks(high: Spot, height_m: float) -> tuple[Check, ...]:
    """Hold the level over a crest at the high end against the lower bank, less its error.

    Where the likely flow spills and spreads already, in a swale, there is nothing to hold; nor
    where no banks are seen, which are measured before anything is built.
    """
    if banks_unseen(high):
        return ()
    level, bank = crest_level_m(high, height_m), high.banks
    limit = high.rules["grade_control.height"]
    seen = np.isfinite(bank.depth_m)
    there = (
        f"{metres(bank.depth_m)}, error {metres(bank.depth_error_m)}" if seen else "nobody saw it"
    )
    stands = f"is {there}" if seen else "was not seen"
    return (
        condition(
            banks_hold(high, height_m),
            rule=limit.name,
            asks=f"banks that hold the flow over the crest {_at(high)}",
            found=f"it stands {metres(level)} above the bed; the lower bank {stands}",
            why_not=f"{_start(high)} stands {metres(level)} above the bed over the crest, which "
            f"the lower bank ({there}) may not hold: it may go round an end.",
            source=LEVEL_SOURCE,
            basis=limit.basis,
        ),
    )


def told_at_high_end(high: Spot, check: Check) -> str:
    """Say of a check that fails at the high end only that it does so there."""
    start = _start(high)
    return check.why_not if check.why_not.startswith(start) else f"{start}: {check.why_not}"


def _median_stays(high: Spot, laid_m: float, asked: Asked, *, what: str) -> Check:
    limit = high.rules["stone.safety_high_end"]
    needed = asked.d50_m * limit.value / high.rules.value("stone.safety")
    # as many figures as it takes to tell the two apart
    digits = next((d for d in (2, 3, 4) if figures(needed, d) != figures(laid_m, d)), 2)
    stays, laid = (quantity(100 * v, "cm", digits=digits) for v in (needed, laid_m))
    return condition(
        needed <= laid_m + ROUNDING,
        rule=limit.name,
        asks=f"{what} to stay {_at(high)}: D50 of at least {stays}",
        found=f"{laid} laid",
        why_not=f"{_start(high)} moves {what} of {laid}; {stays} would stay: look after such a "
        "flow, and mend it.",
        source=limit.source,
        basis=TRADE,
    )


def _at(high: Spot) -> str:
    return f"at the high end of the design flow, {flow(high.flow_m3s())}"


def _start(high: Spot) -> str:
    return f"At the high end of its range, {flow(high.flow_m3s())}, the design flow"
