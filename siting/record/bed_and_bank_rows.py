"""What gives way first, as columns of the sites and as rows of the reasoning."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import Final

import numpy as np

from siting.places.spot import Spot
from siting.record.reason_rows import Reason
from siting.site import Site
from siting.sites import Sites
from siting.structures.bed_and_bank import BedAndBank, Stands, Where
from siting.structures.bed_and_bank_words import bank_words, first_words, row_words
from siting.values.columns import Columns, texts_of

PART: Final = "bed"
HOLDS: Final = "holds"
#: Not a limit that failed: nothing is refused for it.
GIVES_WAY: Final = "gives way"
_SUBJECTS: Final = {
    "above": "bed above",
    "structure": "stone on the bed",
    "ends": "stone at the ends",
    "below": "bed below",
}
_BANK_SOURCE: Final = (
    "plane of Culmann, from memory; strength of soils U.S. Bureau of Reclamation 1977, page scan"
)


def bed_columns(sites: Sites) -> Columns:
    """Columns that bed and banks add to the layer ``sites``.

    What goes with a width that nobody saw is left empty; what gives way first is told where it is
    the same at the narrowest and the widest.
    """
    held = [None if site.width_unseen else site.bed_and_bank for site in sites]
    first = [None if h is None else h.first for h in held]
    ratios = {
        "structure_shear_ratio": [None if h is None else h.structure_ratio for h in held],
        "reach_shear_ratio": [None if h is None else h.reach_ratio for h in held],
        "reach_shear_ratio_least": [None if h is None else h.least_reach_ratio for h in held],
        "first_pull_pa": [None if f is None else f.shear_pa for f in first],
        "first_stands_low_pa": [None if f is None else f.resists.pull_pa[0] for f in first],
        "first_stands_high_pa": [None if f is None else f.resists.pull_pa[1] for f in first],
        "bank_stands_wet_m": [_bank(site, 0) for site in sites],
        "bank_stands_drained_m": [_bank(site, 1) for site in sites],
    }
    return {
        "first_to_give": texts_of([_first_to_give(site) for site in sites]),
        **{
            name: np.array([np.nan if v is None else v for v in values], dtype=np.float64)
            for name, values in ratios.items()
        },
    }


def _first_to_give(site: Site) -> str | None:
    found = {None if h.first is None else h.first.where for _, h in site.bed_and_bank_ends}
    return found.pop() if len(found) == 1 else None


def _bank(site: Site, end: int) -> float | None:
    held = site.bed_and_bank
    bank = None if held is None else held.bank
    return None if bank is None or bank.stands is None else bank.stands[end]


def bed_rows(site: Site) -> Iterator[Reason]:
    """Reasons about bed and banks; none on a road."""
    held = site.bed_and_bank
    if held is None:
        return
    # of each end whole, since one end's first sentence belongs to its second
    said = site.of_bed(lambda spot, one: [" ".join(first_words(spot, one))] if one.rows else [])
    if said:
        yield Reason(PART, "what gives way first", "", " ".join(said), "", "")
    for row in held.rows:
        at_ends = [r for _, one in site.bed_and_bank_ends for r in one.rows if r.where == row.where]
        verdicts = {_verdict(r) for r in at_ends}
        resists = row.resists
        yield Reason(
            PART,
            _SUBJECTS[row.where],
            verdicts.pop() if len(verdicts) == 1 else "",
            " ".join(site.of_bed(partial(_row_words, row.where))),
            resists.source,
            resists.basis,
        )
    if held.bank is not None:
        known = held.bank.stands is not None
        text = bank_words(site.spot, held.bank)
        verdict = (GIVES_WAY if held.bank.falls_when_wet else HOLDS) if known else ""
        source, basis = (_BANK_SOURCE, "from memory") if known else ("", "")
        yield Reason(PART, "banks", verdict, text, source, basis)


def _row_words(where: Where, _: Spot, held: BedAndBank) -> list[str]:
    return [row_words(row) for row in held.rows if row.where == where]


def _verdict(row: Stands) -> str:
    """Whether it surely holds or surely gives way; nothing in between."""
    if row.most_ratio <= 1:
        return HOLDS
    return GIVES_WAY if row.least_ratio > 1 else ""
