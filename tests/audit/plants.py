"""Contradictions as a careless change of the program would leave them, one a planter.

Each planter writes one contradiction into a copy of a plan's tables, at a place where it can stand,
and nothing else: what a step forgot to bring up to date, a unit taken for another, a text kept from
an earlier size, a sum that missed a part. They were written from the field guide and from plans
that were made, before anything that looks for them was read.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.audit.draft import Draft, Row

Planter = Callable[[Draft], None]


@dataclass(frozen=True, slots=True)
class Plant:
    """One planter: its name, the kind of what it plants, and what it does."""

    name: str
    kind: str
    put: Planter


PLANTS: list[Plant] = []


def plant(kind: str) -> Callable[[Planter], Planter]:
    """Enter a planter under a kind."""

    def enter(put: Planter) -> Planter:
        PLANTS.append(Plant(put.__name__, kind, put))
        return put

    return enter


def built(r: Row) -> bool:
    return r["work_id"] > 0


def at_head(r: Row) -> bool:
    return built(r) and r["control"] == "vertical"


def grade(r: Row) -> bool:
    return built(r) and r["control"] == "grade"


def seen(r: Row) -> bool:
    return built(r) and r["width_source"] == "dem"


def unseen(r: Row) -> bool:
    return built(r) and r["width_source"] == "curve"


def chosen(r: Row) -> bool:
    return bool(r["chosen"])


def budgeted(d: Draft) -> None:
    """Only a plan with a budget has a set chosen."""
    d.note("setting: budget")


def part(name: str) -> Callable[[Row], bool]:
    return lambda r: r["part"] == name


# --- a sentence against a number -------------------------------------------------------------


@plant("sentence")
def whole_ground_where_none_lies(d: Draft) -> None:
    at = d.site(lambda r: "still whole" in (r["reason"] or ""))
    d.put("sites", at, swale_at_risk_m=0.0, swale_at_risk_ha=0.0, soil_at_risk_m3=0.0)


@plant("sentence")
def drop_of_an_earlier_run(d: Draft) -> None:
    d.retell("sites", "reason", r"The bed drops ([\d.]+) ", 1.4, when=at_head)


@plant("sentence")
def acres_called_hectares(d: Draft) -> None:
    d.retell("sites", "reason", r"([\d.]+) (?:ha|acres) drain", 2.471, when=built)


@plant("sentence")
def widening_swale(d: Draft) -> None:
    at = d.site(lambda r: r["setting"] == "swale" and built(r))
    site = d.get("sites", at, "site_id")
    d.put("sites", at, stage=3, stage_confidence=0.6)
    row = d.one("reasons", lambda r: r["site_id"] == site and r["subject"] == "setting")
    text = "Stage 3 of 5, widening; confidence 0.60 of 1."
    d.add("reasons", row, subject="stage of incision", text=text)


@plant("sentence")
def key_of_another_size(d: Draft) -> None:
    d.retell("instructions", "text", r"Key both ends ([\d.]+) ", 2.0)


@plant("sentence")
def stone_text_kept(d: Draft) -> None:
    d.retell("reasons", "text", r"^Stone D50 ([\d.]+) ", 1.7)


@plant("sentence")
def sentence_of_the_design_flow(d: Draft) -> None:
    d.retell("reasons", "text", r"The flow with a chance of 1 in 10 a year is ([\d.]+)", 3.3)


@plant("sentence")
def area_of_the_caution(d: Draft) -> None:
    at = d.site(lambda r: "drain to it: one band" in (r["caution"] or ""))
    d.retell(
        "sites", "caution", r"More than ([\d.]+) ", 40.0,
        when=lambda r: r["site_id"] == d.get("sites", at, "site_id"),
    )  # fmt: skip


@plant("sentence")
def rank_of_an_earlier_order(d: Draft) -> None:
    d.retell("reasons", "text", r"rank (\d+) of", 3.0, when=part("rank"))


@plant("sentence")
def retreat_told_too_far(d: Draft) -> None:
    d.retell("work_reasons", "text", r"([\d.]+) (?:m|ft) would be cut", 2.0, when=part("lost"))


@plant("sentence")
def another_work_comes_first(d: Draft) -> None:
    every = d.where("works", lambda _: True)
    last = max(every, key=lambda row: d.get("works", row, "rank"))
    d.reword(
        "run_info", "value", r"Work \d+", f"Work {d.get('works', last, 'work_id')}",
        when=lambda r: r["name"] == "summary",
    )  # fmt: skip


@plant("sentence")
def road_told_nearer(d: Draft) -> None:
    d.retell("reasons", "text", r"the nearest road is ([\d.]+) ", 0.4)


@plant("sentence")
def evidence_of_another_head(d: Draft) -> None:
    d.retell("headcuts", "evidence", r"The bed drops ([\d.]+) ", 0.6)


@plant("sentence")
def soil_in_feet(d: Draft) -> None:
    d.retell("reasons", "text", r"About ([\d,.]+) \S+(?: yd)? of soil", 35.3)


# --- a structure without a purpose -----------------------------------------------------------


@plant("purpose")
def head_that_is_gone(d: Draft) -> None:
    d.put("sites", d.site(at_head), headcut_height_m=np.nan)


@plant("purpose")
def built_without_a_work(d: Draft) -> None:
    at = d.site(grade)
    d.put("sites", at, work_id=0, rank=0)


@plant("purpose")
def flush_control(d: Draft) -> None:
    at = d.site(grade)
    site = d.get("sites", at, "site_id")
    d.put("sites", at, structure_height_m=0.0)
    for row in d.where("sizes", lambda r: r["site_id"] == site and r["name"] == "height"):
        d.put("sizes", row, value=0.0, value_low=0.0, value_high=0.0)


@plant("purpose")
def steps_for_what_is_referred(d: Draft) -> None:
    at = d.site(lambda r: r["control"] == "refer")
    like = d.one("instructions", lambda r: r["kind"] == "build")
    d.add("instructions", like, site_id=d.get("sites", at, "site_id"))


@plant("purpose")
def spreader_on_a_drop(d: Draft) -> None:
    d.put("sites", d.site(lambda r: built(r) and r["control"] == "spread"), purpose="vertical")


@plant("purpose")
def footprint_of_what_is_referred(d: Draft) -> None:
    at = d.site(lambda r: r["control"] == "refer")
    like = d.one("structures", lambda r: bool(r["is_body"]))
    d.add("structures", like, site_id=d.get("sites", at, "site_id"))


@plant("purpose")
def work_that_does_nothing(d: Draft) -> None:
    at = d.one("works", lambda r: r["kind"] == "series" or r["kind"] == "headcut")
    d.put("works", at, channel_held_m=0.0)


# --- chosen by a budget, and saves nothing or does not work -----------------------------------


@plant("budget")
def buys_what_saves_nothing(d: Draft) -> None:
    budgeted(d)
    at = d.one("works", chosen)
    d.put(
        "works", at, saved_m3=0.0, soil_saved_m3=0.0, swale_saved_ha=0.0, saved_per_cost=0.0,
        saved_per_crew_day=0.0,
    )  # fmt: skip


@plant("budget")
def buys_what_does_not_work(d: Draft) -> None:
    budgeted(d)
    at = d.one("works", chosen)
    d.put("works", at, functions=False, share_made_up=0.2)


@plant("budget")
def buys_half_a_work(d: Draft) -> None:
    budgeted(d)
    many = {r["work_id"] for r in d.rows("works") if r["chosen"] and r["sites"] > 1}
    d.put("sites", d.site(lambda r: r["work_id"] in many), chosen=False)


@plant("budget")
def buys_above_what_is_needed(d: Draft) -> None:
    budgeted(d)
    left = d.one("works", lambda r: not r["chosen"])
    d.put("works", d.one("works", chosen), needs=str(d.get("works", left, "work_id")))


@plant("budget")
def buys_more_than_there_is(d: Draft) -> None:
    budgeted(d)
    left = d.where("works", lambda r: not r["chosen"])
    for row in left:
        d.put("works", row, chosen=True, chosen_why="")
        work = d.get("works", row, "work_id")
        for at in d.where("sites", lambda r, work=work: r["work_id"] == work):  # type: ignore[misc]
            d.put("sites", at, chosen=True, chosen_why="")


@plant("budget")
def bought_and_left_out(d: Draft) -> None:
    budgeted(d)
    d.put("works", d.one("works", chosen), chosen_why="It saves next to nothing.")


@plant("budget")
def left_out_without_a_reason(d: Draft) -> None:
    budgeted(d)
    d.put("works", d.one("works", lambda r: not r["chosen"]), chosen_why="")


@plant("budget")
def buys_what_is_referred(d: Draft) -> None:
    d.put("sites", d.site(lambda r: r["control"] == "refer"), chosen=True, cost_likely=500.0)


# --- a height over its rule ------------------------------------------------------------------


@plant("height")
def control_over_its_rule(d: Draft) -> None:
    d.put("sites", d.site(grade), structure_height_m=0.6)


@plant("height")
def control_over_its_rule_everywhere(d: Draft) -> None:
    at = d.site(lambda r: grade(r) and seen(r))
    site = d.get("sites", at, "site_id")
    d.put("sites", at, structure_height_m=0.55)
    for row in d.where("sizes", lambda r: r["site_id"] == site and r["name"] == "height"):
        d.put("sizes", row, value=0.55, value_low=0.55, value_high=0.55)


@plant("height")
def text_of_the_height(d: Draft) -> None:
    d.retell("reasons", "text", r"^Height ([\d.]+) ", 3.0, when=part("sizes"))


@plant("height")
def stone_nobody_lifts(d: Draft) -> None:
    d.put("sites", d.site(built), stone_heaviest_kg=66.0)


@plant("height")
def drop_that_hands_leave(d: Draft) -> None:
    d.put("sites", d.site(at_head), headcut_height_m=1.9)


@plant("height")
def drawn_higher_than_built(d: Draft) -> None:
    low = {r["site_id"] for r in d.rows("sites") if grade(r)}
    row = d.one(
        "structure_outlines",
        lambda r: (
            r["site_id"] in low and r["view"] == "side" and r["is_body"] and r["height_m"] > 0
        ),
    )
    site = d.get("structure_outlines", row, "site_id")
    for at in d.where(
        "structure_outlines",
        lambda r: r["site_id"] == site and r["view"] == "side" and r["height_m"] > 0,
    ):
        d.scale("structure_outlines", at, 4.0, "height_m")


@plant("height")
def crest_against_the_step(d: Draft) -> None:
    d.retell("instructions", "text", r"its top ([\d.]+) (?:m|in|ft) above the bed", 3.0)


# --- a limit that failed under a thing that is built -----------------------------------------


@plant("limit")
def built_on_a_failed_limit(d: Draft) -> None:
    on = {r["site_id"] for r in d.rows("sites") if built(r)}
    row = d.one(
        "reasons",
        lambda r: r["part"] == "limits" and r["site_id"] in on and r["verdict"] == "holds",
    )
    d.put("reasons", row, verdict="fails")


@plant("limit")
def held_though_found_above(d: Draft) -> None:
    d.retell(
        "reasons", "text", r"at most 6\.0 %\. Found: ([\d.]+) %", 4.0,
        when=lambda r: r["verdict"] == "holds",
    )  # fmt: skip


@plant("limit")
def steeper_than_hands_build(d: Draft) -> None:
    d.put("sites", d.site(at_head), slope=0.14)


@plant("limit")
def wider_than_hands_span(d: Draft) -> None:
    d.put("sites", d.site(lambda r: grade(r) and seen(r)), width_m=31.0, bank_width_m=31.0)


@plant("limit")
def area_cut_off_and_built(d: Draft) -> None:
    d.put("sites", d.site(at_head), area_complete=False)


@plant("limit")
def fails_at_the_high_end_in_silence(d: Draft) -> None:
    on = {r["site_id"] for r in d.rows("sites") if built(r)}
    row = d.one(
        "reasons",
        lambda r: (
            r["part"] == "flood"
            and r["verdict"] == "holds"
            and str(r["subject"]).endswith("high_end")
            and r["site_id"] in on
        ),
    )
    d.put("reasons", row, verdict="fails")


@plant("limit")
def another_type_was_chosen(d: Draft) -> None:
    at = d.site(lambda r: at_head(r) and r["structure"] == "rock bowl")
    site = d.get("sites", at, "site_id")

    def alternatives(verdict: str) -> int:
        return d.one(
            "reasons",
            lambda r: (
                r["part"] == "alternatives" and r["verdict"] == verdict and r["site_id"] == site
            ),
        )

    row, other = alternatives("chosen"), alternatives("not chosen")
    d.put("reasons", row, verdict="not chosen")
    d.put("reasons", other, verdict="chosen")


@plant("limit")
def lift_found_above(d: Draft) -> None:
    on = {r["site_id"] for r in d.rows("sites") if built(r)}
    d.retell(
        "reasons", "text", r"Found: the largest ([\d.]+) ", 8.0,
        when=lambda r: r["verdict"] == "holds" and r["site_id"] in on,
    )  # fmt: skip


# --- two numbers for one quantity ------------------------------------------------------------


@plant("two numbers")
def drainage_area_in_acres(d: Draft) -> None:
    d.scale("drainage_areas", d.one("drainage_areas", lambda _: True), 2.471, "drainage_area_ha")


@plant("two numbers")
def flow_of_another_method(d: Draft) -> None:
    d.scale("sites", d.site(at_head), 1.6, "q10_m3s")


@plant("two numbers")
def depth_of_the_design_flow(d: Draft) -> None:
    d.scale("sites", d.site(at_head), 1.5, "design_depth_m")


@plant("two numbers")
def head_lower_than_the_site(d: Draft) -> None:
    ids = {r["drainage_area_ha"] for r in d.rows("sites") if at_head(r)}
    at = d.one("headcuts", lambda r: r["drainage_area_ha"] in ids)
    d.scale("headcuts", at, 0.7, "headcut_height_m")


@plant("two numbers")
def width_given_twice(d: Draft) -> None:
    d.scale("sites", d.site(seen), 1.3, "bank_width_m")


@plant("two numbers")
def slope_against_its_profile(d: Draft) -> None:
    at = d.site(lambda r: grade(r) and r["slope"] > 0.01)
    d.scale("sites", at, 0.2, "slope", "slope_above", "slope_below")


@plant("two numbers")
def spacing_of_another_rule(d: Draft) -> None:
    d.scale("sites", d.site(lambda r: r["spacing_m"] > 0), 1.8, "spacing_m")


@plant("two numbers")
def pool_before_it_was_lowered(d: Draft) -> None:
    d.scale("sites", d.site(lambda r: r["pool_volume_m3"] > 0), 2.2, "pool_volume_m3")


@plant("two numbers")
def crest_drawn_shorter(d: Draft) -> None:
    at = d.one("structure_lines", lambda r: r["crest_length_m"] > 0)
    d.scale("structure_lines", at, 0.8, "crest_length_m")


@plant("two numbers")
def stone_of_the_sheet(d: Draft) -> None:
    d.scale("sites", d.site(lambda r: r["stone_d50_m"] > 0), 0.5, "stone_d50_m")


@plant("two numbers")
def level_of_the_bed(d: Draft) -> None:
    at = d.site(grade)
    d.put("sites", at, elevation_m=d.get("sites", at, "elevation_m") + 4.0)


@plant("two numbers")
def curve_number_twice(d: Draft) -> None:
    d.put("flood_inputs", d.one("flood_inputs", lambda _: True), curve_number=61.0)


# --- a single quantity from a width that nobody saw ------------------------------------------


@plant("sentence")
def dip_nearer_than_its_own_rule(d: Draft) -> None:
    row = d.one("reasons", lambda r: bool(re.match(r"Asked: at least .* of road", r["text"])))
    site = d.get("reasons", row, "site_id")
    for other in d.where(
        "reasons", lambda r: r["site_id"] == site and "of road above it" in r["text"]
    ):
        text = d.get("reasons", other, "text")
        d.put("reasons", other, text=re.sub(r"Found: [\d.]+", "Found: 3.0", text))


@plant("sentence")
def dip_said_to_be_late_that_is_not(d: Draft) -> None:
    at = d.site(lambda r: r["purpose"] == "road" and "farther down" not in (r["caution"] or ""))
    late = "The dip lies late: the dip lies 31 m farther down than the table allows."
    d.put("sites", at, caution=f"{d.get('sites', at, 'caution') or ''} {late}".strip())


@plant("unseen width")
def one_cost_at_an_unseen_width(d: Draft) -> None:
    at = d.site(unseen)
    cost = d.get("sites", at, "cost_likely")
    site = d.get("sites", at, "site_id")
    d.put("sites", at, cost_low=cost, cost_high=cost)
    for row in d.where("costs", lambda r: r["site_id"] == site):
        likely = d.get("costs", row, "likely")
        d.put("costs", row, low=likely, high=likely)


@plant("unseen width")
def one_width_from_a_curve(d: Draft) -> None:
    at = d.site(unseen)
    d.put("sites", at, width_m=d.get("sites", at, "width_high_m"))


@plant("unseen width")
def one_amount_of_stone(d: Draft) -> None:
    ids = {r["site_id"] for r in d.rows("sites") if unseen(r)}
    row = d.one("materials", lambda r: r["site_id"] in ids and r["amount_low"] < r["amount_high"])
    most = d.get("materials", row, "amount_high")
    spare = d.get("materials", row, "spare_high")
    d.put(
        "materials", row, amount=most, amount_low=most, amount_with_spare=spare, spare_low=spare,
    )  # fmt: skip


@plant("unseen width")
def one_crest_length(d: Draft) -> None:
    ids = {r["site_id"] for r in d.rows("sites") if unseen(r)}
    row = d.one("structure_lines", lambda r: r["site_id"] in ids)
    d.put("structure_lines", row, crest_length_m=8.25)


@plant("unseen width")
def nothing_said_of_it(d: Draft) -> None:
    d.put("sites", d.site(unseen), caution="")


@plant("unseen width")
def how_many_nobody_saw(d: Draft) -> None:
    d.retell("run_info", "value", r"Nobody saw how wide the channel is at (\d+) of", 0.5)


@plant("unseen width")
def one_size_across(d: Draft) -> None:
    ids = {r["site_id"] for r in d.rows("sites") if unseen(r)}
    row = d.one("sizes", lambda r: r["site_id"] in ids and r["value_low"] < r["value_high"])
    most = d.get("sizes", row, "value_high")
    d.put("sizes", row, value=most, value_low=most)


@plant("unseen width")
def pull_at_its_high_end(d: Draft) -> None:
    d.reword(
        "reasons", "text", r"pulls on the deepest bed with [\d.]+ to ([\d.]+ (?:Pa|lb/sq ft))",
        r"pulls on the deepest bed with \1", when=lambda r: r["part"] == "bed",
    )  # fmt: skip


@plant("unseen width")
def depth_at_its_high_end(d: Draft) -> None:
    d.reword(
        "reasons", "text", r"nobody saw: [\d.]+ (?:in )?to ([\d.]+ (?:m|in|ft) deep)",
        r"nobody saw: it runs \1", when=lambda r: r["part"] == "flood",
    )  # fmt: skip


@plant("unseen width")
def volume_of_its_pool(d: Draft) -> None:
    d.put("sites", d.site(lambda r: unseen(r) and r["control"] == "grade"), pool_volume_m3=0.42)


@plant("unseen width")
def work_takes_one_sum(d: Draft) -> None:
    d.reword(
        "work_reasons", "text", r"^[\d,]+ to ([\d,]+ .*) and [\d.]+ to ([\d.]+ days)",
        r"\1 and \2", when=part("takes"),
    )  # fmt: skip


@plant("unseen width")
def work_that_forgot_its_width(d: Draft) -> None:
    d.put("works", d.one("works", lambda r: bool(r["width_unseen"])), width_unseen=False)


# --- sums that are not their parts -----------------------------------------------------------


@plant("sums")
def cost_of_a_site_twice(d: Draft) -> None:
    at = d.one("works", lambda r: r["sites"] > 1)
    d.scale("works", at, 1.5, "cost_low", "cost_likely", "cost_high")


@plant("sums")
def days_of_one_site(d: Draft) -> None:
    d.scale("works", d.one("works", lambda r: r["sites"] > 1), 0.5, "crew_days")


@plant("sums")
def total_without_labour(d: Draft) -> None:
    row = d.one("costs", lambda r: r["site_id"] > 0 and r["item"] == "total")
    d.scale("costs", row, 0.4, "low", "likely", "high")


@plant("sums")
def all_sites_without_the_last(d: Draft) -> None:
    row = d.one("materials", lambda r: r["site_id"] == 0 and r["amount_high"] > 0)
    d.scale(
        "materials", row, 0.8, "amount", "amount_low", "amount_high", "amount_with_spare",
        "spare_low", "spare_high",
    )  # fmt: skip


@plant("sums")
def chosen_materials_of_all(d: Draft) -> None:
    row = d.one("materials", lambda r: r["site_id"] == -1 and r["amount_high"] > 0)
    d.scale("materials", row, 1.4, "amount", "amount_low", "amount_high", "spare_low", "spare_high")


@plant("sums")
def chosen_counted_before(d: Draft) -> None:
    d.retell("run_info", "value", r"(\d+) of \d+ works chosen", 2.0)


@plant("sums")
def heads_and_sites_of_the_summary(d: Draft) -> None:
    d.retell(
        "run_info", "value", r"and (\d+) sites inside", 1.2, when=lambda r: r["name"] == "summary"
    )


@plant("sums")
def one_chance_left_out(d: Draft) -> None:
    at = d.one("works", lambda r: r["saved_m3"] > 1 and r["chance_holds"] < 0.9)
    d.scale("works", at, 1 / d.get("works", at, "chance_holds"), "saved_m3", "soil_saved_m3")


@plant("sums")
def chance_outside_its_product(d: Draft) -> None:
    at = d.one("works", lambda r: r["saved_m3"] > 1 and r["chance_holds"] < 0.6)
    d.scale("works", at, 1.5, "chance_holds")


@plant("sums")
def factor_outside_its_product(d: Draft) -> None:
    row = d.one(
        "work_reasons",
        lambda r: r["part"] == "chance holds" and r["subject"] == "larger flow",
    )
    d.scale("work_reasons", row, 0.5, "value")


@plant("sums")
def saved_for_each_hundred(d: Draft) -> None:
    d.scale("works", d.one("works", lambda r: r["saved_m3"] > 1), 0.1, "saved_per_cost")


@plant("sums")
def ranks_swapped(d: Draft) -> None:
    first = d.one("works", lambda r: r["rank"] == 2)
    last = d.one("works", lambda r: r["rank"] == 9)
    d.put("works", first, rank=9)
    d.put("works", last, rank=2)


@plant("sums")
def site_left_out_of_its_work(d: Draft) -> None:
    d.put("works", d.one("works", lambda r: r["sites"] > 1), sites=1)


@plant("sums")
def built_at_the_same_time(d: Draft) -> None:
    many = {r["work_id"] for r in d.rows("works") if r["sites"] > 1}
    d.put("sites", d.site(lambda r: r["work_id"] in many and r["build_order"] > 1), build_order=1)


@plant("sums")
def low_above_likely(d: Draft) -> None:
    at = d.site(seen)
    d.put("sites", at, cost_low=d.get("sites", at, "cost_high") + 1.0)


@plant("sums")
def works_counted_in_the_record(d: Draft) -> None:
    d.put("run_info", d.note("works"), value=str(len(d.tables["works"]["rank"]) + 2))


@plant("sums")
def least_at_risk_first(d: Draft) -> None:
    d.where("referred", lambda r: r["risk_rank"] == 2)
    places = d.tables["referred"]["risk_rank"]
    places[:] = places.max() + 1 - places


@plant("sums")
def bought_less_than_is_brought(d: Draft) -> None:
    row = d.one(
        "costs", lambda r: r["site_id"] > 0 and r["item"] == "stone_small" and r["quantity"] > 0
    )
    d.scale("costs", row, 0.5, "quantity")
