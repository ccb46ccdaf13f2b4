"""How sure a drop is a headcut, and what speaks for it.

Few witnesses are weighed against each other; each is 0 to 1 and none can speak against a drop by
growing. Their sum gives a probability (logistic). Ramps and weights were fitted on real marks and
invented grounds at once by `tests.accuracy.fit_confidence`; no published measure of headcuts below
a metre in lidar was found. One of the witnesses is the test of a sharp drop that is passed least.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.values.wording import metres
from terrain.values.arrays import FloatArray


def ramp(values: Any, low: float, high: float) -> FloatArray:
    """0 up to ``low``, 1 from ``high`` on, straight between; of the shape of ``values``."""
    return np.clip((np.asarray(values, dtype=np.float64) - low) / (high - low), 0.0, 1.0)


@dataclass(frozen=True, slots=True)
class Witness:
    """One thing that speaks for a headcut.

    Parameters
    ----------
    low, high
        Values of its measure at which it says nothing, and all that it can.
    weight
        What it then adds to the logit of the probability.
    meaning
        In plain words.
    """

    low: float
    high: float
    weight: float
    meaning: str


#: Logit of the probability where no witness speaks.
NO_WITNESS = -6.91
WITNESSES: Mapping[str, Witness] = {
    "sharp": Witness(0.0, 1.0, 1.93, "it passes all tests of a sharp drop"),
    "wall behind": Witness(-9.0, -2.0, 1.86, "no low ground goes on behind its foot"),
    "unusual": Witness(0.19, 2.27, 2.27, "the bed falls more than it usually does nearby"),
    "lip stands out": Witness(-0.42, -0.12, 1.57, "little ground around the lip lies below it"),
    "high": Witness(-0.83, 0.68, 0.81, "its height"),
    "steeper": Witness(-1.25, 0.49, 1.00, "it is more than the bed around it makes"),
    "cut below": Witness(0.0, 1.0, 0.92, "the bed is cut deeper below it than above"),
    "water": Witness(-1.5, -0.53, 0.68, "the land that drains over it"),
}


def measures_of(
    steps: Mapping[str, FloatArray], sharp: FloatArray, drainage_area_ha: FloatArray
) -> dict[str, FloatArray]:
    """Measures that the witnesses look at, by their names.

    Parameters
    ----------
    steps
        Measures of `terrain.channels.bed_drops.BedDrops`, each ``(n,)``.
    sharp
        The test of a sharp drop that is passed least, 0 to 1, ``(n,)``.
    drainage_area_ha
        Land that drains over each drop, ha, ``(n,)``.
    """
    height = np.maximum(steps["height_m"], 0.1)
    over_usual = (steps["near_drop_m"] - steps["usual_drop_m"]) / (0.05 + steps["drop_spread_m"])
    return {
        "sharp": np.asarray(sharp, dtype=np.float64),
        "wall behind": -steps["behind_m"],
        "unusual": np.log(np.maximum(over_usual, 0.1)),
        "lip stands out": -steps["lip_low"],
        "high": np.log(height),
        "steeper": np.log(np.maximum(steps["excess_m"], 0.1)),
        "cut below": (steps["below_m"] - steps["above_m"]) / height,
        "water": np.log10(np.maximum(drainage_area_ha, 0.01)),
    }


def testimony(measures: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """What each witness says, 0 to 1, from the measures that it looks at, each ``(n,)``."""
    return {name: ramp(measures[name], w.low, w.high) for name, w in WITNESSES.items()}


def sharp_tests(
    steps: Mapping[str, FloatArray],
    from_junction_m: FloatArray,
    drainage_area_ha: FloatArray,
    *,
    unit_m: float,
    cell_m: float,
) -> dict[str, FloatArray]:
    """Say how well drops pass each test of a sharp headcut.

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


def sharpness(
    steps: Mapping[str, FloatArray],
    from_junction_m: FloatArray,
    drainage_area_ha: FloatArray,
    *,
    unit_m: float,
    cell_m: float,
) -> FloatArray:
    """Return the test of a sharp drop that each of n passes least, 0 to 1; see `sharp_tests`."""
    tests = sharp_tests(steps, from_junction_m, drainage_area_ha, unit_m=unit_m, cell_m=cell_m)
    return np.where(steps["height_m"] > 0, np.minimum.reduce(list(tests.values())), 0.0)


def confidence(
    steps: Mapping[str, FloatArray],
    from_junction_m: FloatArray,
    drainage_area_ha: FloatArray,
    *,
    unit_m: float,
    cell_m: float,
) -> FloatArray:
    """Weigh what speaks for drops being headcuts.

    Parameters are those of `sharp_tests`.

    Returns
    -------
    numpy.ndarray
        Probability, 0 to 1, ``(n,)``.
    """
    sharp = sharpness(steps, from_junction_m, drainage_area_ha, unit_m=unit_m, cell_m=cell_m)
    said = testimony(measures_of(steps, sharp, drainage_area_ha))
    logit = NO_WITNESS + sum(w.weight * said[name] for name, w in WITNESSES.items())
    return np.where(steps["height_m"] > 0, 1.0 / (1.0 + np.exp(-logit)), 0.0)


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
