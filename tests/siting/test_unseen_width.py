"""A width that nobody saw is a range, and so is everything that rests on it."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from cli.plan.plan_numbers import in_row
from siting.places.spot import WidthRange
from siting.places.unseen_width import at_each_end, at_width, unseen_width
from siting.record.bed_and_bank_rows import bed_rows
from siting.site import Site
from siting.structures.decisions import decide
from siting.structures.rock_bowl import RockBowl
from siting.structures.structure_type import Amount
from siting.values.wording import metres, quantity, spanned, told_at_ends
from siting.works.bill import bill, cost_columns
from siting.works.costs import load_costs
from siting.works.quantities import material_columns, quantities
from tests.siting.structures.example_spots import TYPES, floods, head_spot

COSTS = load_costs()


@pytest.fixture
def unseen() -> Site:
    """A head below which nobody saw the channel: 0.7 to 3 m wide."""
    from siting.layout.proposals import AtHead, Proposal, Where, Words

    wide = WidthRange(0.7, 3.0)
    # so little water that hands lift the stone of its fall at the narrowest too
    spot = head_spot(q_m3s=floods(0.1))
    banks = replace(spot.banks, width_m=np.nan, depth_m=np.nan, width_error_m=0.5)
    spot = at_width(replace(spot, banks=banks, width_range=wide), wide.low_m)
    proposal = Proposal(
        where=Where(0, 0, 0.0, 0.0),
        task=spot.task,
        confidence=1.0,
        words=Words("Found."),
        slope=spot.slope,
        head=AtHead(0, 0.8),
    )
    types = [t for t in TYPES if t.name == RockBowl.name]
    return Site(proposal, spot, decide(spot, types))


def test_it_lies_between_the_curve_and_what_the_raster_would_show() -> None:
    assert unseen_width(0.7, 1.0) == WidthRange(0.7, 3.0)
    assert unseen_width(0.7, 4.0) == WidthRange(0.7, 12.0)
    # where the curve says more than the raster would show, the two change places
    assert unseen_width(5.0, 1.0) == WidthRange(3.0, 5.0)


def test_sizes_are_told_at_both_ends(unseen: Site) -> None:
    (narrow, small), (wide, large) = unseen.ends
    assert (narrow.width_m, wide.width_m) == (0.7, 3.0)
    assert large.crest_m - small.crest_m == pytest.approx(2.3)
    assert small.height_m == large.height_m
    assert unseen.drawn == (wide, large)
    assert "between 0.70 m and 3.0 m" in unseen.caution
    assert "sizes, stone, cost and days are ranges. Measure it first." in unseen.caution
    steps = unseen.at_both(unseen.decision.kind.build_steps)
    # the bowl is wider than the narrowest channel, so that its pool takes the notch
    wide_as = spanned(*(f"{metres(size.dims['width_m'])} wide" for size in (small, large)))
    assert " to " in wide_as
    assert any(wide_as in step for step in steps)
    assert unseen.flows == (None,) * 6


def test_what_is_said_at_one_end_only_names_it() -> None:
    ends = ("If it is 0.7 m wide", "If it is 3.0 m wide")
    low = ("Lay 2 rows.", "Stone of 16 cm.", "Lift it; two of you.", "Check it.")
    high = (
        "Lay 5 rows.",
        "It takes much stone.",
        "Stone of 9 cm.",
        "Lift it.",
        "Check it.",
        "Mend.",
    )
    assert told_at_ends(list(zip(ends, (low, high), strict=True))) == (
        "Lay 2 to 5 rows.",
        "If it is 3.0 m wide: It takes much stone.",
        "Stone of 9 to 16 cm.",
        "Lift it. If it is 0.7 m wide: two of you.",
        "Check it.",
        "If it is 3.0 m wide: Mend.",
    )
    assert told_at_ends([("", low)]) == low


def test_what_the_flow_does_is_a_range_at_both_ends(unseen: Site) -> None:
    # the example place tells no slope of the bed above and below
    bed = replace(unseen.spot.bed, above=0.02, below=0.02)
    unseen = replace(unseen, spot=replace(unseen.spot, bed=bed))
    (_, narrow), (_, wide) = unseen.bed_and_bank_ends
    assert narrow.rows[0].shear_pa > wide.rows[0].shear_pa
    assert unseen.bed_and_bank is narrow
    pulls = [f"{quantity(one.rows[0].shear_pa, 'Pa')}" for one in (wide, narrow)]
    told = [row.text for row in bed_rows(unseen) if row.subject.startswith("bed ")]
    assert any(f"with {pulls[0].removesuffix(' Pa')} to {pulls[1]} at " in text for text in told)


def test_the_high_end_of_the_flow_is_held_at_both_widths() -> None:
    spot = head_spot(q_m3s=floods(0.1))
    high = replace(spot.floods, high_m3s=tuple(2.0 * q for q in spot.floods.q_m3s))
    spot = replace(spot, floods=high, width_range=WidthRange(0.7, 3.0))
    decision = decide(at_width(spot, 0.7), [RockBowl()])
    [stays] = [c for c in decision.at_high if c.rule == "stone.safety_high_end"]
    assert re.search(
        r"D50 of at least [\d.]+ to [\d.]+ cm|If it is 0\.70 m wide", stays.asks + stays.why_not
    )


def test_a_limit_is_held_at_the_end_that_hurts(unseen: Site) -> None:
    wide = WidthRange(0.7, 14.0)
    spot = replace(unseen.spot, width_range=wide)
    decision = decide(spot, [RockBowl()])
    assert decision.type is None
    assert any("14 m, is above the 12 m" in why for why in decision.why_none)
    held = unseen.decision.chosen.checks[RockBowl.name]
    [width] = [c for c in held if c.rule == "hand_work.channel_width"]
    assert width.passed
    assert width.found.startswith("0.70 to 3.0 m")


def test_a_place_whose_width_was_seen_has_one_end() -> None:
    spot = head_spot()
    assert at_each_end(spot) == (spot,)


@pytest.fixture
def counted():
    """Two sites; at the second the width is not known."""
    narrow, wide = (
        (Amount("stone_small", 2.0), Amount("gravel", 0.3)),
        (
            Amount("stone_small", 6.0),
            Amount("gravel", 0.3),
        ),
    )
    return quantities(
        (narrow, wide),
        site_id=[1, 2],
        whole=["", ""],
        costs=COSTS,
        spare=0.0,
        other_end={1: narrow},
    )


def test_stone_cost_and_days_follow_the_range(counted) -> None:
    priced = bill(counted, COSTS)
    stone, pay = COSTS["items.stone_small"], COSTS["labour.person_day"]
    k = priced.lines.index("stone_small")
    # least at the low price, most at the likely and the high one
    assert priced.money[1, k].tolist() == [2 * stone.low, 6 * stone.likely, 6 * stone.high]
    assert priced.money[0, k].tolist() == [2 * stone.low, 2 * stone.likely, 2 * stone.high]
    # everything of the low end is as for the narrow one
    np.testing.assert_allclose(priced.by_site[1, 0], priced.by_site[0, 0])
    assert (priced.by_site[1, 1:] > priced.by_site[0, 1:]).all()
    np.testing.assert_allclose(counted.crew_days[1, 0], counted.crew_days[0, 0])
    assert (counted.crew_days[1, 1:] > counted.crew_days[0, 1:]).all()
    assert pay.low > 0


def test_no_row_has_one_quantity_and_the_ends_add_up(counted) -> None:
    rows = material_columns(counted)
    of_all, by_site = rows["site_id"] == 0, rows["site_id"] > 0
    for name in ("amount_low", "amount_high", "spare_low", "spare_high"):
        for item in ("stone_small", "gravel"):
            own = rows["item"] == item
            assert rows[name][own & of_all].sum() == pytest.approx(rows[name][own & by_site].sum())
    stone = rows["item"] == "stone_small"
    seen = rows["site_id"] == 1
    assert np.isnan(rows["amount"][stone & ~seen]).all()
    assert np.isnan(rows["amount_with_spare"][stone & ~seen]).all()
    assert (rows["amount"][stone & seen] == 2.0).all()
    assert np.isfinite(rows["amount"][rows["item"] == "gravel"]).all()
    costs = cost_columns(bill(counted, COSTS))
    ranges = (costs["item"] == "stone_small") & (costs["site_id"] != 1)
    assert ranges.sum() == 2
    assert np.isnan(costs["quantity"][ranges]).all()
    for end in ("low", "likely", "high"):
        total = costs["item"] == "total"
        parts = costs[end][total & (costs["site_id"] > 0)].sum()
        assert costs[end][total & (costs["site_id"] == 0)].sum() == pytest.approx(parts)


def test_two_sentences_become_one_where_only_figures_differ() -> None:
    assert spanned("A wall 1.2 m long.", "A wall 3.5 m long.") == "A wall 1.2 to 3.5 m long."
    assert spanned("Stone of 0.30 m.", "Stone of 0.18 m.") == "Stone of 0.18 to 0.30 m."
    assert spanned("10-year flow", "10-year flow") == "10-year flow"
    assert spanned("1,200 posts", "900 posts") == "900 to 1,200 posts"
    # where words differ, the first one stays
    assert spanned("Flush.", "0.1 m high.") == "Flush."


def test_a_row_is_written_as_its_range() -> None:
    row = {"value": np.nan, "value_low": 1.72, "value_high": 4.27, "unit": "m"}
    assert in_row(row, "value", "si") == "1.7 to 4.3 m"
    assert in_row(row, "value", "us") == "5.6 to 14 ft"
    assert in_row({**row, "value": 2.0}, "value", "si") == "2.0 m"
    pieces = {"amount": np.nan, "amount_low": 3.0, "amount_high": 9.0, "unit": "pieces"}
    assert in_row(pieces, "amount", "si") == "3 to 9"
    # plans of older versions hold no ends
    assert in_row({"value": np.nan, "unit": "m"}, "value", "si") == "-"
