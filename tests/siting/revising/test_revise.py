"""A plan worked out again: what stays, what changes, and that nothing is lost."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
import shapely

from siting.places.spot import Stock
from siting.record.site_records import read_record, restored
from siting.revising.bias import biases
from siting.revising.changes import Change, changes_of
from siting.revising.field_rows import FieldRow, FieldTable
from siting.revising.revise import Revised, revise
from siting.revising.revised_tables import (
    aside_columns,
    note_table,
    planned_columns,
    revised_sites,
    row_columns,
    tables_given,
)
from siting.structures.catalogue import structure_types
from siting.values.input_errors import FieldRowsError, RecordError
from siting.values.rules import load_rules
from siting.works.takes import Means, takes_of
from tests.siting.conftest import worked_out
from tests.siting.revising.conftest import parts_of

#: Of the gully that is worked out: two heads with a grade control each, and a lone series between.
LOW_CONTROL, LOW_HEAD, SERIES, HIGH_CONTROL, HIGH_HEAD = 6, 7, (8, 9, 10, 11, 12), 13, 14


@pytest.fixture(scope="module")
def with_rows(parts) -> Callable[..., Revised]:
    def go(*rows: dict[str, object], more: tuple[FieldTable, ...] = ()) -> Revised:
        return revise(parts, (table(*rows), *more))

    return go


def table(*rows: dict[str, object], source: str = "field.csv") -> FieldTable:
    texts = [{name: str(value) for name, value in row.items()} for row in rows]
    columns = tuple(dict.fromkeys(["site_id", *(name for row in texts for name in row)]))
    given = tuple(FieldRow(n, row) for n, row in enumerate(texts, start=2))
    return FieldTable(source, columns, given)


def same(a: Any, b: Any) -> bool:
    """Whether two values of this package are the same to the last digit."""
    if isinstance(a, np.ndarray):
        if a.dtype == object:
            return a.tolist() == b.tolist()
        return np.array_equal(a, b, equal_nan=a.dtype.kind == "f")
    if isinstance(a, float):
        return a == b or (math.isnan(a) and math.isnan(b))
    if isinstance(a, tuple):
        return len(a) == len(b) and all(same(x, y) for x, y in zip(a, b, strict=True))
    if hasattr(a, "__dataclass_fields__"):
        names = [f.name for f in fields(a)]
        return type(a) is type(b) and all(same(getattr(a, n), getattr(b, n)) for n in names)
    if isinstance(a, dict) or hasattr(a, "items"):
        return list(a) == list(b) and all(same(a[k], b[k]) for k in a)
    if type(a).__module__.startswith("siting.structures.") and not isinstance(a, str):
        return type(a) is type(b)
    return bool(a == b)


def change(revised: Revised, site: int, subject: str) -> Change:
    (found,) = (
        c
        for c in changes_of(revised)
        if (c.site_id, c.subject, c.kind) == (site, subject, "changed")
    )
    return found


# ---- restoring ---------------------------------------------------------------------------------


def test_every_site_is_restored_to_the_last_digit(shallow, parts) -> None:
    records = [
        read_record(t, rules=shallow.ground.rules, stock=Stock(), design_period_yr=10.0)
        for t in parts.records
    ]
    sites, effects = restored(records, tuple(structure_types()))
    for f in fields(sites):
        assert same(getattr(sites, f.name), getattr(shallow.sites, f.name)), f.name
    assert same(effects, shallow.effects)
    takes = takes_of(sites, effects, Means(), rules=shallow.ground.rules)
    assert same(takes.works, shallow.takes.works)


def test_a_measure_of_one_site_leaves_the_others_as_they_were(with_rows) -> None:
    revised = with_rows({"site_id": SERIES[2], "measured_width": 3.0})
    planned, now = revised.planned, revised.now
    assert not same(now.sites[SERIES[2] - 1].spot, planned.sites[SERIES[2] - 1].spot)
    for i in range(now.sites.count):
        if i + 1 != SERIES[2]:
            assert same(now.sites[i].spot, planned.sites[i].spot)
            assert same(now.sites[i].size, planned.sites[i].size)
            assert same(now.effects[i], planned.effects[i])
            assert now.sites[i].caution == planned.sites[i].caution
            assert now.sites[i].reason == planned.sites[i].reason


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda text: text[:-5], "cannot be read"),
        (lambda text: text.replace('"version":3', '"version":9'), "of version 9"),
        (lambda text: text.replace('"version":3', '"version":1'), "of version 1"),
        (lambda text: text.replace('"slope"', '"tilt"'), "cannot be read"),
        (lambda text: "[]", "cannot be read"),
        (lambda text: text.replace("rock bowl", "straw bale"), "straw bale in the plan"),
    ],
)
def test_a_record_that_was_changed_is_said(parts, spoil, says: str) -> None:
    at = LOW_HEAD - 1
    texts = [spoil(t) if i == at else t for i, t in enumerate(parts.records)]
    with pytest.raises(RecordError, match=says):
        revise(replace(parts, records=texts), [table({"site_id": 1, "measured_width": 3})])


def test_an_older_record_says_what_to_do(parts) -> None:
    older = [text.replace('"version":3', '"version":1') for text in parts.records]
    with pytest.raises(RecordError) as refused:
        revise(replace(parts, records=older), [table({"site_id": 1, "measured_width": 3})])
    assert str(refused.value) == (
        "site records of version 1; expected 3. Screen the ranch again with this version."
    )


def test_records_are_json_of_finite_numbers(parts) -> None:
    def refuse(name: str) -> None:
        raise AssertionError(name)

    for text in parts.records:
        json.loads(text, parse_constant=refuse)


# ---- what was measured -------------------------------------------------------------------------


def test_measured_bankfull_raises_the_height_to_a_third_of_it(with_rows) -> None:
    site = SERIES[0]
    revised = with_rows({"site_id": site, "measured_bankfull_depth": 0.48})
    spot, size = revised.now.sites[site - 1].spot, revised.now.sites[site - 1].size
    assert revised.planned.sites[site - 1].size.height_m == pytest.approx(0.10)
    assert spot.bankfull.sure
    # a third of 0.48 m is 0.16 m, in steps of 0.05 m
    assert spot.bankfull.height_limit_m == pytest.approx(0.15)
    assert size.height_m == pytest.approx(0.15)
    assert change(revised, site, "height").now == pytest.approx(0.15)
    reading = revised.now.sites.reading
    assert reading.bankfull.source[site - 1] == "measured"
    assert reading.height_why[site - 1] is None
    assert "measure" not in revised.now.sites[site - 1].caution


def test_measured_bankfull_never_passes_the_cap(with_rows) -> None:
    site = SERIES[0]
    row = {"site_id": site, "measured_depth": 3.2, "measured_bankfull_depth": 3}
    spot = with_rows(row).now.sites[site - 1].spot
    assert spot.bankfull.height_limit_m == spot.rules.high("grade_control.height")


def test_a_measured_channel_stretches_the_section(with_rows) -> None:
    site = SERIES[1]
    revised = with_rows({"site_id": site, "measured_width": 8.0, "measured_depth": 0.6})
    old, new = (w.sites[site - 1].spot for w in (revised.planned, revised.now))
    wide, deep = 8.0 / old.banks.width_m, 0.6 / old.banks.depth_m
    assert np.ptp(new.section.offset_m) == pytest.approx(wide * np.ptp(old.section.offset_m))
    assert new.section.rim_m == pytest.approx(deep * old.section.rim_m)
    assert new.banks.bed_width_m == pytest.approx(wide * old.banks.bed_width_m)
    # the area at the same share of the depth grows with both
    depth = 0.4 * old.section.rim_m
    assert new.section.wetted(deep * depth).area_m2 == pytest.approx(
        wide * deep * old.section.wetted(depth).area_m2
    )
    assert revised.now.sites.reading.width_source[site - 1] == "measured"
    flow = revised.now.sites[site - 1].design_flow
    assert flow is not None
    assert flow.depth_m < revised.planned.sites[site - 1].design_flow.depth_m


def test_a_head_measured_past_the_limit_is_held_and_its_control_with_it(with_rows) -> None:
    revised = with_rows({"site_id": LOW_HEAD, "measured_drop": 1.19, "decision": "build"})
    head, control = (revised.now.sites[n - 1] for n in (LOW_HEAD, LOW_CONTROL))
    # 1.19 m and 0.02 m of error are more than 1.2 m
    assert (head.control, head.structure) == ("hold", "settle on site first")
    assert head.reason.startswith("Hold: measure again.")
    assert "The drop, 1.2 m" in head.reason
    assert "drop 1.19 m" in head.reason
    assert control.control == "hold"
    assert "site 7 is on hold" in control.reason
    assert head.size is control.size is None
    assert (control.member.group, control.member.order) == (0, 0)
    (aside,) = revised.set_aside
    assert (aside.kind, aside.column, aside.origin.row) == ("conflicting", "decision", 2)
    assert [n for n, _ in revised.held] == [LOW_CONTROL, LOW_HEAD]
    works = revised.now.works
    rows = [LOW_CONTROL - 1, LOW_HEAD - 1]
    assert works.rank[rows].tolist() == works.work_id[rows].tolist() == [0, 0]
    assert sorted(works.list_place[rows]) == [1, 2]
    assert np.isnan(revised.now.columns["cost_likely"][LOW_HEAD - 1])


def test_what_is_past_the_limit_twice_goes_to_an_engineer_when_the_field_says_so(with_rows) -> None:
    revised = with_rows({"site_id": LOW_HEAD, "measured_drop": 1.19, "decision": "refer"})
    head, control = (revised.now.sites[n - 1] for n in (LOW_HEAD, LOW_CONTROL))
    assert (head.control, head.structure) == ("refer", "engineer")
    assert "site 7 is referred to an engineer" in control.reason
    assert control.control == "hold"


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ({"measured_width": 250}, "A width of 250 m is outside 0.1 to 100 m."),
        ({"measured_bankfull_depth": 2, "measured_depth": 1}, "it cannot stand above the banks"),
        ({"measured_drop": 1.0, "measured_depth": 0.4}, "as deep as the drop, or more"),
        ({"decision": "move"}, "no position is given"),
    ],
)
def test_a_measure_that_cannot_be_holds_the_site_and_its_partner(
    with_rows, row: dict[str, object], why: str
) -> None:
    revised = with_rows({"site_id": LOW_HEAD, **row})
    head, control = (revised.now.sites[n - 1] for n in (LOW_HEAD, LOW_CONTROL))
    assert head.reason.startswith("Hold: measure again.")
    assert why in head.reason
    assert (head.control, control.control) == ("hold", "hold")
    assert len(revised.set_aside) == 1
    # what is held is in no work, so that it is never said to come first
    first = revised.now.works.by_rank[0]
    assert not {LOW_HEAD, LOW_CONTROL} & set(first.site_ids)
    assert revised.now.why_first.startswith(f"Work {first.id} (")


def test_rows_that_contradict_each_other_hold_the_base_and_its_head(with_rows) -> None:
    rows = [{"site_id": LOW_CONTROL, "measured_width": w} for w in (3.0, 7.0)]
    revised = with_rows(*rows)
    head, control = (revised.now.sites[n - 1] for n in (LOW_HEAD, LOW_CONTROL))
    assert "give site 6 another width each" in control.reason
    assert "no grade control below it is built (site 6 is on hold)" in head.reason
    assert (head.control, control.control) == ("hold", "hold")


def test_measuring_again_ends_the_hold(with_rows) -> None:
    first = {"site_id": LOW_HEAD, "measured_width": 250}
    later = table({"site_id": LOW_HEAD, "measured_width": 4.0}, source="later.csv")
    assert [n for n, _ in with_rows(first).held] == [LOW_CONTROL, LOW_HEAD]
    again = with_rows(first, more=(later,))
    assert again.held == ()
    assert again.now.sites[LOW_HEAD - 1].size is not None
    # a decision settles it too
    skipped = with_rows({**first, "decision": "skip"})
    assert skipped.now.sites[LOW_HEAD - 1].proposal.field.left_out.startswith("Left out on site")


def test_a_head_within_the_limit_is_built_at_its_measured_height(with_rows) -> None:
    revised = with_rows({"site_id": LOW_HEAD, "measured_drop": 0.7, "measured_depth": 1.0})
    place, size = revised.now.sites[LOW_HEAD - 1], revised.now.sites[LOW_HEAD - 1].size
    assert place.control == "vertical"
    assert place.spot.drop.height_m == 0.7
    assert size.height_m == pytest.approx(0.7)
    assert change(revised, LOW_HEAD, "height").planned == pytest.approx(0.53, abs=1e-3)
    said = revised.now.sites[LOW_HEAD - 1].caution
    assert "The drop is 0.17 m higher than the elevations show" in said
    assert "crest of site 6" in said
    costs = change(revised, LOW_HEAD, "cost")
    assert costs.now > costs.planned


def test_a_control_that_no_longer_fits_is_left_out_and_says_why(with_rows) -> None:
    site = SERIES[3]
    revised = with_rows({"site_id": site, "measured_slope_pct": "9"})
    place = revised.now.sites[site - 1]
    assert (place.control, place.structure, place.size) == ("grade", "nothing", None)
    assert place.reason.startswith("Left out: with what was measured nothing fits here.")
    assert "9.0 %" in place.reason
    assert place.reason.count("One-rock dam") + place.reason.count("one-rock dam") <= 1
    note = change(revised, site, "structure").note
    assert note
    assert note in place.reason


def test_what_needs_the_ground_is_worked_out_for_an_even_channel(with_rows) -> None:
    site = SERIES[0]
    revised = with_rows({"site_id": site, "measured_bankfull_depth": 0.9, "measured_slope": 0.02})
    effect, size = revised.now.effects[site - 1], revised.now.sites[site - 1].size
    assert effect.source != "elevations"
    # H / S: 0.3 m at 2 %
    assert size.height_m == pytest.approx(0.3)
    assert effect.pool.length_m == pytest.approx(15.0, rel=0.02)
    assert effect.wedge.length_m == pytest.approx(37.5, rel=0.02)
    columns = revised.now.columns
    assert columns["pool_source"][site - 1] == "measured"
    assert columns["pool_volume_m3"][site - 1] == effect.pool.volume_m3


def test_a_pair_backs_water_once_bankfull_allows_a_crest() -> None:
    """On a steeper bed the smallest crest is too low."""
    rock = Stock(frozenset({"rock"}))
    steep = parts_of(worked_out(load_rules(), slope=0.03, drop_m=0.8, stock=rock), rock)
    revised = revise(steep, (table({"site_id": 3, "measured_bankfull_depth": 0.6}),))
    planned, control, head = (
        revised.planned.sites[3],
        revised.now.sites[2],
        revised.now.sites[3],
    )
    assert planned.own_cautions[0].startswith("Its grade control makes up 8")
    assert 0.7 < revised.planned.sites[2].reach_share < 1.0
    assert revised.now.sites.reach_share[3] == 1.0
    assert revised.planned.sites[2].size.height_m == pytest.approx(0.10)
    spot, size = control.spot, control.size
    assert spot.task.needed_height_m == pytest.approx(control.foot.rise_m)
    assert size.height_m >= control.foot.rise_m
    assert "Now its still pool reaches the foot" in control.reason
    assert "Makes up" not in control.reason
    assert not any("makes up" in c for c in head.own_cautions)
    assert revised.now.effects[2].pool.toe_depth_m >= -0.005


# ---- decisions ---------------------------------------------------------------------------------


def test_a_skipped_site_stays_in_the_list_and_leaves_materials_and_order(with_rows) -> None:
    site = SERIES[1]
    revised = with_rows({"site_id": site, "decision": "skip", "notes": "fence in the way"})
    now, planned = revised.now, revised.planned
    assert now.sites.count == planned.sites.count
    assert now.sites[site - 1].size is None
    assert not now.columns["chosen"][site - 1]
    assert now.columns["chosen_why"][site - 1] == 'Left out on site: "fence in the way".'
    assert site not in now.built.tables["materials"]["site_id"]
    assert site not in now.built.structures.columns["site_id"]
    assert now.works.rank[site - 1] == now.works.work_id[site - 1] == 0
    assert now.works.list_place[site - 1] == now.sites.count
    lost = planned.built.takes.bill.by_site[site - 1, 1]
    totals = [w.built.takes.bill.total()[1] for w in (planned, now)]
    assert totals[0] - totals[1] == pytest.approx(lost)
    # the rest of the series is counted again
    orders = [now.sites[n - 1].member.order for n in SERIES]
    assert orders == [1, 0, 2, 3, 4]
    assert change(revised, site, "structure").now_text == "left out"


def test_a_head_waits_without_its_grade_control(with_rows) -> None:
    revised = with_rows({"site_id": LOW_CONTROL, "decision": "skip"})
    head = revised.now.sites[LOW_HEAD - 1]
    assert (head.member.group, head.member.order) == (0, 0)
    assert "no grade control below it is built (site 6 is left out)" in head.reason
    assert (head.control, head.size) == ("hold", None)


def test_a_control_refused_on_its_measures_is_left_out_and_its_head_waits(with_rows) -> None:
    revised = with_rows({"site_id": LOW_CONTROL, "measured_slope_pct": "9"})
    head, control = (revised.now.sites[n - 1] for n in (LOW_HEAD, LOW_CONTROL))
    assert (control.control, control.structure) == ("grade", "nothing")
    assert "site 6 is left out" in head.reason
    assert head.control == "hold"


def test_a_grade_control_without_its_head_stands_only_when_the_field_says_so(with_rows) -> None:
    skip = {"site_id": LOW_HEAD, "decision": "skip"}
    alone = with_rows(skip, {"site_id": LOW_CONTROL, "decision": "build"}).now
    assert alone.sites[LOW_CONTROL - 1].size is not None
    assert "Nothing is built at site 7 above it" in alone.sites[LOW_CONTROL - 1].caution
    assert with_rows(skip).now.sites[LOW_CONTROL - 1].size is None


def test_what_is_referred_on_site_gives_the_reason_of_the_field(with_rows) -> None:
    long = "waterhole of the neighbour " * 400
    revised = with_rows({"site_id": SERIES[0], "decision": "refer", "notes": long})
    place = revised.now.sites[SERIES[0] - 1]
    assert (place.control, place.structure) == ("refer", "engineer")
    assert place.reason.startswith('Referred on site: "waterhole of the neighbour')
    assert len(place.reason) < 1000
    assert revised_sites(revised, None).columns["field_notes"][SERIES[0] - 1] == long.strip()


def test_a_site_is_moved_and_its_footprint_with_it(with_rows) -> None:
    site = SERIES[2]
    planned = with_rows({"site_id": 1, "notes": "x"}).planned.sites
    x, y = float(planned.x_m[site - 1]), float(planned.y_m[site - 1])
    revised = with_rows({"site_id": site, "x": x + 3, "y": y - 4, "decision": "move"})
    now = revised.now.sites
    assert (now.x_m[site - 1], now.y_m[site - 1]) == (x + 3, y - 4)
    shapes = [
        shapely.union_all(
            w.built.structures.geometry[w.built.structures.columns["site_id"] == site]
        )
        for w in (revised.planned, revised.now)
    ]
    moved = shapely.affinity.translate(shapes[0], 3, -4)
    assert shapes[1].symmetric_difference(moved).area < 1e-6
    assert "Moved 5.0 m on site" in now[site - 1].reason
    assert revised_sites(revised, None).columns["moved_m"][site - 1] == pytest.approx(5.0)


def test_a_site_moved_beside_a_road_is_referred(shallow, parts) -> None:
    site = SERIES[2]
    x, y = float(shallow.sites.x_m[site - 1]), float(shallow.sites.y_m[site - 1])
    # 30 m is the furthest that a site may be moved; the road has to come to it
    near = {"type": "LineString", "coordinates": [[x - 30.0, 0.0], [x - 30.0, 400.0]]}
    settings = dict(parts.settings)
    keep = json.loads(settings["keep"])
    keep["features"][0]["geometry"] = near
    settings["keep"] = json.dumps(keep)
    beside = replace(parts, settings=settings)
    row = {"site_id": site, "x": x - 28.0, "y": y, "decision": "move"}
    place = revise(beside, [table(row)]).now.sites[site - 1]
    assert (place.control, place.structure) == ("refer", "engineer")
    assert "Moved to 2.0 m from a road" in place.reason
    clear = revise(parts, [table(row)]).now.sites[site - 1]
    assert clear.control == "grade"


def test_build_settles_a_place_that_measuring_makes_fit_for_hands(with_rows) -> None:
    refer = with_rows({"site_id": LOW_HEAD, "measured_drop": 1.3, "measured_depth": 1.3})
    assert refer.now.sites[LOW_HEAD - 1].control == "hold"
    # a later file corrects it
    later = table({"site_id": LOW_HEAD, "measured_drop": 0.6}, source="later.csv")
    again = with_rows({"site_id": LOW_HEAD, "measured_drop": 1.3}, more=(later,))
    assert again.now.sites[LOW_HEAD - 1].control == "vertical"
    assert again.set_aside == ()


# ---- what is told and kept ---------------------------------------------------------------------


def test_the_bias_of_the_elevations_needs_three_measurements(with_rows) -> None:
    widths = with_rows({"site_id": 1, "notes": "x"}).planned.sites.reading.bank_width_m
    rows = [
        {"site_id": n, "measured_width": repr(float(widths[n - 1] * r))}
        for n, r in zip(SERIES, (0.8, 0.9, 0.7, 1.1, 0.85), strict=True)
    ]
    revised = with_rows(*rows)
    width, depth, _, _ = biases(revised.planned.records, revised.found)
    assert (width.count, depth.count) == (5, 0)
    # of 0.7, 0.8, 0.85, 0.9, 1.1
    assert (width.low, width.median, width.high) == pytest.approx((0.8, 0.85, 0.9))
    assert "too wide" in width.sentence()
    assert "too few" in depth.sentence()
    few = with_rows(*rows[:2])
    assert "2 measurements, too few" in biases(few.planned.records, few.found)[0].sentence()


def test_every_row_is_found_again_and_can_be_read_again(with_rows) -> None:
    rows = (
        {"site_id": 1, "measured_width": "3.2 ft", "notes": "عين 🪨 à"},
        {"site_id": 99, "measured_width": "3 m"},
        {"site_id": 2, "measured_width": "400 ft", "decision": "skip"},
        {"site_id": 3},
    )
    revised = with_rows(*rows)
    columns = row_columns(revised.tables, revised.set_aside)
    assert columns["status"].tolist() == ["used", "set aside", "partly used", "blank"]
    assert columns["row"].tolist() == [2, 3, 4, 5]
    assert json.loads(columns["text"][0])["notes"] == "عين 🪨 à"
    again = tables_given({name: values.tolist() for name, values in columns.items()})
    assert [dict(r.texts) for r in again[0].rows] == [
        {name: str(value) for name, value in row.items()} for row in rows
    ]
    aside = aside_columns(revised.set_aside)
    assert aside["row"].tolist() == [3, 4]
    assert aside["kind"].tolist() == ["unknown", "impossible"]


def test_both_values_are_kept(with_rows) -> None:
    revised = with_rows({"site_id": SERIES[0], "measured_width": 3.0, "soil": "clay"})
    now = revised_sites(revised, None).columns
    planned = planned_columns(revised.planned, None)
    i = SERIES[0] - 1
    assert (now["measured_width_m"][i], now["width_m"][i]) == (3.0, 3.0)
    assert planned["width_m"][i] == revised.planned.sites.measured.width_m[i]
    assert np.isnan(now["measured_width_m"][0])
    sheet = note_table(revised, ["clay"]).columns
    assert sheet["measured_width_m"][i] == 3.0
    assert sheet["soil"][i] == "clay"
    assert note_table(revised, ["sand"]).columns["soil"][i] is None


def test_changes_add_up(with_rows) -> None:
    revised = with_rows(
        {"site_id": SERIES[0], "measured_bankfull_depth": 0.6},
        {"site_id": LOW_HEAD, "measured_drop": 0.6},
    )
    found = [c for c in changes_of(revised) if c.kind == "changed" and c.subject == "cost"]
    by_site = sum(c.now - c.planned for c in found if c.site_id)
    (total,) = (c.now - c.planned for c in found if not c.site_id)
    assert total == pytest.approx(by_site)
    assert {c.site_id for c in found} == {0, SERIES[0], LOW_HEAD}


def test_blank_rows_are_an_error(with_rows) -> None:
    with pytest.raises(FieldRowsError, match=r"nothing was measured: field\.csv has 2 rows"):
        with_rows({"site_id": 1}, {"site_id": 2})
    with pytest.raises(
        FieldRowsError, match=r"nothing in field\.csv can be used: row 2: .*site '99'"
    ):
        with_rows({"site_id": 99, "measured_width": 2})
    # an earlier file does not make up for it
    with pytest.raises(FieldRowsError, match=r"later\.csv has 1 row "):
        with_rows({"site_id": 1, "notes": "x"}, more=(table({"site_id": 1}, source="later.csv"),))


@pytest.mark.parametrize("seed", range(4))
def test_whatever_is_measured_the_plan_stays_whole(parts, shallow, seed: int) -> None:
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(1, shallow.sites.count + 1):
        row: dict[str, object] = {"site_id": i}
        for name, low, high in (
            ("width", 0.2, 15.0),
            ("depth", 0.05, 3.0),
            ("bankfull_depth", 0.03, 1.0),
            ("drop", 0.1, 2.0),
            ("slope", 0.0, 0.12),
        ):
            if rng.random() < 0.4:
                row[f"measured_{name}"] = repr(float(rng.uniform(low, high)))
        if rng.random() < 0.5:
            row["decision"] = str(rng.choice(["build", "skip", "move", "refer"]))
            row["x"] = repr(float(shallow.sites.x_m[i - 1] + rng.normal(0, 12)))
            row["y"] = repr(float(shallow.sites.y_m[i - 1] + rng.normal(0, 12)))
        rows.append(row)
    revised = revise(parts, [table(*rows)])
    now = revised.now
    n = now.sites.count
    assert n == shallow.sites.count
    assert sorted(now.works.list_place.tolist()) == list(range(1, n + 1))
    assert sorted(now.works.order) == list(range(1, len(now.works) + 1))
    held = [i for i, s in enumerate(now.sites) if s.is_held]
    assert sorted(now.works.list_place[held].tolist()) == list(range(1, len(held) + 1))
    for i, site in enumerate(now.sites):
        assert (now.works.work_id[i] > 0) == (site.size is not None)
    built = [s.size is not None for s in now.sites]
    assert now.built.takes.quantities.built.tolist() == built
    assert set(now.built.structures.columns["site_id"].tolist()) == {
        i + 1 for i in range(n) if built[i]
    }
    for i, place in enumerate(now.sites.each):
        waits = place.control in ("refer", "hold")
        assert built[i] == (not waits and not place.proposal.field.left_out)
        decision = revised.found.get(i + 1)
        if decision is not None and decision.decision == "skip":
            assert not built[i]
        if place.member.group:
            own = [p for p in now.sites.each if p.member.group == place.member.group]
            assert sorted(p.member.order for p in own) == list(range(1, len(own) + 1))
            assert len(own) > 1
        size, spot = now.sites[i].size, now.sites[i].spot
        if size is not None and place.control == "grade":
            assert size.height_m <= spot.rules.high("grade_control.height")
    used = {o for s in revised.found.values() for o, *_ in s.origins.values()}
    assert {o.row for o in used} <= {r.number for r in revised.tables[0].rows}
    columns = row_columns(revised.tables, revised.set_aside)
    assert len(columns["row"]) == len(rows)
