from __future__ import annotations

import math

import numpy as np
import pytest
import shapely

from cli import palette
from cli.plan.fields import CONTROLS
from cli.plan.layers import Layer
from cli.plan.structure_looks import looks_of
from siting.record.drawn_rows import columns_of_types
from siting.structures.crescent_spreader import CrescentSpreader
from siting.structures.rolling_dip import RollingDip
from siting.values.columns import Columns

# The visual language, written out: colour of each meaning.
COLOURS = {
    "vertical": "#A63A2B",
    "grade": "#B26C00",
    "spread": "#3E8E5A",
    "hold": "#2B2B2B",
    "refer": "#2B2B2B",
}


def luminance(colour: str) -> float:
    """Relative luminance of sRGB as WCAG 2.1 defines it."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def contrast(a: str, b: str) -> float:
    low, high = sorted((luminance(a), luminance(b)))
    return (high + 0.05) / (low + 0.05)


def test_colours_are_those_of_the_visual_language() -> None:
    assert {s.control: s.colour for s in palette.SITE_SYMBOLS} == COLOURS
    assert palette.HEADCUT == "#111111"
    assert palette.CHANNEL == "#1F5F99"
    assert palette.RANCH == "#444444"
    assert palette.RANCH_WIDTH_MM == 1.2
    assert palette.DRAINAGE_AREA_OPACITY == 0.10
    assert palette.WEDGE_OPACITY == 0.35
    assert palette.LOW_CONFIDENCE == 0.5


def test_every_control_has_a_symbol() -> None:
    assert [s.control for s in palette.SITE_SYMBOLS] == [code for code, _ in CONTROLS]
    assert palette.site_symbol("something new").control == "refer"
    assert palette.site_symbol("spread").turns


def test_a_type_may_have_a_shape_of_its_own() -> None:
    looks = looks_of({"structure_types": Layer("structure_types", None, types_columns())})
    dip = looks.symbol("spread", "rolling dip")
    assert (dip.key, dip.control, dip.colour) == ("rolling-dip", "spread", palette.GREEN)
    np.testing.assert_allclose(dip.rings[0], RollingDip.symbol.rings[0], atol=1e-3)
    assert looks.symbol("spread", "crescent spreader") is palette.site_symbol("spread")
    assert looks.symbol("spread", "never heard of") is palette.site_symbol("spread")
    # What is beyond hand work looks so whatever its name.
    assert looks.symbol("refer", "rolling dip").colour == palette.CHARCOAL
    assert looks.of("never heard of").label == "never heard of"


@pytest.mark.parametrize(
    "spoiled", ["", "1,2 3,4", "1,2 3,4 five", "0,0 1,0 nan,1", "0,0 1,0 0,1;"]
)
def test_a_shape_spoiled_in_the_plan_leaves_that_of_its_control(spoiled: str) -> None:
    columns = types_columns()
    columns["symbol"] = np.array([None, spoiled], dtype=object)
    looks = looks_of({"structure_types": Layer("structure_types", None, columns)})
    assert looks.symbol("spread", "rolling dip") is palette.site_symbol("spread")


def types_columns() -> Columns:
    """Table of two types: one with a shape of its own."""
    return columns_of_types([CrescentSpreader(), RollingDip()])


@pytest.mark.parametrize("ground", [palette.WHITE, palette.PAPER])
def test_shapes_stand_out_on_white_and_on_paper(ground: str) -> None:
    # 3:1 is what WCAG 2.1 (success criterion 1.4.11) asks of graphics.
    for colour in (*COLOURS.values(), palette.CHANNEL, palette.HEADCUT, palette.RANCH):
        assert contrast(colour, ground) >= 3.0, colour


def test_outlines_are_simple_and_of_one_size() -> None:
    own = RollingDip.symbol
    assert own is not None
    for rings in (*(symbol.rings for symbol in palette.SITE_SYMBOLS), own.rings):
        shape = shapely.Polygon(rings[0], rings[1:])
        assert shape.is_valid
        assert 0.4 < shape.area < 4.0
        reach = max(abs(v) for ring in rings for point in ring for v in point)
        assert 0.85 <= reach <= 1.25
    assert shapely.Polygon(palette.COMB).is_valid


def test_the_struck_ring_is_hollow_on_both_sides_of_its_stroke() -> None:
    ring = shapely.Polygon(
        palette.site_symbol("refer").rings[0], palette.site_symbol("refer").rings[1:]
    )
    assert len(ring.interiors) == 2
    assert ring.covers(shapely.Point(0, 0))
    assert not ring.covers(shapely.Point(-0.35, 0.35))


def test_the_crescent_points_its_horns_down() -> None:
    ring = np.array(palette.site_symbol("spread").rings[0])
    lowest = ring[np.isclose(ring[:, 1], ring[:, 1].min())]
    assert np.ptp(lowest[:, 0]) > 1.5
    assert not shapely.Polygon(ring).covers(shapely.Point(0, -0.3))


def test_channels_grow_with_their_area() -> None:
    widths = [palette.channel_width_mm(a) for a in (0.0, 1.0, 10.0, 1000.0)]
    assert widths[0] == widths[1] == palette.CHANNEL_WIDTH_MM
    assert widths == sorted(widths)
    assert math.isclose(widths[3] - widths[2], 2 * palette.CHANNEL_WIDTH_STEP_MM)
