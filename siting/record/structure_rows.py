"""Tables of the plan about structures: flow in the channel, sizes, spacing rules, instructions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.sites import Sites
from siting.structures.refer import Refer
from siting.structures.type_looks import SIZE_WORDS, look_first_of, size_words_of
from siting.values.columns import Columns
from siting.values.wording import first_upper

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
    """Every size of every structure, with its unit."""
    rows: list[tuple[int, str, float, str, str, str]] = []
    for i, site in enumerate(sites):
        size = site.size
        if size is None:
            continue
        kind = site.decision.kind
        main = {"height_m": size.height_m, "length_m": size.length_m, "crest_m": size.crest_m}
        for name, value in {**main, **size.dims}.items():
            word, unit = worded_size(name)
            meaning = size_words_of(kind, name) or first_upper(word)
            rows.append((i + 1, word, float(value), unit, meaning, ""))
        if size.stone is not None:
            stone = size.stone
            about = f"{stone.method}; {stone.basis}"
            rows += [
                (i + 1, "median stone", stone.d50_m, "m", SIZE_WORDS["median stone"], about),
                (i + 1, "largest stone", stone.d100_m, "m", SIZE_WORDS["largest stone"], about),
                (
                    i + 1,
                    "heaviest stone",
                    stone.heaviest_kg,
                    "kg",
                    SIZE_WORDS["heaviest stone"],
                    "two people to lift it" if stone.two_person else "one person can lift it",
                ),
            ]
    return columns_of(("site_id", "name", "value", "unit", "meaning", "note"), rows)


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
        steps = kind.build_steps(site.spot, site.size)
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
