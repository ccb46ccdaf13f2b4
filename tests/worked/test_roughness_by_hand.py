"""Roughness worked by hand from formulas."""

import pytest

from siting.hydraulics.roughness import (
    bathurst,
    cowan,
    cowan_by_name,
    jarrett,
    limerinos,
    stone_lining,
)
from terrain.values.errors import ParameterError

FT = 0.3048


def test_jarrett_in_feet() -> None:
    """Jarrett 1984 in feet, n = 0.39 S^0.38 R^-0.16 (from memory), is the same relation."""
    assert jarrett(0.5, 0.02) == pytest.approx(0.39 * 0.02**0.38 * (0.5 / FT) ** -0.16, rel=0.01)


def test_stone_lining_rk_4() -> None:
    """Computed from FHWA HEC-15 equation 6.1: 1 ft of water over stone of 0.5 ft."""
    assert stone_lining(1.0 * FT, 0.5 * FT) == pytest.approx(0.0685, abs=0.0005)
    for depth in (1.4, 186):
        with pytest.raises(ParameterError, match="stone diameters"):
            stone_lining(depth * 0.2, 0.2)


def test_what_has_no_value_is_refused() -> None:
    with pytest.raises(ParameterError, match="stones less large"):
        limerinos(0.05, 0.5)
    with pytest.raises(ParameterError, match="stones less large"):
        bathurst(0.02, 0.5)
    with pytest.raises(ParameterError, match="hydraulic radius of 0"):
        jarrett(0.0, 0.02)
    with pytest.raises(ParameterError, match="bed slope of nan"):
        jarrett(0.3, float("nan"))
    with pytest.raises(ParameterError, match=r"material 'clay'.*earth"):
        cowan_by_name(material="clay")
    with pytest.raises(ParameterError, match=r"factor of 0\.9"):
        cowan(0.02, 0, 0, 0, 0, 0.9)
