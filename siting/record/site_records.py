"""Everything that a plan was decided from, site by site, so that it can be decided again.

A record holds what was proposed, what was measured, and the place as the structure types saw it, in
SI and with every digit; limits, prices and stock stand elsewhere in a plan. What follows from these
(the choice of a structure, its size, flows, rank, cost) is left out and worked out again.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from siting.effects.site_effects import Effect
from siting.layout.proposals import Proposal
from siting.places.measured_places import Measured, spot_floods
from siting.places.spot import Spot, SpotFloods, Stock
from siting.record.packing import packed, unpacked
from siting.record.structure_rows import columns_of
from siting.site import Site
from siting.sites import Sites
from siting.structures.decisions import decide
from siting.structures.structure_type import Check, StructureType
from siting.values.columns import Columns
from siting.values.input_errors import RecordError
from siting.values.rules import Rules
from terrain.values.arrays import read_only

#: 3: with the whole ground above each headcut. 2: a site once, as it was proposed and measured;
#: before, flows stood twice.
VERSION = 3
_AGAIN = "screen the ranch again with this version"


@dataclass(frozen=True, slots=True, eq=False)
class SiteRecord:
    """One site.

    Parameters
    ----------
    version
        Of this record's form.
    structure
        What the plan says is built here, or needed first.
    proposal, spot
        What was proposed, and the place as measured, without stock, limits and flows.
    kept_clear
        Distances to what is kept clear, held against their limits.
    measured
        All that was measured, of one site.
    cell_m
        Cell size of the elevations.
    effect
        What the structure does on the ground.
    """

    version: int
    structure: str
    proposal: Proposal
    spot: Spot
    kept_clear: tuple[Check, ...]
    measured: Measured
    cell_m: float
    effect: Effect


def record_columns(sites: Sites, effects: Sequence[Effect], *, cell_m: float) -> Columns:
    """Rows of the table ``site_records``."""
    rows = [(i + 1, _text(sites, i, effect, cell_m)) for i, effect in enumerate(effects)]
    return columns_of(("site_id", "text"), rows)


def _text(sites: Sites, i: int, effect: Effect, cell_m: float) -> str:
    site = sites[i]
    record = SiteRecord(
        version=VERSION,
        structure=site.structure,
        proposal=site.proposal,
        spot=site.spot,
        kept_clear=site.decision.kept_clear,
        measured=sites.measured.take(np.array([i])),
        cell_m=cell_m,
        effect=effect,
    )
    data = packed(record, without=frozenset({Rules, Stock, SpotFloods}))
    return json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def read_record(text: str, *, rules: Rules, stock: Stock, design_period_yr: float) -> SiteRecord:
    """Read a record.

    Parameters
    ----------
    text
        As `record_columns` wrote it.
    rules, stock, design_period_yr
        Limits, what there is to build with, and for which flow.

    Raises
    ------
    RecordError
        It was changed, or is of another version.
    """
    try:
        data = json.loads(text)
        version = data["version"]
        if version == VERSION:
            proposal = unpacked(Proposal, data["proposal"])
            measured = unpacked(Measured, data["measured"])
            floods = (
                SpotFloods(design_period_yr=design_period_yr)
                if proposal.road is not None
                else spot_floods(measured.floods, 0, design_period_yr)
            )
            spot = unpacked(Spot, data["spot"], rules=rules, stock=stock, floods=floods)
            given = {"spot": spot, "proposal": proposal, "measured": measured}
            record: SiteRecord = unpacked(SiteRecord, data, **given)
            return record
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise RecordError(
            f"a site's record that cannot be read ({type(error).__name__})", do=_AGAIN
        ) from error
    raise RecordError(f"site records of version {version}", expected=f"{VERSION}", do=_AGAIN)


def restored(
    records: Sequence[SiteRecord], types: Sequence[StructureType]
) -> tuple[Sites, tuple[Effect, ...]]:
    """Decide all sites again as they were, and return what their structures do.

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
    each = tuple(_decided(r, types, i) for i, r in enumerate(records, start=1))
    return Sites(each, joined([r.measured for r in records])), tuple(r.effect for r in records)


def _decided(record: SiteRecord, types: Sequence[StructureType], number: int) -> Site:
    """Let the types choose as they did."""
    decision = decide(record.spot, types, kept_clear=record.kept_clear)
    site = Site(record.proposal, record.spot, decision)
    if site.structure != record.structure:
        raise RecordError(
            f"site {number} is a {record.structure} in the plan, and a {site.structure} by the "
            "structure types installed here",
            expected="the version and the structure types that the plan was made with",
            do=_AGAIN,
        )
    return site


def joined(values: Sequence[Any]) -> Any:
    """Put arrays, or values that hold arrays, one behind the other."""
    first = values[0]
    if isinstance(first, np.ndarray):
        return read_only(np.concatenate(values))
    kind: type[Any] = type(first)
    return kind(**{f.name: joined([getattr(v, f.name) for v in values]) for f in fields(first)})
