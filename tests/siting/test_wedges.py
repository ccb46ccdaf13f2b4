"""Sediment wedges: against prisms with closed forms, and a trench on a raster."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from siting.channels.bed_profile import bed_below
from siting.channels.ground import Ground
from siting.effects.channel_above import channel_above
from siting.effects.wedges import LONGEST_M, SPARE, Wedge, reach_m, wedge_in
from terrain.values.errors import ParameterError
from tests.siting.trenches import channel_cell, prism, trench


def wedge_at(
    ground: Ground, cell: int, *, crest_height_m: float, bed_slope: float, end: int | None = None
) -> Wedge:
    """Wedge at a cell, with as much of the channel above it as it may fill."""
    length = min(SPARE * reach_m(crest_height_m, bed_slope), LONGEST_M)
    above = channel_above(ground, cell, length_m=length, toe_cell=end)
    return wedge_in(above, crest_height_m=crest_height_m, bed_slope=bed_slope)


@pytest.mark.parametrize("slope", [0.01, 0.03])
@pytest.mark.parametrize("side", [0.0, 1.0, 2.5])
@pytest.mark.parametrize("crest", [0.15, 0.30])
def test_prisms(slope: float, side: float, crest: float) -> None:
    """Length H / ((1 - r) S), volume (w H^2 / 2 + z H^3 / 3) / ((1 - r) S)."""
    width = 2.5
    found = wedge_in(
        prism(width, side=side, slope=slope, length_m=110.0),
        crest_height_m=crest,
        bed_slope=slope,
    )
    solid = width * crest**2 / 2 + side * crest**3 / 3
    for share, length, volume in (
        (0.5, found.length_low_m, found.volume_low_m3),
        (0.6, found.length_m, found.volume_m3),
        (0.7, found.length_high_m, found.volume_high_m3),
    ):
        assert length == pytest.approx(crest / ((1 - share) * slope), rel=1e-9)
        assert volume == pytest.approx(solid / ((1 - share) * slope), rel=0.01)
    assert found.deposit_slope == pytest.approx(0.6 * slope)
    assert found.ends_at == "bed"
    assert found.outline is None


def test_the_length_agrees_with_the_spacing_rule() -> None:
    """A share of 0.5 is the spacing rule with K = 0.5: 0.2 m at 3 % fills 13.3 m."""
    assert reach_m(0.2, 0.03, share=0.5) == pytest.approx(13.33, abs=0.01)
    assert reach_m(0.2, 0.0) == LONGEST_M
    assert reach_m(5.0, 0.01) == LONGEST_M


def test_cut_at_the_next_structure() -> None:
    crest, slope, width, cut = 0.3, 0.02, 2.0, 10.0
    found = wedge_in(
        prism(width, slope=slope, length_m=60.0), crest_height_m=crest, bed_slope=slope, until_m=cut
    )
    rise = 0.4 * slope  # the deposit falls short of the bed by so much a metre
    assert found.length_m == cut
    assert found.volume_m3 == pytest.approx(width * (crest * cut - rise * cut**2 / 2), rel=1e-6)
    assert found.ends_at == "foot"


def test_cut_where_the_channel_ends() -> None:
    found = wedge_in(
        prism(2.0, slope=0.02, length_m=8.0, ends_at="headcut"), crest_height_m=0.3, bed_slope=0.02
    )
    assert found.length_m == 8.0
    assert found.ends_at == "headcut"


def test_a_level_bed_fills_level() -> None:
    found = wedge_in(prism(2.0, slope=0.0, length_m=30.0), crest_height_m=0.2, bed_slope=0.0)
    assert found.volume_m3 == pytest.approx(2.0 * 30.0 * 0.2)
    assert found.volume_low_m3 == found.volume_high_m3


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        ({"crest_height_m": 0.0}, "a crest of 0 m"),
        ({"bed_slope": -0.01}, "a bed slope of -0.01"),
        ({"bed_slope": np.nan}, "a bed slope of nan"),
        ({"share_low": 0.8}, "0.8 to 0.7 of the bed slope"),
        ({"share_high": 1.0}, "0.5 to 1 of the bed slope"),
    ],
)
def test_impossible_values(changed: dict[str, float], text: str) -> None:
    with pytest.raises(ParameterError, match=text):
        wedge_in(prism(2.0), **({"crest_height_m": 0.2, "bed_slope": 0.02} | changed))


def test_on_a_trench(measured: Callable[..., Ground]) -> None:
    """The bed dips by 2 cm a metre to its middle: that much is taken off the depth of a prism."""
    width, side, slope, crest = 4.0, 1.5, 0.02, 0.25
    ground = measured(trench(width, side=side, slope=slope, cell_m=0.5))
    found = wedge_at(ground, channel_cell(ground, 30.0), crest_height_m=crest, bed_slope=slope)
    assert found.length_m == pytest.approx(crest / (0.4 * slope), rel=0.04)
    flat = crest - 0.02 * width / 4
    solid = width * flat**2 / 2 + side * flat**3 / 3
    assert found.volume_m3 == pytest.approx(solid / (0.4 * slope), rel=0.06)
    assert found.outline.is_valid
    assert found.ends_at == "bed"


def test_the_foot_of_a_drop_and_a_next_structure_end_it(measured: Callable[..., Ground]) -> None:
    ground = measured(trench(3.0, side=0.5, drop_m=0.8))
    heads = ground.headcuts
    foot = int(heads.foot_cell[np.argmax(heads.headcut_height_m * heads.confidence)])
    below = bed_below(ground, foot, length_m=12.0)
    cell, next_up = int(below.cell[-1]), int(below.cell[6])
    given = {"crest_height_m": 0.25, "bed_slope": 0.02}
    to_foot = wedge_at(ground, cell, end=foot, **given)
    assert to_foot.ends_at == "foot"
    assert to_foot.length_m == pytest.approx(12.0, abs=1.0)
    to_next = wedge_at(ground, cell, end=next_up, **given)
    assert to_next.length_m == pytest.approx(6.0, abs=1.0)
    assert to_next.volume_m3 < to_foot.volume_m3
    unasked = wedge_at(ground, cell, **given)
    assert unasked.ends_at == "headcut"
    assert unasked.length_m == pytest.approx(to_foot.length_m, abs=0.5)
