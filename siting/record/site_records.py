"""Everything that a plan was decided from, site by site, so that it can be decided again.

A record holds a site as the structure types saw it and what only the ground could tell, in SI and
with every digit; limits, prices and stock stand elsewhere in a plan. What follows from these (the
choice of a structure, its size, flows, rank, cost) is left out and computed again.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from siting.effects.site_effects import Effect
from siting.layout.candidates import Sites, sized_sites
from siting.layout.measuring import Measured, decide
from siting.layout.proposals import Place
from siting.places.spot import Spot, Stock
from siting.record.packing import packed, unpacked
from siting.record.structure_rows import columns_of
from siting.structures.catalogue import REFER
from siting.structures.structure_type import StructureType
from siting.values.columns import Columns
from siting.values.input_errors import RecordError
from siting.values.rules import Rules
from terrain.channels.sections import SectionMeasures
from terrain.values.arrays import read_only

VERSION = 1
_AGAIN = "make the plan again with gullywalk screen"


@dataclass(frozen=True, slots=True, eq=False)
class SiteRecord:
    """One site.

    Parameters
    ----------
    version
        Of this record's form.
    place, spot
        Without the decision, and without stock and limits.
    decided
        The spot's flows when its structure was chosen, and the high end of their range: those of
        a place nearby in the search for a pair; None where no type was asked.
    measured, section
        Floods and channel, of one site.
    azimuth_deg, x_m, y_m, elevation_m
        Direction of the flow or the road, and the place.
    cell_m
        Cell size of the elevations.
    effect
        What the structure does on the ground.
    """

    version: int
    place: Place
    spot: Spot
    decided: tuple[tuple[float, ...], tuple[float, ...]] | None
    measured: Measured
    section: SectionMeasures
    azimuth_deg: float
    x_m: float
    y_m: float
    elevation_m: float
    cell_m: float
    effect: Effect


def record_columns(sites: Sites, effects: Sequence[Effect], *, cell_m: float) -> Columns:
    """Rows of the table ``site_records``."""
    rows = [(i + 1, _text(sites, i, effect, cell_m)) for i, effect in enumerate(effects)]
    return columns_of(("site_id", "text"), rows)


def _text(sites: Sites, i: int, effect: Effect, cell_m: float) -> str:
    one = sites.take(np.array([i]))
    decision = one.places[0].decision
    record = SiteRecord(
        version=VERSION,
        place=replace(one.places[0], decision=None),
        spot=one.spots[0],
        decided=None if decision is None else (decision.spot.q_m3s, decision.spot.q_high_m3s),
        measured=one.measured,
        section=one.section,
        azimuth_deg=float(one.azimuth_deg[0]),
        x_m=float(one.x_m[0]),
        y_m=float(one.y_m[0]),
        elevation_m=float(one.elevation_m[0]),
        cell_m=cell_m,
        effect=effect,
    )
    data = packed(record, without=frozenset({Rules, Stock}))
    return json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def read_record(text: str, *, rules: Rules, stock: Stock) -> SiteRecord:
    """Read a record.

    Parameters
    ----------
    text
        As `record_columns` wrote it.
    rules, stock
        Limits, and what there is to build with.

    Raises
    ------
    RecordError
        It was changed, or is of another version.
    """
    try:
        data = json.loads(text)
        version = data["version"]
        if version == VERSION:
            spot = unpacked(Spot, data.pop("spot"), rules=rules, stock=stock)
            record: SiteRecord = unpacked(SiteRecord, data, spot=spot)
            return record
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise RecordError(
            f"a site's record that cannot be read ({type(error).__name__})", do=_AGAIN
        ) from error
    raise RecordError(f"site records of version {version}", expected=f"{VERSION}", do=_AGAIN)


def restored(
    records: Sequence[SiteRecord], types: Sequence[StructureType]
) -> tuple[Sites, tuple[Effect, ...]]:
    """Decide and size all sites again as they were, and return what their structures do.

    Parameters
    ----------
    records
        Of all sites, in the order of their numbers; at least one.
    types
        Structure types to choose from.

    Raises
    ------
    RecordError
        With these types another structure is chosen somewhere.
    """
    places = tuple(_decided(r, types, i) for i, r in enumerate(records, start=1))
    sites = sized_sites(
        places,
        tuple(r.spot for r in records),
        joined([r.measured for r in records]),
        azimuth_deg=_numbers([r.azimuth_deg for r in records]),
        section=joined([r.section for r in records]),
        place_m=(
            _numbers([r.x_m for r in records]),
            _numbers([r.y_m for r in records]),
            _numbers([r.elevation_m for r in records]),
        ),
    )
    return sites, tuple(r.effect for r in records)


def _decided(record: SiteRecord, types: Sequence[StructureType], number: int) -> Place:
    """Let the types choose as they did."""
    place = record.place
    if record.decided is None:
        return place
    flows, high = record.decided
    decision = decide(replace(record.spot, q_m3s=flows, q_high_m3s=high), types)
    name = decision.type.name if decision.type is not None else None
    if place.control != REFER and name != place.structure:
        raise RecordError(
            f"site {number} is a {place.structure} in the plan, "
            f"and {f'a {name}' if name else 'nothing'} by the structure types installed here",
            expected="the version and the structure types that the plan was made with",
            do=_AGAIN,
        )
    return replace(place, decision=decision)


def joined(values: Sequence[Any]) -> Any:
    """Put arrays, or values that hold arrays, one behind the other."""
    first = values[0]
    if isinstance(first, np.ndarray):
        return read_only(np.concatenate(values))
    kind: type[Any] = type(first)
    return kind(**{f.name: joined([getattr(v, f.name) for v in values]) for f in fields(first)})


def _numbers(values: Sequence[float]) -> Any:
    return read_only(np.array(values, dtype=np.float64))
