"""Roughness against the calculator of the U.S. Army Corps of Engineers.

It follows McKay and Fischenich 2011, ERDC/CHL CHETN-VII-11; its version was not kept.
"""

import pytest

from siting.hydraulics.roughness import (
    bathurst,
    cowan_by_name,
    jarrett,
    limerinos,
    strickler,
)


def test_jarrett_n_1() -> None:
    """Calculator after CHETN-VII-11: radius 0.3 m, slope 0.03."""
    assert jarrett(0.3, 0.03) == pytest.approx(0.102, abs=0.001)


def test_jarrett_n_2() -> None:
    """Calculator after CHETN-VII-11: radius 1 m, slope 0.015."""
    assert jarrett(1.0, 0.015) == pytest.approx(0.065, abs=0.001)


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
