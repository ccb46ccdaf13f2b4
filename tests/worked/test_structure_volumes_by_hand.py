"""Aprons, volumes, spillways and stone masses against figures worked by hand.

Sources: Heede 1976, USDA Forest Service Research Paper RM-169 (aprons, cross-section, spillway;
from memory); masses of round stones computed at 2650 kg/m3.
"""

import math

import pytest

from siting.hydraulics.rockwork import apron_m, one_rock_volume_m3
from siting.hydraulics.stone import stone_mass_kg
from terrain.values.errors import ParameterError

#: Loose stone with its gaps, t/m3 (common practice, no published source).
LOOSE_T_M3 = 1.6


def test_apron() -> None:
    """Computed from Heede 1976 (from memory): 0.6 m high at slopes of 0.10 and 0.20."""
    assert apron_m(0.6, 0.10) == pytest.approx(0.90)
    assert apron_m(0.6, 0.20) == pytest.approx(1.05)
    assert apron_m(1.0, 0.15) == pytest.approx(1.5)
    assert apron_m(1.0, math.nextafter(0.15, 1)) == pytest.approx(1.75)


def test_one_rock_volume() -> None:
    """Computed: 3 m wide, 2 m long, stone of 0.2 m; loose stone of 1.6 t/m3 (common practice)."""
    volume = one_rock_volume_m3(3.0, 2.0, 0.2)
    assert volume == pytest.approx(1.2)
    assert volume * LOOSE_T_M3 == pytest.approx(1.9, abs=0.05)


@pytest.mark.parametrize(
    ("diameter_cm", "mass_kg"),
    [(10, 1.4), (15, 4.7), (20, 11.1), (25, 21.7), (30, 37.5), (45, 126)],
)
def test_stone_masses(diameter_cm: float, mass_kg: float) -> None:
    """Computed: spheres of 2650 kg/m3."""
    near = 0.5 if mass_kg > 100 else 0.05
    assert stone_mass_kg(diameter_cm / 100) == pytest.approx(mass_kg, abs=near)


@pytest.mark.parametrize("bad", [-0.1, float("nan"), float("inf")])
def test_impossible_sizes_are_refused(bad: float) -> None:
    for call in (
        lambda: apron_m(bad, 0.1),
        lambda: apron_m(0.5, bad),
        lambda: one_rock_volume_m3(3, bad, 0.2),
        lambda: stone_mass_kg(bad),
        lambda: stone_mass_kg(0.2, bad),
    ):
        with pytest.raises(ParameterError, match="expected"):
            call()
