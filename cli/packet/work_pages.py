"""What the packet says of works: the list, what an engineer looks at, and the heading of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from cli.packet.packet_words import short_title
from cli.packet.printable import printable
from cli.plan.fields import Units
from cli.plan.fields_works import WORK_KINDS
from cli.plan.layers import Layer
from cli.plan.looks_first import looks_first, mark_of, stage_words, where_words
from cli.plan.plan_numbers import amount, cost_words, days_words
from cli.plan.plan_works import NotBuilt, SiteGroup
from cli.plan.structure_looks import StructureLooks
from cli.plan.work_sentences import in_ten, sums_of, work_rows
from siting.values.wording import first_upper, listed

Row = Mapping[str, Any]


def works_data(
    groups: Sequence[SiteGroup], units: Units, with_sheet: Sequence[int]
) -> dict[str, Any]:
    """Rows of the list of works, and their sums.

    Parameters
    ----------
    groups
        Works of a plan by rank; empty gives an empty list.
    units
        Of the plan.
    with_sheet
        Numbers of the sites that have a sheet, in the order of the sheets.
    """
    return {
        "rows": [_row(g, g.work, units, with_sheet) for g in groups if g.work is not None],
        "sums": sums_of(groups, units),
    }


def _row(group: SiteGroup, work: Row, units: Units, with_sheet: Sequence[int]) -> dict[str, Any]:
    own = [int(s["site_id"]) for s in group.sites]
    notes = []
    if not work["functions"]:
        notes.append("cannot work as it stands")
    if not work["chosen"]:
        notes.append("left out of the chosen set")
    if work["needs"]:
        notes.append(f"after work {printable(work['needs'], 40)}")
    return {
        "rank": group.rank,
        "what": first_upper(printable(f"{work['kind']}: {work['structures']}", 70)),
        "sites": f"{'site' if len(own) == 1 else 'sites'} {listed([str(n) for n in own[:6]])}"
        + (f" and {len(own) - 6} more" if len(own) > 6 else ""),
        "notes": "; ".join(notes),
        "saves": amount("works", "saved_m3", float(work["saved_m3"]), units),
        "lost": in_ten(float(work["chance_lost"])),
        "holds": in_ten(float(work["chance_holds"])),
        "cost": cost_words(work),
        "days": days_words(work),
        "sheet": next((n for n in with_sheet if n in own), 0),
    }


def waiting_data(
    waiting: Sequence[NotBuilt], units: Units, with_sheet: Sequence[int]
) -> dict[str, Any]:
    """Rows of what an engineer looks at, most at risk first, and of what is held otherwise."""
    return {
        "referred": [
            {
                **_place(one, with_sheet),
                "risk": amount("referred", "at_risk_m3", float(one.referred["at_risk_m3"]), units),
                "lost": in_ten(float(one.referred["chance_lost"])),
                "why": printable(one.referred["why"], 260),
            }
            for one in waiting
            if one.referred is not None
        ],
        "held": [
            {
                **_place(one, with_sheet),
                "why": printable(one.site["reason"] or one.site["caution"], 260),
            }
            for one in waiting
            if one.referred is None
        ],
    }


def looks_data(layers: Mapping[str, Layer], units: Units) -> list[dict[str, Any]]:
    """Rows of what is looked at first: reaches that may be filling again, the longest first."""
    return [
        {
            "mark": mark_of(look),
            "where": first_upper(where_words(look, units)),
            "place": f"{look['lat']:.5f}, {look['lon']:.5f}",
            "why": printable(look["evidence"] or f"{first_upper(stage_words(look))}.", 600),
        }
        for look in looks_first(layers)
    ]


def _place(one: NotBuilt, with_sheet: Sequence[int]) -> dict[str, Any]:
    site = one.site
    number = int(site["site_id"])
    return {
        "mark": one.mark,
        "site": number,
        "place": f"{site['lat']:.5f}, {site['lon']:.5f}",
        "sheet": number if number in with_sheet else 0,
    }


def work_heading(
    group: SiteGroup, groups: Sequence[SiteGroup], *, units: Units, currency: str
) -> dict[str, Any] | None:
    """What stands above the sheets of a work: what it saves, how sure, what it needs and takes.

    A work of several sites has a page of its own with its map; that of a single one stands on its
    sheet, which says itself what it takes.
    """
    work = group.work
    if work is None:
        return None
    rows = work_rows(group, groups, units=units, currency=currency)
    kind = dict(WORK_KINDS).get(str(work["kind"]), first_upper(str(work["kind"])))
    return {
        "kind": printable(kind, 80),
        "marked": f"RANK {group.rank} OF {len(groups)} · WORK {work['work_id']}",
        "what": first_upper(printable(work["structures"], 90)),
        "rows": [
            [name, printable(text, 400)]
            for name, text in rows
            if name != "Takes" or len(group.sites) > 1
        ],
    }


def work_steps(group: SiteGroup, looks: StructureLooks) -> list[dict[str, Any]]:
    """Sites of a work in the order of building."""
    return [
        {
            "site": int(site["site_id"]),
            "what": printable(
                short_title(looks.of(site["structure"]).label, str(site["control"])), 40
            ),
            "place": f"{site['lat']:.5f}, {site['lon']:.5f}",
            "days": days_words(site) or "-",
            "cost": cost_words(site),
        }
        for site in group.sites
    ]
