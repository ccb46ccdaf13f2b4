"""All flood methods at all sites: side by side, with ranges, and one of them used at each site."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from siting.floods.flood_errors import FloodInputError
from siting.floods.flood_method import (
    RETURN_PERIODS_YR,
    FloodEstimate,
    FloodMethod,
    SiteFloodInputs,
    no_estimate,
)
from siting.floods.flow_range import FlowRange, flow_range
from siting.floods.method_choice import PREFERENCE, choose, in_order
from terrain.values.arrays import BoolArray, FloatArray
from terrain.values.plugins import FLOOD_METHODS, PluginError, Plugins, call_plugin, load_plugins

KIND: Final = "flood method"
_NEEDS: Final = ("name", "title", "source", "limits", "needs", "peak_flow")
#: Code of a remark that names the report of an estimate.
CITED: Final = "source"
#: Remarks that hold for every site alike, or are told elsewhere.
TOLD_ONCE: Final = (CITED, "no_rain", "no_region", "rain_not_covered", "input_missing")
NO_BOUNDS: Final = "The rain comes without confidence bounds: its error is not in the range."
MINIMUM: Final = "Part of the drainage area lies outside the raster: flows are minima."
#: The return period at which a method is chosen; where no method has a flow for it, the next one.
CHOSEN_AT_YR: Final = (10.0, 5.0, 25.0, 2.0, 50.0, 100.0)


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """Flows of m methods at n sites for the return periods 2, 5, 10, 25, 50 and 100 years.

    Parameters
    ----------
    name, source
        Name of each method, and where it is published; shape ``(n, m)``.
    q_m3s, low_m3s, high_m3s
        Likely flow and its range, shape ``(n, m, 6)``; NaN where there is none.
    range_from
        What that range rests on, same shape; None where there is none.
    dry_m3s, wet_m3s
        The same rain after dry and wet days (antecedent runoff conditions I and III), same shape.
    limits_met
        Whether all published limits of the method hold, same shape.
    note
        Remarks, same shape; None for none.
    used
        Which method is used at each site, -1 where none gives a flow; shape ``(n,)``.
    used_note
        Remarks about that method, with the return periods that they hold for.
    """

    name: NDArray[Any]
    source: NDArray[Any]
    q_m3s: FloatArray
    low_m3s: FloatArray
    high_m3s: FloatArray
    range_from: NDArray[Any]
    dry_m3s: FloatArray
    wet_m3s: FloatArray
    limits_met: BoolArray
    note: NDArray[Any]
    used: NDArray[np.int64]
    used_note: NDArray[Any]

    def of_used(self, values: NDArray[Any]) -> NDArray[Any]:
        """Rows of the method used at each site, shape ``(n, 6)``; empty ones where none is."""
        empty: Any = None if values.dtype == object else (False if values.dtype == bool else np.nan)
        if not values.shape[1]:
            return np.full((values.shape[0], values.shape[2]), empty, dtype=values.dtype)
        rows = values[np.arange(self.used.size), np.maximum(self.used, 0)]
        out: NDArray[Any] = rows.copy()
        out[self.used < 0] = empty
        return out


def flood_methods() -> Plugins[FloodMethod]:
    """All flood methods that are installed, built in or not."""
    return load_plugins(FLOOD_METHODS, kind=KIND, needs=_NEEDS)


def parse_methods(text: str) -> tuple[str, ...]:
    """Read names of methods, in order of preference: ``graphical`` or ``regional,graphical``.

    Raises
    ------
    PluginError
        A name that no method has.
    FloodInputError
        No name, or one twice.
    """
    names = tuple(part.strip() for part in text.split(",") if part.strip())
    if not names or len(set(names)) != len(names):
        raise FloodInputError(
            f"flood methods given as '{text}'",
            expected=f"one of {', '.join(flood_methods().names)}",
        )
    for name in names:
        flood_methods()[name]
    return names


def compare(
    inputs: SiteFloodInputs,
    *,
    asked: Sequence[str] = (),
    periods: Sequence[float] = RETURN_PERIODS_YR,
    methods: Mapping[str, FloodMethod] | None = None,
    curve_number_error: float,
    notes: bool = True,
) -> Compared:
    """Estimate the flows of every method at every site.

    Parameters
    ----------
    inputs
        What the methods are given.
    asked
        Methods to use, in order of preference; without any, the usual preference. All methods
        stand side by side in any case.
    periods
        Return periods to work out; the others stay empty.
    methods
        Methods by name; by default all that are installed.
    curve_number_error
        How far the curve number may be off, either way; 0 leaves that part out of the ranges.
    notes
        Whether to write remarks and to work out ranges: a trial reads neither.
    """
    if methods is None:
        methods = {p.name: p.value for p in flood_methods().working}
    names = in_order(methods)
    n, shape = inputs.count, (inputs.count, len(names), len(RETURN_PERIODS_YR))
    q, low, high, dry, wet = (np.full(shape, np.nan) for _ in range(5))
    range_from = np.full(shape, None, dtype=object)
    met = np.zeros(shape, dtype=np.bool_)
    note = np.full(shape, None, dtype=object)
    source = np.full((n, len(names)), None, dtype=object)
    by_period: dict[float, dict[str, FloodEstimate]] = {}
    for period in periods:
        k = RETURN_PERIODS_YR.index(period)
        made = {
            name: _estimate(methods[name], inputs, period, asked=name in asked) for name in names
        }
        by_period[period] = made
        for m, (name, estimate) in enumerate(made.items()):
            q[:, m, k], met[:, m, k] = estimate.value_m3s, estimate.limits_met
            if not notes:
                continue
            found = flow_range(
                methods[name],
                [(methods[other], made[other]) for other in names],
                inputs,
                run=partial(_estimate, period=period, asked=False),
                curve_number_error=curve_number_error,
            )
            low[:, m, k], high[:, m, k] = found.low_m3s, found.high_m3s
            dry[:, m, k], wet[:, m, k] = found.dry_m3s, found.wet_m3s
            range_from[:, m, k] = found.rests_on
            note[:, m, k] = _notes(methods[name], estimate, found, inputs)
    if notes:
        for m, name in enumerate(names):
            source[:, m] = _sources(methods[name], [e[name] for e in by_period.values()], n)
    used = _used(by_period, names, asked, n)
    return Compared(
        name=np.broadcast_to(np.array(names, dtype=object), (n, len(names))).copy(),
        source=source,
        q_m3s=q,
        low_m3s=low,
        high_m3s=high,
        range_from=range_from,
        dry_m3s=dry,
        wet_m3s=wet,
        limits_met=met,
        note=note,
        used=used,
        used_note=used_notes(by_period, names, used) if notes else np.full(n, None, dtype=object),
    )


def _estimate(
    method: FloodMethod, inputs: SiteFloodInputs, period: float, *, asked: bool
) -> FloodEstimate:
    """Flow of one method; one that fails is told by name, and stops the run only if asked for."""
    try:
        return call_plugin(KIND, method.name, lambda: method.peak_flow(inputs, period))
    except PluginError as error:
        if asked:
            raise
        return no_estimate(method, inputs, period, code="failed", why=f"{error.found}.")


def _used(
    by_period: Mapping[float, Mapping[str, FloodEstimate]],
    names: Sequence[str],
    asked: Sequence[str],
    count: int,
) -> NDArray[np.int64]:
    """Which method is used at each site: one for all return periods, so that they belong together.

    The first in order of preference whose limits hold for the 10-year flood; where none does, the
    first that gives a flow. Where no method has that flow, the next return period decides.
    """
    used = np.full(count, -1, dtype=np.int64)
    number = {name: m for m, name in enumerate(names)}
    for period in (p for p in CHOSEN_AT_YR if p in by_period):
        estimates = by_period[period]
        if asked:
            estimates = {name: estimates[name] for name in asked}
        if not estimates:
            break
        choice = choose(estimates, preference=asked or PREFERENCE)
        picked = np.array([number.get(str(name), -1) for name in choice.method], dtype=np.int64)
        used = np.where(used < 0, picked, used)
    return used


def _notes(
    method: FloodMethod, estimate: FloodEstimate, found: FlowRange, inputs: SiteFloodInputs
) -> NDArray[Any]:
    """Remarks of one estimate, site by site: all that hold, and what its range rests on."""
    given = np.isfinite(estimate.value_m3s)
    texts = [(f.text, f.where) for f in estimate.flags if f.code != CITED]
    texts.append(("Part of the drainage area lies outside the raster.", estimate.is_minimum))
    texts.append(("The flow is a minimum.", estimate.is_minimum))
    rests = sorted({str(r) for r in found.rests_on if r is not None})
    texts += [(f"Range: {text}.", found.rests_on == text) for text in rests]
    if inputs.rainfall is not None and inputs.rainfall.bounds is None:
        rain = np.full(given.shape, "rainfall" in method.needs)
        texts.append((NO_BOUNDS, rain & given))
    return joined(texts, given.size, between=" ")


def _sources(method: FloodMethod, estimates: Sequence[FloodEstimate], count: int) -> NDArray[Any]:
    """Where a method is published; reports that an estimate names for a site come in its place."""
    cited: dict[str, BoolArray] = {}
    for flag in (f for e in estimates for f in e.flags if f.code == CITED):
        text = flag.text.rstrip(".")
        cited[text] = cited.get(text, np.zeros(count, dtype=np.bool_)) | flag.where
    out = joined(list(cited.items()), count, between="; ")
    return np.where(out == None, method.source, out)  # noqa: E711 - element by element


def used_notes(
    by_period: Mapping[float, Mapping[str, FloodEstimate]],
    names: Sequence[str],
    used: NDArray[np.int64],
) -> NDArray[Any]:
    """Remarks about the method used at each site, with the return periods that they hold for."""
    periods = sorted(by_period)
    held: dict[str, dict[float, BoolArray]] = {}
    made = {p: np.zeros(used.size, dtype=np.bool_) for p in periods}
    for m, name in enumerate(names):
        here = used == m
        if not here.any():
            continue
        for period in periods:
            estimate = by_period[period][name]
            made[period] |= here & np.isfinite(estimate.value_m3s)
            for flag in estimate.flags:
                if flag.code not in TOLD_ONCE:
                    where = held.setdefault(flag.text, {})
                    where[period] = where.get(period, False) | (here & flag.where)
    texts: list[tuple[str, BoolArray]] = []
    for text, where in held.items():
        some = np.column_stack([made[p] & where.get(p, False) for p in periods])
        all_made = np.column_stack([made[p] for p in periods])
        for kind in np.unique(some[some.any(axis=1)], axis=0):
            at = (some == kind).all(axis=1)
            every = at & (some == all_made).all(axis=1)
            years = ", ".join(f"{p:g}" for p, yes in zip(periods, kind, strict=True) if yes)
            texts += [(text, every), (f"{years} years: {text}", at & ~every)]
    if by_period:
        first = next(iter(by_period.values()))
        cut = next(iter(first.values())).is_minimum if first else np.zeros(used.size, np.bool_)
        texts.append((MINIMUM, cut & (used >= 0)))
    return joined([(t, w) for t, w in texts if w.any()], used.size, between=" ")


def joined(texts: Sequence[tuple[str, BoolArray]], count: int, *, between: str) -> NDArray[Any]:
    """Texts that hold at each of the sites, joined; None where none does."""
    out = np.full(count, None, dtype=object)
    if not texts or not count:
        return out
    holds = np.column_stack([where for _, where in texts])
    # many sites share the same texts: each set of them is written once
    kinds, which = np.unique(holds, axis=0, return_inverse=True)
    written = [
        between.join(text for (text, _), yes in zip(texts, kind, strict=True) if yes) or None
        for kind in kinds
    ]
    out[:] = np.array([*written, None], dtype=object)[which.reshape(-1)]
    return out
