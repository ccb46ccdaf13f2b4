"""How sure a drop is a headcut, and what speaks for it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.floating[Any]]


def ramp(values: Any, low: float, high: float) -> FloatArray:
    """0 up to ``low``, 1 from ``high`` on, straight between."""
    return np.clip((np.asarray(values, dtype=np.float64) - low) / (high - low), 0.0, 1.0)


def confidence(
    steps: Mapping[str, FloatArray], from_junction_m: FloatArray, *, unit_m: float
) -> FloatArray:
    """Weigh what speaks for and against drops being headcuts.

    Parameters
    ----------
    steps
        Columns named as in `terrain._kernels.profiles.STEP_COLUMNS`.
    from_junction_m
        Distance of each foot from the larger channel that its stem joins, m.
    unit_m
        Length that the search's windows are multiples of, m.

    Returns
    -------
    numpy.ndarray
        0 to 1. Each consideration is a factor between 0 and 1.
    """
    height = np.maximum(steps["height_m"], 1e-6)
    # incision is evidence beside the drop's own size against the noise, never a filter: nested
    # heads differ, and a drop far above the noise needs no other witness
    deeper = np.clip((steps["below_m"] - steps["above_m"]) / height, -0.5, 0.8)
    against_noise = steps["stand_out_m"] / np.maximum(steps["usual_m"], 1e-6)
    sure = ramp(height, 0.3, 0.6) * ramp(against_noise + 3.0 * deeper, 3.5, 5.0)
    # a step between two straight reaches, not a bend in the profile of a steep one
    sure *= ramp(steps["stand_out_m"] / height, 0.4, 0.75)
    steepest = np.maximum(np.maximum(steps["slope_below"], steps["slope_above"]), 0.03)
    sure *= ramp(height / steps["face_m"] / steepest, 1.8, 3.0)
    # the bed does not climb again below a headcut
    sure *= ramp(steps["slope_below"], -0.25, -0.10)
    # road fills and pond banks: lower ground behind the lip, or cut through to drain
    sure *= 1.0 - ramp(steps["bump_m"], 0.15, 0.40)
    sure *= 1.0 - ramp(steps["cut_m"] / height, 0.5, 0.9)
    # a path over a gully's side: the gully goes on behind the foot, or the foot lies in the
    # larger channel; a notch above the lip says that water has worked back all the same
    notch = ramp(steps["above_m"], 0.14, 0.28)
    sure *= np.maximum(1.0 - ramp(steps["behind_m"] / unit_m, 4.5, 6.5), notch)
    sure *= np.maximum(
        ramp(from_junction_m / unit_m, 1.0, 4.0), notch * ramp(from_junction_m / unit_m, -1.0, 2.0)
    )
    return np.where(steps["height_m"] > 0, sure, 0.0)


def evidence_text(
    steps: Mapping[str, FloatArray], from_junction_m: FloatArray, sure: FloatArray
) -> NDArray[Any]:
    """Say in plain words what each find rests on."""
    out = np.empty(sure.size, dtype=object)
    for i in range(sure.size):
        s = {name: float(column[i]) for name, column in steps.items()}
        parts = [
            f"The bed drops {s['height_m']:.2f} m within {s['face_m']:.1f} m "
            f"(slope {100 * max(s['slope_below'], 0):.0f} % below, "
            f"{100 * max(s['slope_above'], 0):.0f} % above)."
        ]
        deeper = s["below_m"] - s["above_m"]
        if deeper > 0.25 * s["height_m"]:
            parts.append(f"Below it the bed is cut {deeper:.1f} m deeper into the ground.")
        else:
            parts.append("The bed is not clearly deeper below than above.")
        if s["bump_m"] > 0.15 or s["cut_m"] > 0.5 * s["height_m"]:
            parts.append("Ground behind the lip lies lower: it may be a fill or a bank.")
        if s["behind_m"] > 5.0 or from_junction_m[i] < 3.0:
            parts.append("The path may only fall over the side of a deeper channel.")
        if sure[i] < 0.5:
            parts.append("Check on site.")
        out[i] = " ".join(parts)
    return out
