"""What stands on the pages before the sheets: cover, lists, order, totals; plain data."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from cli.figures.map_furniture import LegendWanted, in_legend_order
from cli.packet.build_order import build_order
from cli.packet.packet_words import short_title
from cli.packet.printable import printable, sentences
from cli.packet.site_sheet import listed
from cli.plan.explanation import ROAD, known
from cli.plan.plan_numbers import (
    amount,
    cost_words,
    days_words,
    in_row,
    money,
    number_and_unit,
    span,
)
from cli.plan.plan_reading import PlanFile
from cli.plan.plan_works import not_built, site_groups
from cli.plan.ranked_list import significant
from cli.plan.structure_looks import looks_of
from cli.plan.unit_sentences import in_units
from cli.plan.work_sentences import count_words
from siting.values.wording import counted, first_upper

Row = Mapping[str, Any]
_CONTROL_WORDS = {
    "vertical": "Stop a drop (vertical control)",
    "grade": "Hold the bed (grade control)",
    "spread": "Slow and spread the flow",
    "hold": "Hold: measure again",
    "refer": "Refer to an engineer",
}


def ranch_name(plan: PlanFile) -> str:
    """Name of the land, or of the plan's file where the boundary has none."""
    names = [r["name"] for r in plan.rows("ranch") if r["name"]] if "ranch" in plan.layers else []
    return printable(names[0] if names else plan.path.stem, 120)


def cover_data(plan: PlanFile, sites: Sequence[Row], *, source_line: str) -> dict[str, Any]:
    """Summary, cautions, and what has to be settled before any work."""
    run, units = plan.run_info, plan.units
    counts = count_words(site_groups(plan.layers), not_built(plan.layers))
    work = [in_units(text, units) for key, text in run.items() if key.startswith("work ")]
    cautions = [in_units(text, units) for key, text in run.items() if key.startswith("caution ")]
    crs = plan.crs
    return {
        "ranch": ranch_name(plan),
        "plan": printable(plan.name, 80),
        "shown": counts
        if len(sites) == len(plan.sites["site_id"])
        else f"{counts}; sheets for {counted(len(sites), 'site')}",
        "summary": sentences(in_units(run.get("summary", ""), units), most=500),
        # What stands before the work is on the same page.
        "work": [s for text in work[:6] if not text.startswith("Before") for s in sentences(text)],
        "cautions": [printable(text) for text in cautions[:10]],
        "before": [
            [printable(row["subject"], 40), printable(row["text"])]
            for row in plan.rows("before_you_build")[:14]
        ],
        "source": f"{source_line} Grid: {printable(crs.name, 60) if crs else 'unknown'}, metres.",
        "version": printable(plan.version, 20),
        "units": "Feet and acres" if units == "us" else "Metres and hectares",
    }


def legend_data(
    wanted: LegendWanted, symbols: Mapping[str, str], *, roads: bool
) -> list[list[str]]:
    """Shapes of the cover's map and what they mean: file name or kind of line, and words."""
    out = [
        [symbols[s.key], printable(s.label, 60) if s.own_key else _CONTROL_WORDS[s.control]]
        for s in in_legend_order(wanted.symbols)
    ]
    if wanted.unsure:
        out.append([symbols["unsure"], "Outline only: not sure, look first"])
    if wanted.headcuts:
        out.append([symbols["headcut"], "Headcut: a sudden drop in the bed"])
    lines = (
        (wanted.channels, "channel", "Channel, wider where more land drains to it"),
        (wanted.incomplete, "dashed", "Channel whose land the raster cuts off"),
        ("pool" in wanted.pools, "pool", "Still pool behind a structure"),
        ("wedge" in wanted.pools, "wedge", "Sediment that fills in behind it"),
        (wanted.ranch, "ranch", "Ranch boundary"),
        (roads, "road", "Road"),
    )
    out += [[name, words] for shown, name, words in lines if shown]
    return out


