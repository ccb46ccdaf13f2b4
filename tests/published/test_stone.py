"""Stability of stone on banks and beds against the worked problems of FHWA HDS-6."""

import math

import pytest

from siting.hydraulics.stone_on_slopes import (
    bank_d50_m,
    bank_safety,
    bank_stability_number,
    bed_stability_number,
    repose_ratio,
    stability_number,
)
from tests.published.printed import answer


def test_bank_rk_6() -> None:
    """FHWA HDS-6 p. 6.24: repose 45, bank 25 degrees, safety 1.5."""
    answer(repose_ratio(25, 45), 2.14, of="RK-6", abs=0.005)
    answer(bank_stability_number(25, 45, safety=1.5), 0.31, of="RK-6", abs=0.005)


def test_bank_rk_7() -> None:
    """FHWA HDS-6 p. 6.56, problem 2a: 95.8 N/m2, bank 20, repose 40 degrees, safety 1.5."""
    answer(bank_stability_number(20, 40, safety=1.5), 0.36, of="RK-7", abs=0.005)
    # printed from the rounded 0.36
    answer(stability_number(95.8, 1.0) / 0.36, 0.35, of="RK-7", abs=0.005)
    exact = stability_number(95.8, 1.0) / bank_stability_number(20, 40, safety=1.5)
    assert bank_d50_m(95.8, 20, repose_deg=40, safety=1.5) == pytest.approx(exact)


def test_bank_rk_8() -> None:
    """FHWA HDS-6 p. 6.56, problem 2b: the same bank with stone of 0.15 m; its safety computed."""
    eta = stability_number(95.8, 0.15)
    answer(eta, 0.83, of="RK-8", abs=0.005)
    answer(repose_ratio(20, 40), 2.31, of="RK-8", abs=0.005)
    assert bank_safety(95.8, 0.15, bank_deg=20, repose_deg=40) == pytest.approx(0.94, abs=0.005)


def test_bed_rk_9() -> None:
    """FHWA HDS-6 p. 6.65, problem 1: a bed of 2.35 degrees (4.1 %) changes the number by 5 %."""
    assert bed_stability_number(2.35, 40) == pytest.approx(1 - 0.05, abs=0.0005)
    low, high = 0.1, 10.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if bed_stability_number(middle, 40) > 0.95 else (low, middle)
    answer(low, 2.35, of="RK-9", abs=0.02)
    answer(math.tan(math.radians(low)) * 100, 4.1, of="RK-9", abs=0.05)
