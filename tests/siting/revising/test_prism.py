"""Pool and wedge in an even channel against their closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from siting.effects.pools import pool_in
from siting.effects.wedges import wedge_in
from siting.hydraulics.cross_section import CrossSection
from siting.places.spot import LandAbove, Spot, Task
from siting.revising.even_channel import SOURCE, even_effect, prism
from siting.structures.structure_type import Size
from siting.values.rules import load_rules

WIDTH, SLOPE, HEIGHT = 3.0, 0.02, 0.3
TRENCH = CrossSection(np.array([0.0, 0.0, WIDTH, WIDTH]), np.array([101.5, 100.0, 100.0, 101.5]))


def test_the_pool_is_that_of_the_closed_form() -> None:
    pool = pool_in(prism(TRENCH, slope=SLOPE, length_m=60.0), crest_height_m=HEIGHT)
    # H / S, and H2 W / (2 S)
    assert pool.length_m == pytest.approx(15.0, rel=0.01)
    assert pool.volume_m3 == pytest.approx(6.75, rel=0.01)
    assert pool.area_m2 == pytest.approx(45.0, rel=0.01)
    assert np.isnan(pool.toe_depth_m)
    assert pool.outline is None


def test_the_wedge_is_that_of_the_closed_form() -> None:
    above = prism(TRENCH, slope=SLOPE, length_m=100.0)
    wedge = wedge_in(above, crest_height_m=HEIGHT, bed_slope=SLOPE, share_low=0.5, share_high=0.7)
    # H / (0.4 S), and H2 W / (2 * 0.4 S)
    assert wedge.length_m == pytest.approx(37.5, rel=0.01)
    assert wedge.volume_m3 == pytest.approx(16.875, rel=0.01)


def test_the_foot_of_the_drop_ends_it() -> None:
    above = prism(TRENCH, slope=SLOPE, length_m=60.0, foot_m=5.0)
    pool = pool_in(above, crest_height_m=HEIGHT)
    # 0.30 m less 5 m at 2 %; the pool is cut at the foot: W (H - S L / 2) L
    assert pool.toe_depth_m == pytest.approx(0.2)
    assert pool.volume_m3 == pytest.approx(3.75, rel=0.01)


def test_the_effect_says_that_the_ground_does_not_tell_it() -> None:
    spot = Spot(Task("grade"), SLOPE, 0.0, LandAbove(2.0), TRENCH, load_rules())
    effect = even_effect(spot, Size(HEIGHT, 1.0, 4.0), foot_m=np.nan, flow=None)
    assert effect.pool is not None
    assert effect.wedge is not None
    assert effect.tailwater is None
    assert effect.pool.volume_m3 == pytest.approx(6.75, rel=0.01)
    assert "even channel" in SOURCE
