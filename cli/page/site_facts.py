"""What the eye looks for first on the sheet of a site: where, how big, how much water and work."""

from __future__ import annotations

from cli.page.page_drawings import height_words
from cli.plan.explanation import Explanation, known
from cli.plan.plan_numbers import cost_words, days_words, measure, money, size_across
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
        parts = [height_words(found)]
        if known(site["structure_length_m"]):
            parts.append(f"{measure(found, 'structure_length_m')} along")
        if across := size_across(found):
            parts.append(f"{across} across")
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
        cost = f"{cost_words(site)} {money_name}".strip()
        ends = f"{money(site['cost_low'])} to {money(site['cost_high'])}"
        spread = "measure the width first" if known(site["width_low_m"]) else ends
        if known(site["crew_days"]):
            spread += f"; {days_words(site)} days of a crew"
        name = "Cost" if known(site["width_low_m"]) else "Cost, likely"
        out.append((name, cost, spread))
    return out


def _degrees(value: float, more: str, less: str) -> str:
    return f"{abs(value):.5f}\N{DEGREE SIGN} {less if value < 0 else more}" if known(value) else "-"
