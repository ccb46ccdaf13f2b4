"""One quantity, one number: what layers, tables and sentences say of the same thing."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from siting.audit.figures_in_text import BARE, FIGURE, found
from siting.audit.plan_tables import Contradiction, PlanTables, Row, at, differ, known

#: Fields of lengths and slopes are rounded to this at most.
ROUNDED = 0.0051

#: Fields of a site and the row of ``hydraulics`` for its design flow.
_DESIGN = {
    "design_flow_m3s": "discharge_m3s",
    "design_depth_m": "depth_m",
    "design_velocity_mps": "velocity_mps",
    "design_shear_pa": "shear_pa",
    "design_froude": "froude",
}
#: Fields of a site and the names of ``sizes`` that hold the same.
_SIZES = {
    "structure_height_m": "height",
    "structure_length_m": "length",
    "stone_d50_m": "median stone",
    "stone_d100_m": "largest stone",
    "stone_heaviest_kg": "heaviest stone",
}
_PERIODS = (2, 5, 10, 25, 50, 100)


def numbers(plan: PlanTables) -> Iterator[Contradiction]:
    """Fields of the sites against the tables that hold the same quantity."""
    yield from _flows(plan)
    yield from _sizes(plan)
    yield from _areas(plan)
    yield from _pools(plan)
    yield from _spacings(plan)
    yield from _inputs(plan)
    yield from _heads(plan)
    yield from _order(plan)


def _held(
    plan: PlanTables,
    rule: str,
    site: Row,
    name: str,
    other: object,
    where: str,
    least: float = 1e-6,
) -> Iterator[Contradiction]:
    plan.compared[rule] += 1
    if differ(site[name], other, least=least):
        yield Contradiction(rule, at(site), f"{name} is {site[name]}", f"{where} says {other}")


def _flows(plan: PlanTables) -> Iterator[Contradiction]:
    flows = plan.by_site("hydraulics")
    floods = plan.by_site("floods")
    for site in plan.sites():
        number = int(site["site_id"])
        used = {r["return_period_yr"]: r for r in floods.get(number, []) if r["used"]}
        for period in _PERIODS:
            if period in used:
                q = used[period]["q_m3s"]
                yield from _held(plan, "peak flow", site, f"q{period}_m3s", q, "table floods")
        if not known(site["design_return_period_yr"]):
            continue
        for row in flows.get(number, []):
            if row["return_period_yr"] != site["design_return_period_yr"]:
                continue
            for name, theirs in _DESIGN.items():
                if known(site[name]):
                    yield from _held(plan, "design flow", site, name, row[theirs], "hydraulics")


def _sizes(plan: PlanTables) -> Iterator[Contradiction]:
    sizes = plan.by_site("sizes")
    for site in plan.sites():
        own = {row["name"]: row["value"] for row in sizes.get(int(site["site_id"]), [])}
        for name, theirs in _SIZES.items():
            if theirs in own:
                yield from _held(plan, "size", site, name, own[theirs], "table sizes", ROUNDED)


def _areas(plan: PlanTables) -> Iterator[Contradiction]:
    for table in ("drainage_areas", "flood_inputs"):
        rows = plan.by_site(table)
        for site in plan.sites():
            if site["purpose"] == "road":
                continue
            for row in rows.get(int(site["site_id"]), []):
                for name in ("drainage_area_ha", "area_complete"):
                    yield from _held(plan, "drainage area", site, name, row[name], table)


def _pools(plan: PlanTables) -> Iterator[Contradiction]:
    pools = plan.by_site("pools")
    for site in plan.sites():
        for row in pools.get(int(site["site_id"]), []):
            if row["kind"] == "pool":
                for name in ("area_m2", "volume_m3"):
                    yield from _held(plan, "pool", site, f"pool_{name}", row[name], "layer pools")
            elif row["kind"] == "wedge":
                yield from _held(
                    plan, "pool", site, "wedge_volume_m3", row["volume_m3"], "layer pools"
                )


def _spacings(plan: PlanTables) -> Iterator[Contradiction]:
    rows = plan.by_site("spacings")
    for site in plan.sites():
        for row in rows.get(int(site["site_id"]), []):
            if not row["chosen"] or not known(site["spacing_m"]):
                continue
            plan.compared["spacing"] += 1
            low, high = float(row["spacing_low_m"]), float(row["spacing_high_m"])
            if not low - ROUNDED <= float(site["spacing_m"]) <= high + ROUNDED:
                yield Contradiction(
                    "spacing", at(site), f"spacing_m is {site['spacing_m']}",
                    f"its rule says {low} to {high}",
                )  # fmt: skip


def _inputs(plan: PlanTables) -> Iterator[Contradiction]:
    """What the floods were given is what the sites say they were given."""
    rows = plan.by_site("flood_inputs")
    for site in plan.sites():
        for row in rows.get(int(site["site_id"]), []):
            for name in ("curve_number", "tc_h"):
                if known(site[name]):
                    yield from _held(plan, "flood inputs", site, name, row[name], "flood_inputs")


def _heads(plan: PlanTables) -> Iterator[Contradiction]:
    """A site at a head has the height and the land of that head."""
    heads = plan.rows("headcuts")
    # by number: heads above where their channel begins share its upper end as their place on it
    own = plan.by_site("headcuts")
    for site in plan.sites():
        if site["purpose"] != "vertical":
            continue
        at_it = own.get(int(site["site_id"]), [])
        if len(at_it) != 1:
            yield Contradiction(
                "headcut",
                at(site),
                "purpose is vertical",
                f"headcuts has {len(at_it)} with its number",
            )
        for head in () if known(site["measured_drop_m"]) else at_it:
            for name in ("headcut_height_m", "drainage_area_ha"):
                least = ROUNDED if name.endswith("_m") else 1e-6
                yield from _held(plan, "headcut", site, name, head[name], "headcuts", least)
    for head in heads:
        for figure in found(_DROPS, str(head["evidence"] or "")):
            plan.compared["headcut"] += 1
            if not figure.says(float(head["headcut_height_m"]), ROUNDED):
                yield Contradiction(
                    "headcut", f"headcut {head['headcut_id']}", f"“{figure.text}” is told",
                    f"headcut_height_m is {head['headcut_height_m']}",
                )  # fmt: skip


def _order(plan: PlanTables) -> Iterator[Contradiction]:
    """A site has the rank of its work, and nothing else stands at its place."""
    works = {int(w["work_id"]): w for w in plan.rows("works")}
    places: set[int] = set()
    for site in plan.sites() if works else ():
        work = works.get(int(site["work_id"]))
        if work is not None:
            yield from _held(plan, "rank of the work", site, "rank", work["rank"], "its work")
        place = int(site["list_place"])
        plan.compared["place in the list"] += 1
        if place in places:
            yield Contradiction(
                "place in the list", at(site), f"list_place is {place}", "another has the same"
            )
        places.add(place)


_DROPS = re.compile(rf"The bed drops {FIGURE}")


@dataclass(frozen=True, slots=True)
class Said:
    """A figure that sentences give, and the field of the site that it is.

    Parameters
    ----------
    rule
        Name of the rule.
    subject
        Of the row of ``reasons``; empty for the sentences of the site itself.
    pattern
        With one figure.
    field
        Of the layer ``sites``.
    controls
        Only at sites for these; all where empty.
    """

    rule: str
    subject: str
    pattern: re.Pattern[str]
    field: str
    controls: tuple[str, ...] = ()


def _said(
    rule: str, subject: str, pattern: str, field: str, controls: tuple[str, ...] = ()
) -> Said:
    return Said(rule, subject, re.compile(pattern), field, controls)


SAID: tuple[Said, ...] = (
    _said(
        "drop told",
        "",
        rf"(?<!elevations: )The bed drops {FIGURE}",
        "headcut_height_m",
        ("vertical", "refer"),
    ),
    _said(
        "area told", "", rf"(?<![Mm]ore than ){FIGURE} drains? (?:over|to) it", "drainage_area_ha"
    ),
    _said("area told", "drainage area", rf"{FIGURE} drains? to it", "drainage_area_ha"),
    _said("slope told", "bed slope", rf"^{FIGURE}, error", "slope"),
    _said("slope told", "hand_work.gradient", rf"bed at most .*Found: {FIGURE}", "slope"),
    _said("slope told", "hand_work.gradient", rf"just above at .*Found: {FIGURE}", "slope_above"),
    _said("slope told", "hand_work.gradient", rf"just below at .*Found: {FIGURE}", "slope_below"),
    _said("slope told", "bed slope around", rf"{FIGURE} above", "slope_above"),
    _said("slope told", "bed slope around", rf"{FIGURE} below", "slope_below"),
    _said("depth told", "", rf"The channel is {FIGURE} deep", "depth_m"),
    _said("depth told", "", rf"The depth of the channel, {FIGURE}", "depth_m"),
    _said("depth told", "one_rock_dam.channel_depth", rf"Found: {FIGURE}", "depth_m"),
    _said("width told", "hand_work.channel_width", rf"Found: {FIGURE}", "width_m"),
    _said("area told", "hand_work.drainage_area", rf"Found: {FIGURE}", "drainage_area_ha"),
    _said("drop told", "hand_work.drop", rf"Found: {FIGURE}", "headcut_height_m"),
    _said("bank top told", "bank top", rf"^{FIGURE} wide", "bank_width_m"),
    _said("bank top told", "bank top", rf"wide and {FIGURE} deep", "bank_depth_m"),
    _said("bankfull told", "bankfull", rf"^{FIGURE} deep", "bankfull_depth_m"),
    _said("bankfull told", "bankfull", rf"deep and {FIGURE} wide", "bankfull_width_m"),
    _said("valley told", "valley floor", rf"^{FIGURE} wide", "valley_floor_width_m"),
    _said("design flow told", "design flow", rf"a year is {FIGURE}", "design_flow_m3s"),
    _said("design flow told", "design flow", rf"it runs {FIGURE} deep", "design_depth_m"),
    _said("design flow told", "design flow", rf"(?<! to ){FIGURE} fast", "design_velocity_mps"),
    _said("design flow told", "design flow", rf"on the bed with {FIGURE}", "design_shear_pa"),
    _said("design flow told", "design flow", rf"Froude number {BARE}", "design_froude"),
    _said("floor told", "floor of the swale", rf"^{FIGURE} wide", "width_m"),
    _said("way told", "keep_clear", rf"nearest road is {FIGURE}", "nearest_road_m"),
    _said("rank told", "work", rf"rank {BARE} of", "rank"),
    _said("rank told", "work", rf"belongs to work {BARE}", "work_id"),
    _said("rank told", "work", rf"number {BARE} of \d+ to build", "build_order"),
    _said("stage told", "stage of incision", rf"^Stage {BARE} of 5", "stage"),
    _said("risk told", "ground at risk", rf"^{FIGURE} of", "swale_at_risk_m"),
    _said("risk told", "soil at risk", rf"{FIGURE} of soil", "soil_at_risk_m3"),
)


def told(plan: PlanTables) -> Iterator[Contradiction]:
    """Figures in sentences against the fields that they are."""
    texts = _texts(plan)
    for site in plan.sites():
        for subject, text in texts.get(int(site["site_id"]), []):
            for rule in SAID:
                if rule.subject != subject:
                    continue
                if rule.controls and site["control"] not in rule.controls:
                    continue
                yield from _held_told(plan, rule, site, text)


def _held_told(plan: PlanTables, rule: Said, site: Row, text: str) -> Iterator[Contradiction]:
    for figure in found(rule.pattern, text):
        plan.compared[rule.rule] += 1
        value = site[rule.field]
        if not known(value) and rule.field == "width_m":
            value = site["width_high_m"]  # nobody saw it: the end that hurts
        if not known(value):
            yield Contradiction(
                rule.rule, at(site), f"“{figure.text}” is told", f"{rule.field} is not known"
            )
        elif not figure.says(float(value), _rounding(rule.field)):
            yield Contradiction(
                rule.rule,
                at(site),
                f"“{figure.text}” is told",
                f"{rule.field} is {float(value):.4g}",
            )


def _rounding(field: str) -> float:
    """Half the last digit that a field keeps, where that is coarser than a sentence."""
    return ROUNDED if field.endswith(("_m", "_m3")) else 0.0


def _texts(plan: PlanTables) -> dict[int, list[tuple[str, str]]]:
    """Sentences about each site, each with its subject."""
    out: dict[int, list[tuple[str, str]]] = {}
    for site in plan.sites():
        own = out.setdefault(int(site["site_id"]), [])
        own += [("", str(site[name])) for name in ("reason", "caution") if known(site[name])]
    for row in plan.rows("reasons"):
        if known(row["text"]):
            out.setdefault(int(row["site_id"]), []).append((row["subject"], row["text"]))
    for row in plan.rows("instructions"):
        out.setdefault(int(row["site_id"]), []).append(("instructions", row["text"]))
    return out
