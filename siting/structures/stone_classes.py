"""Sizes of stone as they are told and ordered: whole centimetres, and the largest by the median."""

from __future__ import annotations

import math

from siting.values.rules import Rules


def whole_cm(size_m: float) -> float:
    """Round a size of stone up to whole centimetres: stones are told no finer."""
    return round(math.ceil(100 * size_m - 1e-6) / 100, 2)


def largest_m(rules: Rules, d50_m: float) -> float:
    """Largest of stone that is sorted by hand, by its median, in whole centimetres."""
    return whole_cm(rules.value("stone.sorted") * d50_m)


def median_m(rules: Rules, largest: float) -> float:
    """Smallest median of sorted stone whose largest reach a size, in whole centimetres."""
    d50 = math.floor(100 * largest / rules.value("stone.sorted") + 1e-6) / 100
    while largest_m(rules, d50) < largest - 1e-9:
        d50 = round(d50 + 0.01, 2)
    return d50
