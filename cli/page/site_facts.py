"""What the eye looks for first on the sheet of a site: where, how big, how much water and work."""

from __future__ import annotations

import math

from cli.page.page_drawings import height_words
from cli.plan.explanation import Explanation, known
from cli.plan.plan_numbers import amount, measure, money
from cli.plan.ranked_list import significant


def drop_or_slope(found: Explanation) -> str:
    """Height of the drop, or where there is none the slope of the bed."""
    if known(found.site["headcut_height_m"]):
        return measure(found, "headcut_height_m")
    return f"{significant(100 * float(found.site['slope']))} %"


def facts(found: Explanation) -> list[tuple[str, str, str]]:
    """Where, how big, how much water, how much work: what the eye looks for first."""
    site = found.site
    where = _degrees(site["lat"], "N", "S") + ", " + _degrees(site["lon"], "E", "W")
    road = site["nearest_road_m"]
    near = f"Nearest road given: {measure(found, 'nearest_road_m')} away" if known(road) else ""
    out = [("Where", where, near)]
    if known(site["structure_height_m"]):
        across = next((r["value"] for r in found.rows["sizes"] if r["name"] == "crest"), math.nan)
        parts = [height_words(found), f"{measure(found, 'structure_length_m')} along"]
        if known(across):
            parts.append(f"{amount('sites', 'width_m', across, found.units)} across")
        drop = known(site["headcut_height_m"])
        note = f"At a drop of {drop_or_slope(found)}" if drop else f"Slope {drop_or_slope(found)}"
        out.append(("How big", ", ".join(parts), note))
    elif known(site["headcut_height_m"]):
        out.append(("The drop", drop_or_slope(found), "Not sized: an engineer decides"))
    years = site["design_return_period_yr"]
    if known(site["design_flow_m3s"]) and known(years):
        deep = measure(found, "design_depth_m")
        note = f"{deep} deep in the measured channel" if deep != "-" else ""
        out.append((f"{years:.0f}-year flood", measure(found, "design_flow_m3s"), note))
    else:
        out.append(("Land that drains here", measure(found, "drainage_area_ha"), ""))
    if known(site["cost_likely"]):
        money_name = found.run.get("currency", "")
        cost = f"{money(site['cost_likely'])} {money_name}".strip()
        spread = f"{money(site['cost_low'])} to {money(site['cost_high'])}"
        if known(site["crew_days"]):
            spread += f"; {significant(site['crew_days'])} days of a crew"
        out.append(("Cost, likely", cost, spread))
    return out


def _degrees(value: float, more: str, less: str) -> str:
    return f"{abs(value):.5f}\N{DEGREE SIGN} {less if value < 0 else more}" if known(value) else "-"
