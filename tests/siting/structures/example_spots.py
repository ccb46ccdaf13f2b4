"""Invented places at which structure types are tried."""

from __future__ import annotations

from typing import Any

from siting.hydraulics.cross_section import CrossSection
from siting.places.spot import (
    BankfullSize,
    Banks,
    ChannelForm,
    Drop,
    LandAbove,
    Spot,
    SpotFloods,
    Task,
)
from siting.structures.catalogue import structure_types
from siting.structures.structure_type import StructureType
from siting.values.rules import load_rules

RULES = load_rules()
TYPES = structure_types()
UNKNOWN = (float("nan"),) * 6


def floods(q10_m3s: float) -> tuple[float, ...]:
    """Peak flows of 2 to 100 years round that of 10 years."""
    return tuple(q10_m3s * share for share in (0.4, 0.7, 1.0, 1.4, 1.7, 2.0))


#: Where each measure that the tests name stands in a spot.
PARTS: dict[str, tuple[type, dict[str, str]]] = {
    "task": (Task, {n: n for n in ("purpose", "needed_height_m", "below_head", "opens")}),
    "land": (LandAbove, {"drainage_area_ha": "area_ha", "area_complete": "complete"}),
    "drop": (Drop, {"drop_m": "height_m", "drop_error_m": "error_m"}),
    "banks": (
        Banks,
        {
            "bank_width_m": "width_m",
            "bank_depth_m": "depth_m",
            "width_error_m": "width_error_m",
            "depth_error_m": "depth_error_m",
            "bed_width_m": "bed_width_m",
        },
    ),
    "bankfull": (
        BankfullSize,
        {
            "bankfull_width_m": "width_m",
            "bankfull_depth_m": "depth_m",
            "bankfull_sure": "sure",
            "height_limit_m": "height_limit_m",
        },
    ),
    "floods": (
        SpotFloods,
        {
            "q_m3s": "q_m3s",
            "q_high_m3s": "high_m3s",
            "design_period_yr": "design_period_yr",
        },
    ),
    "form": (ChannelForm, {"setting": "setting", "stage": "stage"}),
}


def made_spot(given: dict[str, Any]) -> Spot:
    """A spot from measures by their own names."""
    rest = dict(given)
    parts = {}
    for part, (kind, names) in PARTS.items():
        own = {field: rest.pop(name) for name, field in names.items() if name in rest}
        parts[part] = kind(**own)
    return Spot(**parts, **rest)


def grade_spot(**changes: Any) -> Spot:
    """A small incised channel that asks for grade control; bankfull is sure."""
    base: dict[str, Any] = {
        "purpose": "grade",
        "slope": 0.02,
        "slope_error": 0.002,
        "drainage_area_ha": 3.0,
        "section": CrossSection.trapezoid(2.0, side=1.0, depth_m=0.8),
        "rules": RULES,
        "bank_width_m": 3.6,
        "bank_depth_m": 0.8,
        "depth_error_m": 0.08,
        "bed_width_m": 2.0,
        "bankfull_width_m": 2.5,
        "bankfull_depth_m": 0.45,
        "bankfull_sure": True,
        "height_limit_m": 0.15,
        "q_m3s": floods(0.3),
    }
    given = base | changes
    # unless a test asks for a range, the flow is sure
    return made_spot({"q_high_m3s": given["q_m3s"]} | given)


def depth_by_hand(q_m3s: float, *, bed_m: float = 2.0, slope: float = 0.02) -> float:
    """Manning's depth in a trapezoid with sides 1 to 1 and n = 0.045, by halving."""
    low, high = 0.0, 5.0
    for _ in range(60):
        y = (low + high) / 2
        area, around = (bed_m + y) * y, bed_m + 2 * 2**0.5 * y
        flow = area ** (5 / 3) / around ** (2 / 3) * slope**0.5 / 0.045
        low, high = (y, high) if flow < q_m3s else (low, y)
    return (low + high) / 2


def wide_spot(**changes: Any) -> Spot:
    """A wide swale with low banks."""
    base: dict[str, Any] = {
        "setting": "swale",
        "slope": 0.015,
        "section": CrossSection.trapezoid(7.0, side=1.0, depth_m=0.5),
        "bank_width_m": 8.0,
        "bank_depth_m": 0.4,
        "depth_error_m": 0.05,
        "bed_width_m": 7.0,
    }
    return grade_spot(**(base | changes))


def narrow_spot(**changes: Any) -> Spot:
    """A narrow channel with little water."""
    return grade_spot(**({"bank_width_m": 2.8, "q_m3s": floods(0.1)} | changes))


def head_spot(**changes: Any) -> Spot:
    """A headcut of 0.8 m."""
    base = {"purpose": "vertical", "drop_m": 0.8, "drop_error_m": 0.08}
    return grade_spot(**(base | changes))


def small_head_spot(**changes: Any) -> Spot:
    """A low headcut with little land above it."""
    base = {
        "drop_m": 0.5,
        "drop_error_m": 0.05,
        "drainage_area_ha": 0.4,
        "q_m3s": floods(0.08),
    }
    return head_spot(**(base | changes))


def log_head_spot(**changes: Any) -> Spot:
    """A headcut with so little water that it falls from step to step."""
    return head_spot(**({"q_m3s": floods(0.1)} | changes))


def open_spot(**changes: Any) -> Spot:
    """Open ground where a gully ends."""
    base = {
        "purpose": "spread",
        "opens": True,
        "section": CrossSection.trapezoid(8.0, side=5.0, depth_m=0.3),
        "q_m3s": floods(0.2),
    }
    return grade_spot(**(base | changes))


def road_spot(**changes: Any) -> Spot:
    """A road of 8 %."""
    base = {"purpose": "road", "slope": 0.08, "q_m3s": UNKNOWN, "q_high_m3s": UNKNOWN}
    return grade_spot(**(base | changes))


#: A place that each type fits, by its name.
FITTING = {
    "rock bowl": head_spot,
    "log drop": log_head_spot,
    "rock rundown": small_head_spot,
    "one-rock dam": grade_spot,
    "log mat": wide_spot,
    "wicker weir": narrow_spot,
    "crescent spreader": open_spot,
    "rolling dip": road_spot,
}


def kind_of(name: str) -> StructureType:
    """A type by its name."""
    return TYPES[name]
