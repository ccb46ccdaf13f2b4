"""The change report: planned against measured, and what became of structure, rank and cost."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import astuple, dataclass

import numpy as np

from siting.record.structure_rows import columns_of
from siting.revising.measured_spots import shown_size
from siting.revising.revise import Revised, Worked
from siting.revising.site_measures import MOVE, UNMOVED_M, FieldSite
from siting.site import Site
from siting.structures.structure_type import ITEMS
from siting.values.columns import Columns
from siting.values.wording import listed
from siting.works.quantities import ITEM_NAMES

#: Rows that stand for all sites together.
ALL_SITES = 0
#: Numbers closer than this share are the same.
SAME = 1e-9
NAMES = ("site_id", "kind", "subject", "planned", "now", "unit", "planned_text", "now_text", "note")


@dataclass(frozen=True, slots=True)
class Change:
    """One row of the report.

    Parameters
    ----------
    site_id
        Number of the site; `ALL_SITES` for all together.
    kind
        ``measured`` for what was measured, ``changed`` for what follows from it.
    subject
        What it is about.
    planned, now
        Numbers before and after; NaN where they are texts.
    unit
        Unit of both.
    planned_text, now_text
        Texts before and after.
    note
        What else there is to say.
    """

    site_id: int
    kind: str
    subject: str
    planned: float = math.nan
    now: float = math.nan
    unit: str = ""
    planned_text: str = ""
    now_text: str = ""
    note: str = ""


def changes_of(revised: Revised) -> tuple[Change, ...]:
    """All rows, site by site, then those of all sites together."""
    out: list[Change] = []
    for i in range(revised.planned.sites.count):
        site = revised.found.get(i + 1)
        if site is not None:
            out += _measured(revised, i, site)
        out += _changed(revised.planned, revised.now, i)
    out += _totals(revised.planned, revised.now)
    return tuple(out)


def _measured(revised: Revised, i: int, site: FieldSite) -> Iterator[Change]:
    record = revised.planned.records[i]
    spot, shown, where = record.spot, shown_size(record), record.proposal.where
    for subject, planned, now, unit in (
        ("width", shown[0], site.width_m, "m"),
        ("depth", shown[1], site.depth_m, "m"),
        ("bankfull depth", spot.bankfull.depth_m, site.bankfull_depth_m, "m"),
        ("drop", spot.drop.height_m, site.drop_m, "m"),
        ("slope", spot.slope, site.slope, "m/m"),
    ):
        if math.isfinite(now):
            note = "" if math.isfinite(planned) else "The elevations do not show it."
            yield Change(i + 1, "measured", subject, planned, now, unit, note=note)
    away = math.hypot(site.x_m - where.x_m, site.y_m - where.y_m)
    if away > UNMOVED_M:
        note = (
            "The site was moved there."
            if site.decision == MOVE
            else "Noted only: without the decision to move, the site stays where it was planned."
        )
        yield Change(i + 1, "measured", "position", 0.0, away, "m", note=note)
    if site.decision:
        text = f"Decision: {site.decision}."
        yield Change(i + 1, "measured", "decision", now_text=site.decision, note=text)


def _changed(planned: Worked, now: Worked, i: int) -> Iterator[Change]:
    """What follows at one site; nothing where nothing does."""
    old, new = planned.sites[i], now.sites[i]
    what = _standing(old), _standing(new)
    if what[0] != what[1]:
        note = new.proposal.field.hold or new.proposal.field.left_out or _why_referred(new)
        yield Change(
            i + 1, "changed", "structure", planned_text=what[0], now_text=what[1], note=note
        )
    # of a width that nobody saw both sizes and amounts are those at the widest
    sizes = [site.ends[-1][1] if site.ends else None for site in (old, new)]
    unseen = [w for w, s in (("planned", old), ("now", new)) if s.width_unseen and s.ends]
    widest = f"{listed(unseen)} at the widest that nobody saw" if unseen else ""
    for subject, name in (("height", "height_m"), ("length", "length_m"), ("crest", "crest_m")):
        pair = tuple(math.nan if s is None else float(getattr(s, name)) for s in sizes)
        yield from _number(i + 1, subject, pair[0], pair[1], "m", note=widest)
    pools = planned.effects[i].pool, now.effects[i].pool
    volumes = [
        math.nan if p is None or s.width_unseen else p.volume_m3
        for p, s in zip(pools, (old, new), strict=True)
    ]
    note = "" if now.effects[i].source == planned.effects[i].source else now.effects[i].source
    yield from _number(i + 1, "pool volume", volumes[0], volumes[1], "m3", note=note)
    for k, item in enumerate(ITEM_NAMES):
        amounts = [w.built.takes.quantities.with_spare[i, k] for w in (planned, now)]
        unit, meaning = ITEMS[item]
        note = "; ".join(filter(None, (f"{meaning}, with spare", widest)))
        yield from _number(i + 1, item, amounts[0], amounts[1], unit, note=note)
    cost = [w.built.takes.bill.by_site[i, 1] for w in (planned, now)]
    currency = planned.built.takes.bill.currency
    yield from _number(i + 1, "cost", cost[0], cost[1], currency, note=widest)
    days = [w.built.takes.quantities.crew_days[i, 1] for w in (planned, now)]
    yield from _number(i + 1, "crew days", days[0], days[1], "days", note=widest)
    for subject, name in (("rank", "rank"), ("build order", "build_order")):
        before, after = (float(w.columns[name][i]) or math.nan for w in (planned, now))
        yield from _number(i + 1, subject, before, after, "")
    chosen = [bool(w.columns["chosen"][i]) for w in (planned, now)]
    if chosen[0] != chosen[1]:
        words = ["in the set" if c else "not in the set" for c in chosen]
        why = str(now.columns["chosen_why"][i] or "")
        yield Change(i + 1, "changed", "chosen", planned_text=words[0], now_text=words[1], note=why)


def _why_referred(site: Site) -> str:
    """Why a site went to an engineer; nothing for one that did not."""
    if not site.is_referred:
        return ""
    if site.decision.type is None:
        return " ".join(site.decision.why_none)
    return "Referred on site, or too near to what is kept clear of: see its reason."


def _standing(site: Site) -> str:
    """What stands at a site, in a word or two."""
    if site.is_held:
        return "hold"
    return "left out" if site.proposal.field.left_out else site.structure


def _totals(planned: Worked, now: Worked) -> Iterator[Change]:
    both = [w.built.takes for w in (planned, now)]
    built = [float(np.count_nonzero(t.quantities.built)) for t in both]
    yield from _number(ALL_SITES, "structures", built[0], built[1], "pieces")
    sums = [t.quantities.total()[1] for t in both]
    for k, item in enumerate(ITEM_NAMES):
        unit, meaning = ITEMS[item]
        note = f"{meaning}, with spare"
        yield from _number(ALL_SITES, item, sums[0][k], sums[1][k], unit, note=note)
    for k, subject in enumerate(("cost, low", "cost", "cost, high")):
        cost = [float(t.bill.total()[k]) for t in both]
        yield from _number(ALL_SITES, subject, cost[0], cost[1], both[0].bill.currency)
    days = [float(t.quantities.crew_days_of()[1]) for t in both]
    yield from _number(ALL_SITES, "crew days", days[0], days[1], "days")


def _number(
    site: int, subject: str, planned: float, now: float, unit: str, *, note: str = ""
) -> Iterator[Change]:
    """A row where two numbers differ; nothing where they are the same, or both unknown."""
    same = (math.isnan(planned) and math.isnan(now)) or math.isclose(
        planned, now, rel_tol=SAME, abs_tol=SAME
    )
    if not same:
        yield Change(site, "changed", subject, float(planned), float(now), unit, note=note)


def change_columns(found: tuple[Change, ...]) -> Columns:
    """Rows of the table ``changes``."""
    return columns_of(NAMES, [astuple(change) for change in found])
