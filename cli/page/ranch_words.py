"""The sheet of the whole ranch, and the words of the trade explained once."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from cli.page.sheet_words import Block, cost_block, material_block
from cli.plan.explanation import Explanation
from cli.plan.looks_first import looks_first, mark_of, stage_words, where_words
from cli.plan.plan_reading import PlanFile
from cli.plan.plan_works import not_built, site_groups, tells_works
from cli.plan.unit_sentences import in_units
from cli.plan.work_sentences import count_words
from siting.values.wording import first_upper

#: A term as it may stand in a text, and what it means.
WORDS = (
    ("apron", "Stone laid flat below a structure, so that falling water does not dig a hole."),
    ("bank top", "Where the bank meets the ground beside the channel."),
    ("bankfull", "The flow that just fills the inner channel; it comes every one or two years."),
    ("bed slope", "How much the channel falls over a distance: 2 % is 2 in 100."),
    ("broad-crested weir", "A low wide sill that water flows over; its depth there is known."),
    ("crest", "The top of a structure, which the water flows over."),
    ("curve number", "A number up to 100 for how much of the rain runs off; higher is more."),
    ("D50", "The size that half of the stones are smaller than. D100 is the largest stone."),
    ("design flow", "The flood that the sizes are made for."),
    ("entrenchment", "How much room a flood has: the width it fills over the width at bankfull."),
    ("Froude number", "How fast water runs for its depth; above 1 it shoots and digs."),
    ("grade control", "A structure that holds the bed at its level."),
    ("headcut", "A sudden drop in a channel's bed that moves upstream and leaves a gully behind."),
    ("key", "The part of a structure that is dug into the bank, so that water cannot go round."),
    ("Manning's equation", "The usual rule for depth and speed of water in a channel."),
    ("Pa", "Pascal, the pull of water on a square metre of bed: 10 Pa is about one kilogram."),
    ("lb/sq ft", "The pull of water on the bed, pounds on a square foot."),
    ("rundown", "A sloped face of stone that takes a small flow down a low drop."),
    ("safety factor", "How many times stronger it is than the flow asks for."),
    ("Shields number", "How hard water must pull before stone of a size begins to roll."),
    ("sill", "A low step of stone at the lower end of a pool."),
    ("sites that pair", "Structures that hold each other up; build the lower one first."),
    ("swale", "A shallow grassed hollow without a cut bed."),
    ("tailwater", "Water standing below a structure; it softens the fall."),
    ("unit hydrograph", "A method that follows one storm's rain through the drainage area."),
    ("wedge", "Sediment that settles behind a structure."),
)
_SUMMARY = (
    "What is listed here was found on an elevation raster, not on the ground. Walk to a site "
    "before building on it."
)


def words_used(texts: Iterable[str]) -> list[list[str]]:
    """Terms that stand in the page's texts, each with its meaning."""
    everything = "\n".join(texts)
    return [
        [term, meaning]
        for term, meaning in WORDS
        if re.search(rf"(?<!\w){re.escape(term)}(?!\w)", everything, re.IGNORECASE)
    ]


def ranch_blocks(plan: PlanFile) -> list[Block]:
    """Everything on the sheet of the ranch.

    Parameters
    ----------
    plan
        The plan.
    """
    run, units = plan.run_info, plan.units
    # Totals are told as those of a site would be.
    whole = Explanation(plan.name, units, {}, (), {}, (), run)
    materials = plan.rows("materials", 0)
    blocks = [
        _told(run, "summary", "In short", units),
        _told(run, "work", "Work and money", units),
        _told(run, "caution", "Take care", units, kind="warn"),
        _looks(plan),
        _before(plan),
        material_block(materials, whole, "Materials for all sites together"),
        cost_block(plan.rows("costs", 0), materials, whole, "Cost of all sites together"),
        _told(run, "problem", "What the files lacked", units, fold=True),
        _told(run, "note", "How it was worked out", units, fold=True),
        _made_from(plan),
    ]
    return [block for block in blocks if block["rows"]]


def _looks(plan: PlanFile) -> Block:
    """Reaches that may be filling again, each with its mark on the map and the evidence."""
    rows = [
        f"{mark_of(look)}: {where_words(look, plan.units)}. {first_upper(stage_words(look))}. "
        f"{look['evidence'] or ''}".strip()
        for look in looks_first(plan.layers)
    ]
    return {"title": "Look first", "kind": "list", "fold": False, "rows": rows}


def one_line(plan: PlanFile) -> str:
    """What the heading says below the name: how much there is, and that it is found on paper."""
    sites = len(plan.sites["site_id"])
    if not sites:
        return "No place was found where a small hand-built structure would help."
    if tells_works(plan.layers):
        counts = count_words(site_groups(plan.layers), not_built(plan.layers))
        return f"{first_upper(counts)}. {_SUMMARY}"
    return (
        f"{sites} {'place' if sites == 1 else 'places'} to build or to have looked at. {_SUMMARY}"
    )


def _told(
    run: Any, key: str, title: str, units: Any, *, kind: str = "text", fold: bool = False
) -> Block:
    """Sentences of the record of the run, which is kept in SI."""
    rows = [
        in_units(value, units).replace("see the table before_you_build", "see below")
        for name, value in run.items()
        if (name == key or re.fullmatch(rf"{key}( revised)? \d+", name)) and value
    ]
    if len(rows) > 1 and kind == "text":
        kind = "list"
    return {"title": title, "kind": kind, "fold": fold, "rows": rows}


def _before(plan: PlanFile) -> Block:
    rows = [[str(r["subject"] or ""), str(r["text"] or "")] for r in plan.rows("before_you_build")]
    return {"title": "Before you build", "kind": "pairs", "rows": rows}


def _made_from(plan: PlanFile) -> Block:
    """Files and settings of the run, without their fingerprints."""
    run = plan.run_info
    rows = []
    for name, value in run.items():
        short = re.sub(r", \d+ bytes, sha256 [0-9a-f]*", "", value)
        if not re.match(r"(summary|work|note|caution|problem|setting|version)\b", name) and value:
            rows.append([name, short])
    rows.append(["plan", plan.name])
    if plan.version:
        rows.append(["made by", f"gullywalk {plan.version}"])
    return {"title": "What it was made from", "kind": "pairs", "fold": True, "rows": rows}
