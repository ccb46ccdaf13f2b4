"""What a grade control makes up of the rise to its drop, types that need none, banks unseen."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from siting.layout.pair_reach import filled_m, reach_share, said_first, said_of_water
from siting.places.spot import Spot, Task
from siting.sites import Sites
from siting.structures.catalogue import structure_types
from siting.structures.decisions import decide
from siting.structures.grade_height import (
    banks_unseen,
    build_height_m,
    crest_level_m,
    height_checks,
)
from tests.siting.conftest import ground_of, gully_raster, sites_on
from tests.siting.structures.example_spots import floods, grade_spot, small_head_spot

TYPES = tuple(structure_types())


def below(needed_m: float, **task: bool) -> Spot:
    """A spot below a drop that needs a crest of some height."""
    return replace(grade_spot(), task=Task("grade", needed_m, below_head=True, **task))


@settings(deadline=None)
@given(needed=st.floats(0.0, 2.0), height=st.floats(0.1, 0.3))
def test_a_share_is_what_the_crest_is_of_what_is_needed(needed: float, height: float) -> None:
    share = reach_share(below(needed, short=True), height)
    assert 0.0 < share <= 1.0
    if height >= needed - 1e-9:
        assert share == 1.0
        assert said_first(below(needed), height) == ""
    else:
        assert share == pytest.approx(height / needed)
        assert said_first(below(needed), height).startswith("Makes up ")
    assert reach_share(below(needed, dry=True), height) == 1.0


@settings(deadline=None)
@given(needed=st.floats(0.05, 0.5), a=st.floats(0.1, 0.3), b=st.floats(0.1, 0.3))
def test_a_higher_crest_makes_up_no_less(needed: float, a: float, b: float) -> None:
    low, high = sorted((a, b))
    spot = below(needed, short=True)
    assert reach_share(spot, low) <= reach_share(spot, high)
    assert filled_m(spot, low) <= filled_m(spot, high)


def test_the_pool_of_now_and_the_bed_when_it_is_full_are_said_apart() -> None:
    """With half of the slope taken away a full wedge comes up twice as far as the pool."""
    spot = below(0.18, short=True)
    assert filled_m(spot, 0.10) == pytest.approx(0.01)
    text = said_of_water(spot, 0.10)
    assert "Now its still pool ends short of the foot" in text
    assert "once the wedge behind it is full, the bed comes up to the foot" in text
    far = said_of_water(below(0.30, short=True), 0.10)
    assert "the bed at the foot still lies 0.050 m below it" in far
    assert "Now its still pool reaches the foot" in said_of_water(below(0.08), 0.10)
    assert "needs no water backed to it" in said_of_water(below(0.3, dry=True), 0.10)


def test_a_crest_that_may_fall_short_is_not_held_against_what_is_needed() -> None:
    low = grade_spot(bankfull_depth_m=0.3)
    needs = replace(low, task=Task("grade", 0.28, below_head=True))
    assert not all(c.passed for c in height_checks(needs))
    short = replace(low, task=Task("grade", 0.28, below_head=True, short=True))
    assert all(c.passed for c in height_checks(short))
    assert build_height_m(short) == pytest.approx(0.10)


def test_at_a_dry_drop_only_a_type_that_needs_no_tailwater_stands() -> None:
    spot = small_head_spot()
    names = {t.name for t in TYPES if not t.needs_tailwater and "vertical" in t.purposes}
    dry = decide(replace(spot, task=Task("vertical", dry=True)), TYPES)
    usual = decide(spot, TYPES)
    assert dry.type is not None
    assert dry.type.name in names
    # the others say why they do not stand here, and fit where water is backed to them
    for name in set(usual.chosen.checks) - names:
        assert any("undermined without water backed" in why for why in dry.chosen.why_not[name])
        assert not any("undermined" in c.why_not for c in usual.chosen.checks[name])
    # what needs none has an apron of its own
    assert dry.sized.dims["apron_m"] > 0


def unseen_spot(**changes: Any) -> Spot:
    """A spot below a headcut whose banks the elevations do not show."""
    base = {
        "bank_depth_m": np.nan,
        "bank_width_m": np.nan,
        "q_m3s": floods(0.3),
        "below_head": True,
        "needed_height_m": 0.08,
    }
    return grade_spot(**(base | changes))


def test_unseen_banks_below_a_headcut_are_measured_first() -> None:
    spot = unseen_spot()
    assert banks_unseen(spot)
    assert build_height_m(spot) == pytest.approx(0.10)
    found = decide(spot, TYPES)
    assert found.type is not None
    [first, *_] = found.type.cautions(spot, found.sized)
    assert first.startswith("Measure first: the elevations do not show the banks.")
    # banks as high as it asks for hold the flow, and lower ones do not
    level = crest_level_m(spot, 0.10)
    for depth, holds in ((level + 0.01, True), (level - 0.05, False)):
        seen = replace(spot, banks=replace(spot.banks, depth_m=depth, depth_error_m=0.0))
        assert not banks_unseen(seen)
        assert all(c.passed for c in height_checks(seen)) == holds


@pytest.mark.parametrize(
    "changes", [{"below_head": False}, {"q_m3s": (np.nan,) * 6}, {"setting": "swale"}]
)
def test_elsewhere_unseen_banks_wait_for_nothing(changes: dict[str, Any]) -> None:
    """In a series nothing is built on a guess; without a flow no height of banks is known."""
    assert not banks_unseen(unseen_spot(**changes))


@pytest.fixture(scope="module")
def steep() -> Sites:
    """3.5 % over 4 drop heights of 1 m: no crest of 0.10 m reaches the foot."""
    return sites_on(ground_of(gully_raster(drop_m=1.0, slope=0.035)))[0]


def test_where_no_crest_reaches_a_type_that_needs_none_stands(steep: Sites) -> None:
    [head] = [i for i, s in enumerate(steep) if s.proposal.at_head]
    site = steep[head]
    assert site.size is not None
    assert not site.decision.kind.needs_tailwater
    assert site.caution.startswith("No crest below backs water to its foot: a crest of")
    assert f"The {site.structure} needs none." in site.caution
    [low] = [s for s in steep if s.head.index == site.head.index and not s.proposal.at_head]
    assert low.spot.task.dry
    assert low.reach_share == 1.0
    assert "holds the bed below it" in low.reason
    assert steep.reach_share[head] == 1.0


def test_shares_belong_to_pairs_alone(steep: Sites) -> None:
    for share, site in zip(steep.reach_share, steep, strict=True):
        belongs = site.head.index >= 0 and site.size is not None
        assert np.isfinite(share) == belongs
        assert not belongs or 0.0 <= share <= 1.0
