"""Spacing of broad-based dips by 400 / grade + 100 ft (road manuals, from memory)."""

from __future__ import annotations

import pytest

from siting.layout.road_spacing import broad_based_spacing_m

FT = 0.3048


BROAD = [(2, 300), (5, 180), (8, 150), (10, 140)]


@pytest.mark.parametrize(("per_cent", "feet"), BROAD)
def test_broad_based_dips(per_cent: float, feet: float) -> None:
    assert broad_based_spacing_m(per_cent / 100) == pytest.approx(feet * FT, rel=1e-9)
