"""Where nobody saw how wide the channel is, nothing that hangs on the width is one number."""

from __future__ import annotations

import re
from collections.abc import Iterator

from siting.audit.figures_in_text import FIGURE, found
from siting.audit.plan_tables import Contradiction, PlanTables, Row, at, known

RULE = "width that nobody saw"
TOLD = "told of a width that nobody saw"
#: Fields of a site that would be a width, or hang on one.
SINGLE = (
    "width_m", "depth_m", "bank_width_m", "bank_depth_m", "bankfull_width_m", "design_depth_m",
    "design_velocity_mps", "design_shear_pa", "pool_area_m2", "pool_volume_m3", "wedge_volume_m3",
    "rewetted_m2", "structure_shear_ratio", "reach_shear_ratio_least", "first_pull_pa",
)  # fmt: skip
#: Sizes across the channel.
ACROSS = frozenset({"crest", "width", "bed width"})
#: What is bought by the volume or by the length across it.
BULK = frozenset({"t", "m3", "m"})
#: Ends nearer than this may read as one number when they are rounded.
APART = 1.5
#: A sentence that names the end of the width that it is told for.
AT_ONE_END = re.compile(r"If it is [\d.]+ \w+ wide")
#: Figures that go with the width, each as it would be told alone and not as a range.
ALONE = tuple(
    re.compile(pattern)
    for pattern in (
        rf"pulls on the (?:deepest bed|banks) with {FIGURE}",
        rf"it runs {FIGURE} deep",
        rf"flow of [^:]*: {FIGURE} deep",
        rf"pull on the bed \(HEC-15\) {FIGURE}",
        rf"hold a pool [\d.]+ \w+ long, {FIGURE}",
        rf"Filled, it holds about {FIGURE}",
        rf"^About {FIGURE} along the pool",
    )
)


def unseen(plan: PlanTables) -> Iterator[Contradiction]:
    """Sites whose width is a range from a regional curve."""
    tables = {name: plan.by_site(name) for name in ("sizes", "materials", "structure_lines")}
    for site in plan.sites():
        if site["width_source"] != "curve" or not known(site.get("width_low_m")):
            continue
        plan.compared[RULE] += 1
        own = {name: rows.get(int(site["site_id"]), []) for name, rows in tables.items()}
        for what in (*_fields(site), *_rows(own)):
            yield Contradiction(RULE, at(site), "nobody saw how wide it is", what)
        yield from _told(plan, site, own["sizes"])
    yield from _works(plan)


def _told(plan: PlanTables, site: Row, sizes: list[Row]) -> Iterator[Contradiction]:
    """Sentences that give what goes with the width as one number."""
    if not float(site["width_high_m"]) > APART * float(site["width_low_m"]):
        return
    notes = (str(row["note"]) for row in sizes if known(row["note"]))
    for text in (*plan.sentences(int(site["site_id"])), *notes):
        if AT_ONE_END.search(text):
            continue
        plan.compared[TOLD] += 1
        for pattern in ALONE:
            for figure in found(pattern, text):
                yield Contradiction(
                    TOLD, at(site), "nobody saw how wide it is", f"“{figure.text}” is one number"
                )


def _works(plan: PlanTables) -> Iterator[Contradiction]:
    """A work says that it has such a site, and tells its cost and days as ranges."""
    of = {
        int(site["work_id"])
        for site in plan.sites()
        if known(site.get("work_id")) and known(site.get("width_low_m"))
    }
    reasons = [row for row in plan.rows("work_reasons") if row["part"] == "takes"]
    for work in plan.rows("works"):
        number = int(work["work_id"])
        plan.compared[RULE] += 1
        about = f"work {number}"
        if bool(work["width_unseen"]) != (number in of):
            yield Contradiction(
                RULE, about, f"width_unseen is {bool(work['width_unseen'])}",
                f"{'some' if number in of else 'none'} of its sites has a width that nobody saw",
            )  # fmt: skip
        for row in (r for r in reasons if number in of and int(r["work_id"]) == number):
            plan.compared[TOLD] += 1
            if known(row["value"]) or not _RANGES.search(str(row["text"])):
                yield Contradiction(
                    TOLD, about, "nobody saw how wide the channel is", f"“{row['text']}” is told"
                )


_RANGES = re.compile(r"^[\d,]+ to [\d,]+ .* and [\d.,]+ to [\d.,]+ days")


def _fields(site: Row) -> Iterator[str]:
    for name in SINGLE:
        taped = name.endswith("depth_m") and known(site.get("measured_depth_m"))
        if known(site[name]) and not taped:
            yield f"{name} is one number, {site[name]}"
    if not float(site["width_low_m"]) < float(site["width_high_m"]):
        yield "its width is no range"
    if "obody saw" not in str(site["caution"] or ""):
        yield "no caution says so"
    if known(site["cost_likely"]) and not float(site["cost_low"]) < float(site["cost_high"]):
        yield "its cost is one number"


def _rows(own: dict[str, list[Row]]) -> Iterator[str]:
    for row in own["sizes"]:
        if row["name"] in ACROSS and _single(row["value_low"], row["value_high"]):
            yield f"the size {row['name']} is one number, {row['value_low']}"
        elif known(row["value"]) and not _single(row["value_low"], row["value_high"]):
            yield f"the size {row['name']} is one number, {row['value']}, and a range"
    for row in own["materials"]:
        if row["unit"] in BULK and _single(row["amount_low"], row["amount_high"]):
            yield f"{row['item']} is one number, {row['amount_low']} {row['unit']}"
    for row in own["structure_lines"]:
        if known(row["crest_length_m"]):
            yield f"its crest is drawn with a crest_length_m of {row['crest_length_m']}"


def _single(low: object, high: object) -> bool:
    return known(low) and low == high
