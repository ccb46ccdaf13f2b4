"""The range of the design flow in sentences: how wide, what it rests on, storms beside it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from cli.plan.explanation import Explanation, known
from cli.plan.field_types import Units
from cli.plan.plan_numbers import amount

#: Name of the method whose source tells what its equations were fitted on.
REGIONAL = "regional"


def range_words(flood: Mapping[str, Any] | None, units: Units) -> str:
    """Write the range of a row of ``floods`` as ``0.7 to 1.4 m3/s``; empty where it has none.

    An open high end is written as ``at least``.
    """
    if flood is None or not known(flood["low_m3s"]):
        return ""
    low = amount("floods", "low_m3s", flood["low_m3s"], units)
    if not known(flood["high_m3s"]):
        return f"at least {low}"
    high = amount("floods", "high_m3s", flood["high_m3s"], units)
    return f"{low.rpartition(' ')[0]} to {high}"


def storm_words(flood: Mapping[str, Any] | None, units: Units) -> str:
    """Write what the same rain gives after dry and wet days; empty where it is not known."""
    if flood is None or not (known(flood["dry_m3s"]) and known(flood["wet_m3s"])):
        return ""
    dry, wet = (amount("floods", n, flood[n], units) for n in ("dry_m3s", "wet_m3s"))
    return f"The same rain gives {dry} after dry days and {wet} after wet ones"


def range_sentences(found: Explanation) -> tuple[str, ...]:
    """Say how sure the design flow of a site is.

    Flows of regional equations come with the areas that those were fitted on.
    """
    flood = found.flood_range
    out = []
    if flood is not None and flood["method"] == REGIONAL and flood["source"]:
        out.append(f"By regional equations: {flood['source']}.")
    if within := range_words(flood, found.units):
        rests_on = flood["range_from"] if flood is not None else None
        why = f"; it rests on: {rests_on}" if rests_on else ""
        out.append(f"Range of that flow: {within}{why}.")
    if storms := storm_words(flood, found.units):
        out.append(
            f"{storms} (antecedent runoff conditions I and III, about the 10 and 90 % bounds of "
            "single storms): no part of the range."
        )
    return tuple(out)
