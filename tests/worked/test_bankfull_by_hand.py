"""Bankfull curves against the coefficients printed by Bieger and others (2015), table 3.

The report prints coefficients, not examples: every value here is computed from the printed
coefficients by hand and none counts as a printed example.
"""

import pytest

from siting.floods.bankfull_curves import bankfull_geometry


@pytest.mark.parametrize(
    ("division", "area_km2", "width_m", "depth_m", "area_m2", "tolerance"),
    [
        pytest.param("usa", 10, 6.07, 0.490, 3.29, 0.01, id="BF-1"),
        pytest.param("intermontane_plateaus", 1, 1.11, 0.07, 0.07, 0.005, id="BF-2"),
        pytest.param("intermontane_plateaus", 10, 2.89, 0.149, 0.395, 0.01, id="BF-3"),
        pytest.param("rocky_mountain_system", 10, 3.38, 0.386, 0.975, 0.01, id="BF-4"),
        pytest.param("interior_plains", 10, 5.74, 0.590, 3.80, 0.01, id="BF-5"),
    ],
)
def test_bankfull_curves(
    division: str,
    area_km2: float,
    width_m: float,
    depth_m: float,
    area_m2: float,
    tolerance: float,
) -> None:
    """Bieger and others 2015 table 3, computed."""
    size = bankfull_geometry(area_km2 * 100.0, division=division)
    assert size.width_m == pytest.approx(width_m, abs=tolerance)
    assert size.depth_m == pytest.approx(depth_m, abs=tolerance)
    assert size.area_m2 == pytest.approx(area_m2, abs=tolerance)
