"""Where nobody saw how wide the channel is, nothing that hangs on the width is one number."""

from __future__ import annotations

from collections.abc import Iterator

from siting.audit.plan_tables import Contradiction, PlanTables, Row, at, known

RULE = "width that nobody saw"
#: Fields of a site that would be a width, or hang on one.
SINGLE = ("width_m", "depth_m", "bank_width_m", "bank_depth_m", "bankfull_width_m")
#: Sizes across the channel.
ACROSS = frozenset({"crest", "width", "bed width"})
#: What is bought by the volume or by the length across it.
BULK = frozenset({"t", "m3", "m"})


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


def _fields(site: Row) -> Iterator[str]:
    for name in SINGLE:
        if known(site[name]):
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
