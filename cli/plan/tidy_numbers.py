"""Numbers rounded for a file so that a reader who rounds them again is not led astray."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from terrain.values.reader_units import FOOT_M, INCHES_BELOW_M

#: Significant figures that numbers are shown with; where the field holds as many, one more.
_SHOWN = 2
#: Decimals that are added at the most.
_MORE = 8
_INCHES_BELOW_FT = INCHES_BELOW_M / FOOT_M


def tidy(values: NDArray[np.float64], decimals: int, *, feet: bool = False) -> NDArray[np.float64]:
    """Round to so many decimals, but never onto the half of a figure that is shown.

    2.648 written as 2.65 would be read as 2.7 beside a sentence that says 2.6. Such a number, and
    one too small for two figures, keeps the decimals that it takes to read the same.

    Parameters
    ----------
    values
        Exact numbers, any shape; NaN stays.
    decimals
        Decimals kept as a rule.
    feet
        Whether they are lengths in feet, which are shown in inches below two feet.

    Returns
    -------
    numpy.ndarray
        Rounded numbers, each within half of its last digit; rounded again they stay.
    """
    exact = np.asarray(values, dtype=np.float64)
    out = np.round(exact, decimals)
    known = np.isfinite(exact) & (np.abs(exact) >= (0.5 - 1e-9) * 10.0**-decimals)
    out[known] = _tidied(exact[known], decimals, feet=feet)
    return out


def _tidied(exact: NDArray[np.float64], decimals: int, *, feet: bool) -> NDArray[np.float64]:
    scale = 10.0 ** np.maximum(decimals, _SHOWN - 1 - np.floor(np.log10(np.abs(exact))))
    out: NDArray[np.float64] = np.rint(exact * scale) / scale
    left = np.ones(exact.shape, dtype=np.bool_)
    steps: list[NDArray[np.float64]] = []
    for _ in range(_MORE + 1):
        choice = np.rint(exact * scale) / scale
        good = left & _reads_alike(exact, choice, 1.0 / scale, feet=feet)
        for step in steps:
            good &= _same_step(exact, choice, step)
        out[good] = choice[good]
        left &= ~good
        if not left.any():
            break
        steps.append(1.0 / scale)
        scale = scale * 10
    return out


def _reads_alike(
    exact: NDArray[np.float64],
    written: NDArray[np.float64],
    last: NDArray[np.float64],
    *,
    feet: bool,
) -> NDArray[np.bool_]:
    """Whether both give the same shown figure, the written one without standing on a half."""
    step = 10.0 ** (np.floor(np.log10(np.abs(exact))) - _SHOWN + 1)
    same = _same_step(exact, written, step)
    same &= _same_step(exact, written, step / 10) | (step / 10 < 0.999 * last)
    if feet:
        inch = 12.0 * np.abs(exact)
        step = np.where(inch < 1.0, 0.1, np.where(inch < 10.0, 0.5, 1.0))
        short = np.abs(exact) < _INCHES_BELOW_FT
        same &= _same_step(12.0 * exact, 12.0 * written, step) | ~short
        same &= short == (np.abs(written) < _INCHES_BELOW_FT)
    return same


def _same_step(
    exact: NDArray[np.float64], written: NDArray[np.float64], step: NDArray[np.float64]
) -> NDArray[np.bool_]:
    a, b = exact / step, written / step
    shown = np.round(a)
    half = _on_half(a)
    # The reader's own rounding turns a half up or down: 1.95 is shown as 1.9, as its binary is.
    shown[half] = [_shown_steps(v, s) for v, s in zip(exact[half], step[half], strict=True)]
    same = (np.abs(a - b) < 1e-9) | ((shown == np.round(b)) & ~_on_half(b))
    return np.asarray(same, dtype=np.bool_)


def _on_half(steps: NDArray[np.float64]) -> NDArray[np.bool_]:
    return np.asarray(np.abs(np.abs(steps - np.floor(steps)) - 0.5) < 1e-9, dtype=np.bool_)


def _shown_steps(value: float, step: float) -> int:
    """Steps of a number as `terrain.values.reader_units` rounds it."""
    value = float(f"{value:.12g}")
    places = -math.log10(step)
    if abs(places - round(places)) > 1e-6:  # half inches
        return round(value / step)
    return round(round(value, round(places)) / step)
