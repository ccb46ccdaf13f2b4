"""How sure a drop is a headcut, and what speaks for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.values.wording import metres
from terrain.values.arrays import FloatArray


def ramp(values: Any, low: float, high: float) -> FloatArray:
    """0 up to ``low``, 1 from ``high`` on, straight between; of the shape of ``values``."""
    return np.clip((np.asarray(values, dtype=np.float64) - low) / (high - low), 0.0, 1.0)


def witnesses(
    steps: Mapping[str, FloatArray],
    from_junction_m: FloatArray,
    drainage_area_ha: FloatArray,
    *,
    unit_m: float,
    cell_m: float,
) -> dict[str, FloatArray]:
    """Say how well drops pass each test of a headcut.

    Parameters
    ----------
    steps
        Measures of `terrain.channels.bed_drops.BedDrops`, each ``(n,)``.
    from_junction_m
        Distance of each foot from the larger channel that its stem joins, m, ``(n,)``.
    drainage_area_ha
        Land that drains over each drop, ha, ``(n,)``.
    unit_m
        Length that the search's windows are multiples of, m.
    cell_m
        Size of a cell, m.

    Returns
    -------
    dict
        0 (fails) to 1 (passes), ``(n,)``, by name of the test.
    """
    height = np.maximum(steps["height_m"], 1e-6)
    # incision is evidence beside the drop's own size against the noise, never a filter: nested
    # heads differ, and a drop far above the noise needs no other witness
    deeper = np.clip((steps["below_m"] - steps["above_m"]) / height, -0.5, 0.8)
    against_noise = steps["stand_out_m"] / np.maximum(steps["usual_m"], 1e-6)
    steepest = np.maximum(np.maximum(steps["slope_below"], steps["slope_above"]), 0.03)
    # cells spread a wall over one of them
    face = np.maximum(steps["face_m"] - cell_m, 0.5 * cell_m)
    lasting = steps["lasting_m"] / height
    cut = 1.0 - ramp(steps["cut_m"] / height, 0.4, 0.8)
    # ground stands high around the foot ("walls around"), less so where a steep face is wide; on a
    # ramp or a steep reach it does not
    # the gully goes on behind the foot of a path over its side, and behind the mouth of one; a
    # notch above the lip, or walls close beside the face, say that water has worked back
    notch = ramp(steps["notch_m"], 0.14, 0.28)
    ends = 1.0 - ramp(steps["behind_m"] / unit_m, 4.5, 6.5)
    walled = ramp(steps["flank_m"] / height, 0.3, 0.5)
    walled = np.minimum(walled, 1.0 - ramp(steps["behind_m"] / unit_m, 3.5, 5.0))
    away = ramp(from_junction_m / unit_m, 1.0, 4.0)
    near = notch * ramp(from_junction_m / unit_m, -1.0, 2.0)
    # so much water falling over a side is a head of its own, whatever else lies behind its foot
    much = ramp(drainage_area_ha, 4.0, 8.0)
    return {
        "high": ramp(height / np.sqrt(unit_m), 0.25, 0.55),  # larger cells blur low drops
        "above noise": ramp(against_noise + 3.0 * deeper, 2.7, 4.7),
        "no bend": ramp(steps["stand_out_m"] / height, 0.35, 0.75),
        "steeper than the reach": ramp(height / face / steepest, 2.0, 4.0),
        "face": ramp(height / face, 0.12, 0.3),
        "walls around": np.maximum(
            ramp(steps["closed"], 0.35, 0.5),
            np.minimum(ramp(steps["closed"], 0.25, 0.38), ramp(height / face, 0.5, 1.0)),
        ),
        "lasting": np.where(np.isnan(lasting), cut, ramp(lasting, 0.2, 0.5)),
        "no bank": 1.0 - ramp(steps["bump_m"], 0.15, 0.40),
        "no side": np.maximum(np.maximum(ends, notch), much),
        "no mouth": np.maximum(np.maximum(away, near), walled),
    }


def confidence(
    steps: Mapping[str, FloatArray],
    from_junction_m: FloatArray,
    drainage_area_ha: FloatArray,
    *,
    unit_m: float,
    cell_m: float,
) -> FloatArray:
    """Weigh what speaks for and against drops being headcuts.

    Parameters are those of `witnesses`.

    Returns
    -------
    numpy.ndarray
        0 to 1, ``(n,)``: as sure as the test that is passed least.
    """
    tests = witnesses(steps, from_junction_m, drainage_area_ha, unit_m=unit_m, cell_m=cell_m)
    return np.where(steps["height_m"] > 0, np.minimum.reduce(list(tests.values())), 0.0)


def evidence_text(
    steps: Mapping[str, FloatArray], from_junction_m: FloatArray, sure: FloatArray
) -> NDArray[Any]:
    """Say in plain words what each of n finds rests on; all arrays ``(n,)``."""
    out = np.empty(sure.size, dtype=object)
    for i in range(sure.size):
        s = {name: float(column[i]) for name, column in steps.items()}
        parts = [
            f"The bed drops {metres(s['height_m'])} within {metres(s['face_m'])} "
            f"(slope {100 * max(s['slope_below'], 0):.0f} % below, "
            f"{100 * max(s['slope_above'], 0):.0f} % above)."
        ]
        deeper = s["below_m"] - s["above_m"]
        if deeper > 0.25 * s["height_m"]:
            parts.append(f"Below it the bed is cut {metres(deeper)} deeper into the ground.")
        else:
            parts.append("The bed is not clearly deeper below than above.")
        if s["bump_m"] > 0.25 or s["lasting_m"] < 0.35 * s["height_m"]:
            parts.append("Further up the bed lies lower again: it may be a fill or a bank.")
        if s["behind_m"] > 5.0 or from_junction_m[i] < 3.0:
            parts.append("The path may only fall over the side of a deeper channel.")
        if sure[i] < 0.5:
            parts.append("Check on site.")
        out[i] = " ".join(parts)
    return out
