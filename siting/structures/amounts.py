"""What structures take, counted from their sizes."""

from __future__ import annotations

import math

from siting.structures.stone_classes import largest_m
from siting.structures.structure_type import Amount
from siting.values.rules import Rules

#: Largest stone up to which a median and its largest lie within the class of small stone, of 10 to
#: 20 cm, and of medium stone, of 15 to 30 cm; what is larger is of 20 to 45 cm.
SMALL_M, MEDIUM_M = 0.20, 0.30


def stone_item(rules: Rules, d50_m: float) -> str:
    """Size class to order: one that holds the median and the largest that are asked for."""
    largest = largest_m(rules, d50_m)
    if largest <= SMALL_M:
        return "stone_small"
    return "stone_medium" if largest <= MEDIUM_M else "stone_large"


def stone(rules: Rules, volume_m3: float, *, d50_m: float, note: str) -> Amount:
    """Tonnes of loose stone in a volume, gaps included."""
    tonnes = volume_m3 * rules.value("stone.bulk_density")
    return Amount(stone_item(rules, d50_m), tonnes, note)


def chinking(rules: Rules, volume_m3: float, *, note: str) -> Amount:
    """Gravel that fills the gaps of a volume of stone."""
    return Amount("gravel", volume_m3 * rules.value("stone.chinking"), note)


def bags(rules: Rules, volume_m3: float, *, note: str) -> Amount:
    """Fabric for bags that hold a volume of gravel."""
    return Amount("fabric", volume_m3 * rules.value("logs.bag_fabric"), note)


def seed(rules: Rules, length_m: float, crest_m: float) -> Amount:
    """Seed for the ground that the work leaves bare."""
    worked = length_m * crest_m * rules.value("seed.area")
    return Amount("seed", worked * rules.value("seed.rate"), "on worked ground and fill")


def count(length_m: float, spacing_m: float) -> int:
    """Pieces along a length at a spacing that is not exceeded, both ends included."""
    return math.ceil(length_m / spacing_m - 1e-9) + 1
