"""The methods side by side: which one to use at each site."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from siting.floods.flood_errors import FloodInputError
from siting.floods.flood_method import FloodEstimate
from terrain.values.arrays import FloatArray, frozen

# Order in which a method is taken when its limits hold. The unit hydrograph comes first because it
# uses the place's own short storms; common practice, no published source.
PREFERENCE: Final = ("unit_hydrograph", "graphical", "rational", "regional")


@dataclass(frozen=True, slots=True)
class Choice:
    """The flow used at each of n sites for one return period; arrays ``(n,)``.

    Parameters
    ----------
    method
        Name of the method used; empty where no method gives a value.
    value_m3s, low_m3s, high_m3s
        Likely flow and range in m3/s.
    limits_met
        True where the limits of the method used hold.
    """

    return_period_yr: float
    method: npt.NDArray[np.str_]
    value_m3s: FloatArray
    low_m3s: FloatArray
    high_m3s: FloatArray
    limits_met: npt.NDArray[np.bool_]


def in_order(names: Iterable[str], preference: Sequence[str] = PREFERENCE) -> list[str]:
    """Sort names of methods by preference; those that it does not name come last, by name."""
    given = set(names)
    return [n for n in preference if n in given] + sorted(given - set(preference))


def choose(
    estimates: Mapping[str, FloodEstimate], *, preference: Sequence[str] = PREFERENCE
) -> Choice:
    """Take at each site the first method, in order of preference, whose limits hold.

    Where no method is inside its limits, the first one that gives a value is taken and `limits_met`
    is False there. Methods that `preference` does not name come last, by name.

    Raises
    ------
    FloodInputError
        When there is no estimate, or they are for different return periods.
    """
    names = in_order(estimates, preference)
    if not names:
        raise FloodInputError("no flood estimate to choose from", expected="at least one method")
    _same_period([estimates[n] for n in names])
    first = estimates[names[0]]
    shape = first.value_m3s.shape
    picked = np.full(shape, -1)
    for ranked in (
        [estimates[n].limits_met for n in names],
        [np.isfinite(estimates[n].value_m3s) for n in names],
    ):
        for number, fits in enumerate(ranked):
            picked = np.where((picked < 0) & fits, number, picked)

    def take(arrays: Sequence[npt.NDArray[np.generic]], empty: object) -> npt.NDArray[np.generic]:
        stacked = np.array(arrays)
        taken = np.take_along_axis(stacked, np.maximum(picked, 0)[None], axis=0)[0]
        return np.where(picked >= 0, taken, np.asarray(empty))

    rows = [estimates[n] for n in names]
    method = np.where(picked >= 0, np.array(names)[np.maximum(picked, 0)], "")
    return Choice(
        return_period_yr=first.return_period_yr,
        method=method,
        value_m3s=frozen(take([r.value_m3s for r in rows], np.nan)),
        low_m3s=frozen(take([r.low_m3s for r in rows], np.nan)),
        high_m3s=frozen(take([r.high_m3s for r in rows], np.nan)),
        limits_met=take([r.limits_met for r in rows], False).astype(np.bool_),
    )


def _same_period(estimates: Sequence[FloodEstimate]) -> None:
    periods = {e.return_period_yr for e in estimates}
    if len(periods) > 1:
        raise FloodInputError(
            f"estimates for {', '.join(f'{p:g}' for p in sorted(periods))} years together",
            expected="one return period at a time",
        )
