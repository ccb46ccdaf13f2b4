"""Tables of the plan about structures: flow in the channel, sizes, spacing rules, instructions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.places.unseen_width import end_words
from siting.sites import Sites
from siting.structures.refer import Refer
from siting.structures.structure_type import Size, StructureType
from siting.structures.type_looks import SIZE_WORDS, look_first_of, size_words_of
from siting.values.columns import Columns
from siting.values.wording import first_upper, told_at_ends

#: What is said of a size that depends on a width that nobody saw.
MEASURE_FIRST = "measure first"
#: Ending of a size's name to the unit that the table prints.
SIZE_UNITS = {
    "_m": "m",
    "_m2": "m2",
    "_m3": "m3",
    "_kg": "kg",
    "_deg": "degrees",
    "_count": "pieces",
    "_share": "share",
    "_slope": "m/m",
    "_n": "N",
}


def columns_of(names: Sequence[str], rows: Iterable[Sequence[Any]]) -> Columns:
    """Turn rows into columns; texts become object arrays, whole numbers stay whole."""
    listed = list(rows)
    out: Columns = {}
    for k, name in enumerate(names):
        values = [row[k] for row in listed]
        if any(isinstance(v, str) for v in values) or not values or values[0] is None:
            column: NDArray[Any] = np.empty(len(values), dtype=object)
            column[:] = values
        else:
            column = np.array(values)
        out[name] = column
    return out


def hydraulics_columns(sites: Sites) -> Columns:
    """Depth, speed and pull of every flood in the measured section, site by site."""
    rows = [
        (
            i + 1,
            int(period),
            flow.discharge_m3s,
            flow.depth_m,
            flow.top_width_m,
            flow.velocity_mps,
            flow.shear_pa,
            flow.froude,
            bool(flow.overtops),
        )
        for i in range(sites.count)
        for period, flow in zip(RETURN_PERIODS_YR, sites[i].flows, strict=True)
        if flow is not None
    ]
    names = (
        "site_id",
        "return_period_yr",
        "discharge_m3s",
        "depth_m",
        "top_width_m",
        "velocity_mps",
        "shear_pa",
        "froude",
        "overtops",
    )
    return columns_of(names, rows)


def spacing_columns(sites: Sites) -> Columns:
    """Every spacing rule that applies at the structures of a series."""
    rows = [
        (
            i + 1,
            row.rule,
            _finite(row.low_m),
            _finite(row.high_m),
            row.chosen,
            row.source,
            row.basis,
            row.note,
        )
        for i, site in enumerate(sites)
        for row in site.spacing
    ]
    names = (
        "site_id",
        "rule",
        "spacing_low_m",
        "spacing_high_m",
        "chosen",
        "source",
        "basis",
        "note",
    )
    return columns_of(names, rows)


def size_columns(sites: Sites) -> Columns:
    """Every size of every structure, with its unit; a range where nobody saw the width."""
    rows: list[tuple[int, str, float, float, float, str, str, str]] = []
    for i, site in enumerate(sites):
        at_ends = [_sizes_of(site.decision.kind, size) for _, size in site.ends]
        for ends in zip(*at_ends, strict=True):
            values = [value for _, value, *_ in ends]
            low, high = min(values), max(values)
            ranges = high > low + 1e-6 * abs(low)
            word, _, unit, meaning, note = ends[0]
            if len(ends) > 1:
                notes = [tuple(filter(None, (own[4],))) for own in ends]
                said = list(zip(end_words(site.spot), notes, strict=True))
                note = "; ".join(told_at_ends(said))
            if ranges:
                note = "; ".join(filter(None, (MEASURE_FIRST, note)))
            rows.append((i + 1, word, np.nan if ranges else low, low, high, unit, meaning, note))
    names = ("site_id", "name", "value", "value_low", "value_high", "unit", "meaning", "note")
    return columns_of(names, rows)


def _sizes_of(kind: StructureType, size: Size) -> list[tuple[str, float, str, str, str]]:
    """Name, value, unit, meaning and note of every size of a structure."""
    main = {"height_m": size.height_m, "length_m": size.length_m, "crest_m": size.crest_m}
    out = []
    for name, value in {**main, **size.dims}.items():
        word, unit = worded_size(name)
        out.append((word, float(value), unit, size_words_of(kind, name) or first_upper(word), ""))
    stone = size.stone
    if stone is None:
        return out
    about = f"{stone.method}; {stone.basis}"
    lift = "two people to lift it" if stone.two_person else "one person can lift it"
    return [
        *out,
        ("median stone", stone.d50_m, "m", SIZE_WORDS["median stone"], about),
        ("largest stone", stone.d100_m, "m", SIZE_WORDS["largest stone"], about),
        ("heaviest stone", stone.heaviest_kg, "kg", SIZE_WORDS["heaviest stone"], lift),
    ]


def worded_size(name: str) -> tuple[str, str]:
    """Split the name of a size into words and unit: ``key_depth_m`` is ``key depth`` in ``m``."""
    for ending in sorted(SIZE_UNITS, key=len, reverse=True):
        if name.endswith(ending):
            return name.removesuffix(ending).replace("_", " "), SIZE_UNITS[ending]
    return name.replace("_", " "), ""


def instruction_columns(sites: Sites) -> Columns:
    """What to look at first, how to build each structure, how it fails, what to inspect."""
    rows: list[tuple[int, int, str, str]] = []
    for i, site in enumerate(sites):
        if site.size is None:
            looks = look_first_of(Refer())
            rows += [(i + 1, n, "check", text) for n, text in enumerate(looks, start=1)]
            continue
        kind = site.decision.kind
        steps = site.at_both(kind.build_steps)
        looks = look_first_of(kind)
        rows += [(i + 1, n, "check", text) for n, text in enumerate(looks, start=1)]
        rows += [(i + 1, n, "build", text) for n, text in enumerate(steps, start=1)]
        for n, failure in enumerate(kind.failures(), start=1):
            rows.append((i + 1, n, "fails", failure.what))
            rows.append((i + 1, n, "inspect", f"{failure.look_for} {failure.then}"))
    return columns_of(("site_id", "step", "kind", "text"), rows)


def _finite(value: float) -> float:
    """An infinite spacing, on a level bed, is written as empty."""
    return value if np.isfinite(value) else np.nan
