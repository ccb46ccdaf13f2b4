"""From a limit and what a place shows to a `Check`, at the unfavourable end of the error."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from siting.places.spot import Spot
from siting.structures.structure_type import Check
from siting.values.rules import Limit
from siting.values.wording import hectares, listed, metres, percent

#: Name of the condition that the raster holds the whole drainage area.
AREA_RULE = "area_complete"
#: Name of the condition that the ranch has what a type is built of.
STOCK_RULE = "materials"
#: Rounding of floating point numbers, far below anything that is measured.
ROUNDING = 1e-9
TRADE = "common practice"
_PURPOSE = {
    "vertical": "a headcut",
    "grade": "a bed that has to be held",
    "spread": "a flow that has to be spread",
    "road": "a road that carries water",
}
Show = Callable[[float], str]


def condition(
    passed: bool,
    *,
    asks: str,
    found: str,
    why_not: str,
    rule: str = "",
    source: str = "no published source",
    basis: str = TRADE,
) -> Check:
    """Make a check of something that is so or not; the sentence is dropped where it holds."""
    return Check(rule, asks, found, passed, "" if passed else why_not, source, basis)


def at_most(
    limit: Limit,
    value: float,
    *,
    what: str,
    so: str,
    error: float = 0.0,
    show: Show = metres,
    least_number: bool = False,
    unknown_passes: bool = False,
) -> Check:
    """Hold a value plus its error against the most it may be.

    Parameters
    ----------
    limit
        The limit; its higher number counts, or with ``least_number`` the lower one.
    value, error
        What is there, NaN where not known, and its error.
    what, so
        Words before the value (``the drop``) and after the limit (``that hands should build``).
    show
        Writes a value with its unit.
    unknown_passes
        Whether a value that is not known passes; it then has to be measured on site.
    """
    most = limit.low if least_number else limit.high
    return _held(
        limit,
        most,
        _Found(value, error, show),
        passed=value + error <= most + ROUNDING,
        near=value <= most + ROUNDING,
        words=("at most", "above", what, so),
        unknown_passes=unknown_passes,
    )


def at_least(
    limit: Limit,
    value: float,
    *,
    what: str,
    so: str,
    error: float = 0.0,
    show: Show = metres,
    unknown_passes: bool = False,
) -> Check:
    """Hold a value minus its error against the least it may be, the limit's lower number."""
    least = limit.low
    return _held(
        limit,
        least,
        _Found(value, error, show),
        passed=value - error >= least - ROUNDING,
        near=value >= least - ROUNDING,
        words=("at least", "below", what, so),
        unknown_passes=unknown_passes,
    )


@dataclass(frozen=True, slots=True)
class _Found:
    """What a place shows: a value, NaN where not known, its error, and how both are written."""

    value: float
    error: float
    show: Show


def _held(
    limit: Limit,
    number: float,
    there: _Found,
    *,
    passed: bool,
    near: bool,
    words: tuple[str, str, str, str],
    unknown_passes: bool,
) -> Check:
    sign, beyond, what, so = words
    value, error, show = there.value, there.error, there.show
    asks = f"{what} {sign} {show(number)}"
    start = what[0].upper() + what[1:]
    if not math.isfinite(value):
        why = f"{start} is not known here: measure it on site."
        passed, found = unknown_passes, "not known"
    else:
        found = show(value) + (f", error {show(error)}" if error else "")
        why = (
            f"{start}, {show(value)}, may be {beyond} the {show(number)} {so}, within its error "
            f"of {show(error)}: measure it first."
            if near
            else f"{start}, {apart(value, number, show)}, is {beyond} the {show(number)} {so}."
        )
    return Check(limit.name, asks, found, passed, "" if passed else why, limit.source, limit.basis)


def apart(value: float, number: float, show: Show) -> str:
    """Write a value that does not hold; where rounding makes it the limit itself, say so."""
    text = show(value)
    return f"a little over {text}" if text == show(number) and value > number else text


