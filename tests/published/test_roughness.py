"""Roughness against printed figures.

Most come with the roughness calculator of the U.S. Army Corps of Engineers after McKay and
Fischenich 2011, ERDC/CHL CHETN-VII-11; the values of Chow are those of his table 5-6.
"""

import pytest

from siting.hydraulics.roughness import (
    CHOW,
    COWAN_MATERIAL,
    COWAN_OBSTRUCTION,
    COWAN_SURFACE,
    COWAN_VARIATION,
    COWAN_VEGETATION,
    COWAN_WINDING,
    bathurst,
    cowan,
    cowan_by_name,
    jarrett,
    limerinos,
    stone_lining,
    strickler,
)
from terrain.values.errors import ParameterError

FT = 0.3048


def test_jarrett_n_1() -> None:
    """Calculator after CHETN-VII-11: radius 0.3 m, slope 0.03."""
    assert jarrett(0.3, 0.03) == pytest.approx(0.102, abs=0.001)


def test_jarrett_n_2() -> None:
    """Calculator after CHETN-VII-11: radius 1 m, slope 0.015."""
    assert jarrett(1.0, 0.015) == pytest.approx(0.065, abs=0.001)


def test_jarrett_in_feet() -> None:
    """Jarrett 1984 in feet, n = 0.39 S^0.38 R^-0.16 (from memory), is the same relation."""
    assert jarrett(0.5, 0.02) == pytest.approx(0.39 * 0.02**0.38 * (0.5 / FT) ** -0.16, rel=0.01)


def test_strickler_n_3() -> None:
    """Calculator after CHETN-VII-11: median grains of 100, 20 and 8 mm."""
    for d50, expected in ((0.100, 0.032), (0.020, 0.025), (0.008, 0.021)):
        assert strickler(d50) == pytest.approx(expected, abs=0.001)


def test_limerinos_n_4() -> None:
    """Calculator after CHETN-VII-11: radius 1 and 2.5 m, d84 0.1 and 0.07 m."""
    assert limerinos(1.0, 0.1) == pytest.approx(0.036, abs=0.001)
    assert limerinos(2.5, 0.07) == pytest.approx(0.031, abs=0.001)


def test_bathurst_n_5() -> None:
    """Calculator after CHETN-VII-11: depth 0.15 and 0.8 m, d84 0.25 and 0.12 m."""
    assert bathurst(0.15, 0.25) == pytest.approx(0.085, abs=0.001)
    assert bathurst(0.8, 0.12) == pytest.approx(0.036, abs=0.001)


def test_cowan_n_6() -> None:
    """Calculator, mid-values after SIR 2006-5108: smooth earth, all else the least."""
    n = cowan_by_name(
        material="earth",
        surface="smooth",
        variation="gradual",
        obstruction="negligible",
        vegetation="low",
        winding="minor",
    )
    assert n == pytest.approx(0.0275, abs=1e-9)
    assert n == pytest.approx(0.028, abs=0.001)


def test_cowan_n_7() -> None:
    """Calculator, mid-values after SIR 2006-5108: rock cut, medium plants, appreciable winding."""
    n = cowan_by_name(
        material="rock",
        surface="minor",
        variation="occasional",
        obstruction="minor",
        vegetation="medium",
        winding="appreciable",
    )
    assert n == pytest.approx(0.075, abs=0.001)
    assert n == pytest.approx(0.0650 * 1.15)


def test_cowan_n_8() -> None:
    """Calculator, mid-values after SIR 2006-5108: fine gravel, high plants, severe winding."""
    n = cowan_by_name(
        material="fine gravel",
        surface="moderate",
        variation="frequent",
        obstruction="appreciable",
        vegetation="high",
        winding="severe",
    )
    assert n == pytest.approx(0.142, abs=0.001)
    assert n == pytest.approx(0.109 * 1.30)


def test_cowan_tables() -> None:
    """Phillips and Tadayon 2007, SIR 2006-5108: the middles of its ranges, whole."""
    assert list(COWAN_MATERIAL.values()) == [0.020, 0.025, 0.024, 0.028]
    assert list(COWAN_SURFACE.values()) == [0, 0.005, 0.010, 0.020]
    assert list(COWAN_VARIATION.values()) == [0, 0.005, 0.0125]
    assert list(COWAN_OBSTRUCTION.values()) == [0, 0.0125, 0.025, 0.050]
    assert list(COWAN_VEGETATION.values()) == [0.0075, 0.0175, 0.0375, 0.075]
    assert list(COWAN_WINDING.values()) == [1, 1.15, 1.30]


def test_chow_table() -> None:
    """Chow 1959, table 5-6: eleven of its rows."""
    assert {kind: tuple(n) for kind, n in CHOW.items()} == {
        "clean, straight": (0.025, 0.030, 0.033),
        "winding, some weeds and stones": (0.035, 0.045, 0.050),
        "sluggish, weedy": (0.050, 0.070, 0.080),
        "steep, bed of gravel and cobbles": (0.030, 0.040, 0.050),
        "steep, bed of cobbles and boulders": (0.040, 0.050, 0.070),
        "floodplain, short grass": (0.025, 0.030, 0.035),
        "floodplain, high grass": (0.030, 0.035, 0.050),
        "floodplain, scattered brush": (0.035, 0.050, 0.070),
        "floodplain, medium to dense brush in summer": (0.070, 0.100, 0.160),
        "earth, winding, no vegetation": (0.023, 0.025, 0.030),
        "gravel bed, sides of dry rubble": (0.023, 0.033, 0.036),
    }


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
