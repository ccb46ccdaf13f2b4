"""Critical depth against a calculator of culverts; its version was not kept."""

import pytest

from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import critical_depth_m, critical_unit_depth_m

FT = 0.3048
CFS = FT**3


def test_critical_depth_of_a_box_oc_12() -> None:
    """After FHWA HDS-5: box of 6 ft, 150 cfs; critical depth and energy, in ft."""
    depth = critical_depth_m(CrossSection.trapezoid(6 * FT, side=0, depth_m=6 * FT), 150 * CFS)
    assert depth / FT == pytest.approx(2.6875, abs=0.001)
    assert 1.5 * depth / FT == pytest.approx(4.031, abs=0.001)
    assert critical_unit_depth_m(25 * FT**2) == pytest.approx(depth)