def list_data(plan: PlanFile, sites: Sequence[Row], with_sheet: set[int]) -> list[dict[str, Any]]:
    """Rows of the ranked list of a plan of an older format, which ranks sites."""
    looks = looks_of(plan.layers)

    def number(site: Row, name: str) -> str:
        return amount("sites", name, float(site[name]), plan.units)

    return [
        {
            "site": int(s["site_id"]),
            "rank": int(s["rank"]),
            "held": s["control"] == "hold",
            "what": printable(short_title(looks.of(s["structure"]).label, str(s["control"])), 40),
            "place": f"{s['lat']:.5f}, {s['lon']:.5f}",
            "steep": number(s, "headcut_height_m")
            if known(s["headcut_height_m"])
            else f"{significant(100 * s['slope'])} %",
            "width": number(s, "bank_width_m")
            if known(s["bank_width_m"])
            else span(s["width_low_m"], s["width_high_m"], plan.units),
            "area": ("" if s["area_complete"] else "over ") + number(s, "drainage_area_ha")
            if s["drainage_area_ha"] > 0
            else "-",
            "flow": number(s, "design_flow_m3s"),
            "cost": cost_words(s),
            "sheet": int(s["site_id"]) in with_sheet,
        }
        for s in sites
    ]


def order_data(plan: PlanFile) -> dict[str, Any]:
    """Rows of the order to build, what waits for an engineer, and what a budget leaves out."""
    channels = plan.rows("channels") if "channels" in plan.layers else []
    order = build_order(plan.rows("sites"), channels)
    looks = looks_of(plan.layers)
    steps = []
    for group in order.groups:
        for place, site in enumerate(group.sites):
            steps.append(
                {
                    "rank": int(site["rank"]),
                    "site": int(site["site_id"]),
                    "what": printable(
                        short_title(looks.of(site["structure"]).label, str(site["control"])), 40
                    ),
                    "why": _why_here(site, place, group.sites),
                    "days": days_words(site) or "-",
                    "first": place == 0,
                }
            )
    return {
        "steps": steps,
        "waiting": _names(order.waiting),
        "left_out": _names(order.left_out),
        "roads": any(g.sites[0]["purpose"] == ROAD for g in order.groups),
    }


def _names(sites: Sequence[Row]) -> str:
    """Ranks of sites, each once, or their numbers where they have none."""
    if not sites:
        return ""
    if all(int(s["rank"]) for s in sites):
        return "rank " + listed(list(dict.fromkeys(str(s["rank"]) for s in sites)), most=60)
    return "site " + listed([str(s["site_id"]) for s in sites], most=60)


def _why_here(site: Row, place: int, group: Sequence[Row]) -> str:
    if len(group) == 1:
        return "on the road" if site["purpose"] == ROAD else "stands alone"
    if place == 0:
        return f"first of {len(group)} that work together"
    return f"then this, number {place + 1} of {len(group)}"


def _quantity(row: Row, plan: PlanFile) -> str:
    """How much is paid for; what is counted needs no unit, and days are said in full."""
    value, unit = float(row["quantity"]), str(row["unit"])
    if not known(value):
        return ""
    if unit in ("each", "load"):
        return significant(value, 3)
    return number_and_unit(value, unit, plan.units).replace("person-day", "person-days")


def _loads(row: Row) -> str:
    """Truck loads; at most so many where nobody saw some width. Empty for what no truck brings."""
    if not known(row["loads"]):
        return ""
    return f"{'' if known(row['amount']) else 'up to '}{row['loads']:.0f}"


def totals_data(plan: PlanFile) -> dict[str, Any]:
    """Materials and cost of everything together, or of what a budget chose."""
    chosen = -1 if any(r["site_id"] == -1 for r in plan.rows("materials")) else 0
    materials, costs = plan.rows("materials", chosen), plan.rows("costs", chosen)
    names = {r["item"]: first_upper(str(r["meaning"] or r["item"])) for r in materials}
    names |= {"haul": "Haul, truck loads", "labour": "Labour"}
    units = plan.units
    return {
        "of": "the chosen set" if chosen else "everything together",
        "currency": printable(plan.run_info.get("currency", ""), 12),
        "materials": [
            [
                printable(names[r["item"]], 60),
                in_row(r, "amount", units),
                in_row(r, "amount_with_spare", units),
                _loads(r),
            ]
            for r in materials[:24]
        ],
        "widest": any(r["unit"] and not known(r["amount"]) for r in materials),
        "costs": [
            [
                printable(names.get(r["item"], first_upper(str(r["item"]).replace("_", " "))), 60),
                _quantity(r, plan),
                *(money(float(r[n])) for n in ("low", "likely", "high")),
            ]
            for r in costs[:30]
        ],
    }
