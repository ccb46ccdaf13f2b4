"""Low and high of a peak flow: the widest of the single parts that make it unsure.

Each part is worked out alone, with everything else at its likely value, and each end is that of the
part that lies furthest out; parts are never multiplied. They are the rain's printed confidence
bounds, the curve number some numbers higher or lower, the method's own published standard error,
and the flows of independent methods. Methods that share the curve number are one witness, for they
err together. Single storms after dry and wet days (antecedent runoff conditions I and III) stand
beside the range, not in it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from siting.floods.antecedent_runoff import antecedent_curve_number
from siting.floods.flood_method import FloodEstimate, FloodMethod, SiteFloodInputs
from siting.floods.method_choice import in_order
from siting.floods.rainfall import Rainfall
from siting.floods.runoff import HIGHEST_CURVE_NUMBER, LOWEST_CURVE_NUMBER
from terrain.values.arrays import FloatArray, floats, frozen

#: Input that makes methods one witness.
SHARED: Final = "curve_number"
CUT_OFF: Final = "high end open: the drainage area is cut off, the flow is a minimum"
BEYOND: Final = ", and wider than told: the method is outside its published limits here"
INDEPENDENT: Final = "spread of independent methods"

#: Works out a method with other inputs.
Run = Callable[[FloodMethod, SiteFloodInputs], FloodEstimate]


@dataclass(frozen=True, slots=True, eq=False)
class FlowRange:
    """Range of one method's flow at n sites; arrays ``(n,)``.

    Parameters
    ----------
    low_m3s, high_m3s
        The range; NaN where nothing gives one, and high where the flow is a minimum.
    rests_on
        Which part sets it, in words; None where there is none.
    dry_m3s, wet_m3s
        The same rain after dry and wet days, antecedent runoff conditions I and III; NaN for a
        method without curve numbers.
    """

    low_m3s: FloatArray
    high_m3s: FloatArray
    rests_on: NDArray[Any]
    dry_m3s: FloatArray
    wet_m3s: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """One thing that makes a flow unsure, alone: what it is called, and its two ends ``(n,)``."""

    both: str
    low_end: str
    high_end: str
    low_m3s: FloatArray
    high_m3s: FloatArray


def witness_of(method: FloodMethod) -> str:
    """Name of the witness that a method is: all with curve numbers are one, others stand alone."""
    return SHARED if SHARED in method.needs else method.name


def flow_range(
    method: FloodMethod,
    estimates: Sequence[tuple[FloodMethod, FloodEstimate]],
    inputs: SiteFloodInputs,
    *,
    run: Run,
    curve_number_error: float,
) -> FlowRange:
    """Range of a method's flow.

    Parameters
    ----------
    method
        One of the methods.
    estimates
        All methods with their likely flows, in any order.
    inputs
        What they were given.
    run
        Works out a method with other inputs.
    curve_number_error
        How far the curve number may be off, either way; 0 leaves that part out.
    """
    estimate = next(e for m, e in estimates if m.name == method.name)
    parts = [
        *_rain_part(method, inputs, run),
        *_curve_number_part(method, inputs, run, curve_number_error),
        *_own_error(estimate),
        *_spread(method, estimates),
    ]
    widest = widest_parts(estimate.value_m3s, parts)
    dry, wet = _storms(method, inputs, run)
    rests_on = widest.rests_on.copy()
    for i in np.flatnonzero(~estimate.limits_met):
        rests_on[i] = f"{rests_on[i]}{BEYOND}" if rests_on[i] else None
    rests_on[estimate.is_minimum & np.isfinite(estimate.value_m3s)] = CUT_OFF
    return replace(
        widest,
        high_m3s=frozen(np.where(estimate.is_minimum, np.nan, widest.high_m3s)),
        rests_on=rests_on,
        dry_m3s=frozen(dry),
        wet_m3s=frozen(wet),
    )


def widest_parts(value_m3s: FloatArray, parts: Sequence[Part]) -> FlowRange:
    """Take each end of the range from the part that lies furthest out there.

    Parameters
    ----------
    value_m3s
        Likely flow, which lies inside the range; shape ``(n,)``.
    parts
        What makes it unsure. Of equal ones the first is named.
    """
    shape = value_m3s.shape
    none = np.full(shape, np.nan)
    rests_on = np.full(shape, None, dtype=object)
    if not parts:
        return FlowRange(frozen(none), frozen(none), rests_on, frozen(none), frozen(none))
    lows = np.array([np.fmin(p.low_m3s, value_m3s) for p in parts])
    highs = np.array([np.fmax(p.high_m3s, value_m3s) for p in parts])
    # a part without a value at a site says nothing there
    said = np.array([np.isfinite(p.low_m3s) & np.isfinite(p.high_m3s) for p in parts])
    said &= np.isfinite(value_m3s)
    lows, highs = np.where(said, lows, np.nan), np.where(said, highs, np.nan)
    lowest = np.argmin(np.where(said, lows, np.inf), axis=0)
    highest = np.argmax(np.where(said, highs, -np.inf), axis=0)
    for i in np.flatnonzero(said.any(axis=0)):
        rests_on[i] = _named(parts[lowest[i]], parts[highest[i]])
    return FlowRange(
        frozen(np.fmin.reduce(lows)),
        frozen(np.fmax.reduce(highs)),
        rests_on,
        frozen(none),
        frozen(none),
    )


def _named(low: Part, high: Part) -> str:
    if low is high:
        return low.both
    return f"high end: {high.high_end}; low end: {low.low_end}"


def _rain_part(method: FloodMethod, inputs: SiteFloodInputs, run: Run) -> list[Part]:
    rain = inputs.rainfall
    if rain is None or rain.bounds is None or "rainfall" not in method.needs:
        return []

    def flow(at: Rainfall | None) -> FloatArray:
        return run(method, replace(inputs, rainfall=at)).value_m3s

    name = rain.bounds.name
    low, high = flow(rain.at_bound("low")), flow(rain.at_bound("high"))
    return [
        Part(f"the rain's {name}", f"the rain's {name}, the lower", f"the rain's {name}, the upper",
             low, high)
    ]  # fmt: skip


def _curve_number_part(
    method: FloodMethod, inputs: SiteFloodInputs, run: Run, error: float
) -> list[Part]:
    if SHARED not in method.needs or error <= 0:
        return []
    number = inputs.array(SHARED)

    def flow(by: float) -> FloatArray:
        other = np.clip(number + by, LOWEST_CURVE_NUMBER, HIGHEST_CURVE_NUMBER)
        return run(method, replace(inputs, curve_number=other)).value_m3s

    return [
        Part(
            f"curve number {error:g} higher or lower",
            f"curve number {error:g} lower",
            f"curve number {error:g} higher",
            flow(-error),
            flow(error),
        )
    ]


def _own_error(estimate: FloodEstimate) -> list[Part]:
    if not np.isfinite(estimate.low_m3s).any():
        return []
    name = estimate.range_source
    return [Part(name, name, name, estimate.low_m3s, estimate.high_m3s)]


def _spread(
    method: FloodMethod, estimates: Sequence[tuple[FloodMethod, FloodEstimate]]
) -> list[Part]:
    """Flows of the other witnesses that are inside their limits: of each the method preferred."""
    by_name = {m.name: (m, e) for m, e in estimates}
    told: dict[str, FloatArray] = {}
    for name in in_order(by_name):
        other, estimate = by_name[name]
        witness = witness_of(other)
        if witness == witness_of(method):
            continue
        inside = np.where(estimate.limits_met, estimate.value_m3s, np.nan)
        before = told.get(witness, np.full(inside.shape, np.nan))
        told[witness] = np.where(np.isfinite(before), before, inside)
    if not told:
        return []
    flows = np.array(list(told.values()))
    low, high = np.fmin.reduce(flows), np.fmax.reduce(flows)
    return [Part(INDEPENDENT, INDEPENDENT, INDEPENDENT, floats(low), floats(high))]


def _storms(
    method: FloodMethod, inputs: SiteFloodInputs, run: Run
) -> tuple[FloatArray, FloatArray]:
    if SHARED not in method.needs:
        none = np.full(inputs.count, np.nan)
        return none, none
    number = inputs.array(SHARED)
    # below 30, where TR-55 prints none, hardly anything runs off
    dry = np.fmax(antecedent_curve_number(number, "I"), LOWEST_CURVE_NUMBER)
    dry = np.where(np.isfinite(number), dry, np.nan)
    wet = antecedent_curve_number(number, "III")
    return (
        run(method, replace(inputs, curve_number=dry)).value_m3s,
        run(method, replace(inputs, curve_number=wet)).value_m3s,
    )
