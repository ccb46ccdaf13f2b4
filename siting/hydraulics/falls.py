"""Water that falls over a step into a pool: how deep it scours stone, and where it lands.

A fall digs until the pool is so deep that its stone stays. A pool that is dug as deep from the
beginning, and laid with that stone, is not scoured further: so the formulas for the depth of scour,
turned round, give the stone for a pool. Unit discharge, height of the fall and depth of the pool
all enter. Sources: Bezzola 2012, lecture notes *Flussbau*, ETH Zurich, as a package of river
engineering gives them (Kolatus, in other texts Kotoulas; Tschopp and Bisaz); Rand 1955, Proceedings
of the American Society of Civil Engineers 81, paper 791 (where the jet lands, as a design sheet for
vertical drops gives it); Chanson 2002, *The Hydraulics of Stepped Chutes and Spillways* (from
memory).
"""

from __future__ import annotations

import math
from typing import Final

from siting.hydraulics.open_channel import GRAVITY_MPS2, critical_unit_depth_m
from terrain.values.errors import ParameterError

#: Range of q^0.5 h^0.25 / d90 for which Tschopp and Bisaz hold, m and s.
TSCHOPP_BISAZ_RANGE: Final = (5.0, 25.0)


def kolatus_depth_m(unit_flow_m2s: float, fall_m: float, d90_m: float) -> float:
    """Depth of scour below the water of the pool, 0.78 h^0.35 q^0.7 / d90^0.4, m.

    Parameters
    ----------
    unit_flow_m2s
        Flow per metre of width.
    fall_m
        From the water above the step to that of the pool.
    d90_m
        Diameter of the bed's stone that 90 % of its mass is finer than.

    Notes
    -----
    Kolatus, a free fall over its whole width. The range of the tests is not known.
    """
    q, h = _at_least_zero(unit_flow_m2s, "a unit flow"), _at_least_zero(fall_m, "a fall")
    return float(0.78 * h**0.35 * q**0.7 / _above_zero(d90_m, "a stone diameter") ** 0.4)


def kolatus_d90_m(unit_flow_m2s: float, fall_m: float, depth_m: float) -> float:
    """Stone that a fall does not scour in a pool of a depth below its water, m.

    `kolatus_depth_m` solved for d90: (0.78 h^0.35 q^0.7 / depth)^2.5.
    """
    q, h = _at_least_zero(unit_flow_m2s, "a unit flow"), _at_least_zero(fall_m, "a fall")
    return float((0.78 * h**0.35 * q**0.7 / _above_zero(depth_m, "a pool depth")) ** 2.5)


def tschopp_bisaz_depth_m(unit_flow_m2s: float, fall_m: float, d90_m: float) -> float:
    """Depth of scour below the water of the pool, 2.76 q^0.5 h^0.25 - 7.22 d90, m; not below 0.

    Tschopp and Bisaz; see `TSCHOPP_BISAZ_RANGE` and `tschopp_bisaz_number`.
    """
    d90 = _above_zero(d90_m, "a stone diameter")
    return max(2.76 * _root(unit_flow_m2s, fall_m) - 7.22 * d90, 0.0)


def tschopp_bisaz_d90_m(unit_flow_m2s: float, fall_m: float, depth_m: float) -> float:
    """Stone that a fall does not scour in a pool, `tschopp_bisaz_depth_m` solved for d90, m."""
    depth = _above_zero(depth_m, "a pool depth")
    return max(2.76 * _root(unit_flow_m2s, fall_m) - depth, 0.0) / 7.22


def tschopp_bisaz_number(unit_flow_m2s: float, fall_m: float, d90_m: float) -> float:
    """Value of q^0.5 h^0.25 / d90 that tells whether the formula of Tschopp and Bisaz holds."""
    return _root(unit_flow_m2s, fall_m) / _above_zero(d90_m, "a stone diameter")


def drop_number(unit_flow_m2s: float, drop_m: float) -> float:
    """Rand's drop number, q^2 / (g y^3)."""
    q = _at_least_zero(unit_flow_m2s, "a unit flow")
    return q * q / (GRAVITY_MPS2 * _above_zero(drop_m, "a drop") ** 3)


def landing_m(unit_flow_m2s: float, drop_m: float) -> float:
    """Distance from a straight step to where its jet meets the floor, 4.30 D^0.27 y, m.

    Parameters
    ----------
    drop_m
        From the crest of the step to the floor.
    """
    return float(4.30 * drop_number(unit_flow_m2s, drop_m) ** 0.27 * drop_m)


def falls_step_by_step(unit_flow_m2s: float, step_m: float, tread_m: float) -> bool:
    """Whether water falls from step to step and does not skim over their edges.

    Nappe flow as long as critical depth over the height of a step is at most 0.89 - 0.4 times
    height over length of a step (Chanson 2002, from memory).
    """
    step, tread = _above_zero(step_m, "a step"), _above_zero(tread_m, "a tread")
    return critical_unit_depth_m(unit_flow_m2s) / step <= 0.89 - 0.4 * step / tread


def jet_velocity_mps(fall_m: float) -> float:
    """Speed at which water strikes after a fall, sqrt(2 g h), m/s."""
    return math.sqrt(2 * GRAVITY_MPS2 * _at_least_zero(fall_m, "a fall"))


def _root(unit_flow_m2s: float, fall_m: float) -> float:
    q, h = _at_least_zero(unit_flow_m2s, "a unit flow"), _at_least_zero(fall_m, "a fall")
    return math.sqrt(q) * float(h**0.25)


def _above_zero(value: float, what: str) -> float:
    if not 0 < value < math.inf:
        raise ParameterError(f"{what} of {value:g}", expected="above zero")
    return float(value)


def _at_least_zero(value: float, what: str) -> float:
    if not 0 <= value < math.inf:
        raise ParameterError(f"{what} of {value:g}", expected="zero or more")
    return float(value)