def steepest(spot: Spot) -> tuple[float, float, str]:
    """Bed slope that hurts most at the unfavourable end of its error, the error, and where it is.

    The bed that a structure stands on, or the reach just above or below it.
    """
    bed = spot.bed
    found = [
        (spot.slope, spot.slope_error, ""),
        (bed.below, bed.below_error, " just below"),
        (bed.above, bed.above_error, " just above"),
    ]
    known = [one for one in found if math.isfinite(one[0])]
    return max(known, key=lambda one: one[0] + one[1]) if known else found[0]


def no_steeper(spot: Spot, limit: Limit, *, so: str, ground: str = "bed") -> Check:
    """Hold the steepest bed slope at, above and below a place against the most it may be."""
    slope, error, where = steepest(spot)
    return at_most(
        limit, slope, error=error, what=f"the slope of the {ground}{where}", so=so, show=percent
    )


def serves(spot: Spot, purposes: tuple[str, ...], name: str) -> Check:
    """Hold what a place asks for against what a type is for."""
    here = _PURPOSE.get(spot.task.purpose, spot.task.purpose)
    return condition(
        spot.task.purpose in purposes,
        asks="a place with " + listed([_PURPOSE.get(p, p) for p in purposes], last="or"),
        found=here,
        why_not=f"A {name} is not made for {here}.",
    )


def has_materials(spot: Spot, needed: frozenset[str], name: str) -> Check:
    """Hold what there is to build with against what a type needs."""
    lacks = sorted(needed - spot.stock.have)
    return condition(
        not lacks,
        rule=STOCK_RULE,
        asks="on the ranch: " + (listed(sorted(needed)) or "nothing"),
        found=listed(sorted(spot.stock.have)) or "nothing",
        why_not=f"A {name} needs {listed(lacks)}, which the ranch does not have.",
    )


def area_is_complete(spot: Spot) -> Check:
    """Refuse a place whose drainage area the raster cuts off: its flows are only minima."""
    return condition(
        spot.land.complete,
        rule=AREA_RULE,
        asks="the whole drainage area within the raster",
        found="whole" if spot.land.complete else "cut off",
        why_not="The raster's edge cuts its drainage area, so the flow is unknown: complete the "
        "DEM, or ask an engineer.",
        source="arithmetic: a part of the area gives a part of the flow",
    )


def hand_limits(
    spot: Spot, *, purposes: tuple[str, ...], needed: frozenset[str], name: str
) -> tuple[Check, ...]:
    """Hold what no hand-built structure in a channel may pass.

    The sentences are the same for every type, so that what all types fail at can be told once.
    """
    rules = spot.rules
    paired = (
        spot.task.purpose == "vertical"
        or spot.task.below_head
        or math.isfinite(spot.task.needed_height_m)
    )
    checks = [serves(spot, purposes, name), has_materials(spot, needed, name)]
    checks.append(area_is_complete(spot))
    if spot.task.purpose == "vertical":
        checks.append(
            at_most(
                rules["hand_work.drop"],
                spot.drop.height_m,
                error=spot.drop.error_m,
                what="the drop",
                so="that hands should build",
            )
        )
    checks += [
        no_steeper(spot, rules["hand_work.gradient"], so="that is the limit of hand work"),
        at_most(
            rules["one_rock_dam.channel_depth"],
            spot.banks.depth_m,
            error=spot.banks.depth_error_m,
            what="the depth of the channel",
            so="to which crew and structure are safe without an engineer"
            if paired
            else "that is the limit of hand work",
            least_number=not paired,
            unknown_passes=True,
        ),
        at_most(
            rules["hand_work.channel_width"],
            spot.width_m,
            error=spot.banks.width_error_m,
            what="the width of the channel"
            if spot.width_range is None
            else "the width that the channel may have",
            so="that hands should span",
        ),
        at_most(
            rules["hand_work.drainage_area"],
            spot.land.area_ha,
            what="the land that drains here",
            so="from which an engineer is needed",
            show=hectares,
        ),
    ]
    return tuple(checks)
