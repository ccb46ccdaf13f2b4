"""Roughness against printed tables."""

from siting.hydraulics.roughness import (
    CHOW,
    COWAN_MATERIAL,
    COWAN_OBSTRUCTION,
    COWAN_SURFACE,
    COWAN_VARIATION,
    COWAN_VEGETATION,
    COWAN_WINDING,
)

FT = 0.3048


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
