"""A rainfall table: depth by duration and return period, and how it is interpolated.

The readers are in `rainfall_reading`. Depths are millimetres, durations hours, return periods
years.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from siting.floods.flood_errors import RainfallError, RainfallRangeError
from terrain.values.arrays import ArrayLike, FloatArray, floats, frozen

Series = Literal["partial", "annual", "unstated"]

# A duration or return period this close to a printed one is that one (rounding of 1/3 h and the
# like).
_SAME = 1.0e-6


@dataclass(frozen=True, slots=True)
class RainBounds:
    """Printed confidence bounds of a rainfall table.

    Parameters
    ----------
    low_mm, high_mm
        Lower and upper bound of every depth in millimetres, shape (d, r).
    name
        What the table calls them: ``90 % confidence bounds``.
    """

    low_mm: FloatArray
    high_mm: FloatArray
    name: str = "confidence bounds"

    def __post_init__(self) -> None:
        for name in ("low_mm", "high_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


@dataclass(frozen=True, slots=True)
class Rainfall:
    """Rainfall depths at a place.

    Parameters
    ----------
    durations_h
        Storm durations in hours, rising, shape (d,).
    return_periods_yr
        Return periods in years, rising, shape (r,).
    depths_mm
        Rainfall depth in millimetres, shape (d, r).
    source
        Where the numbers come from, in words a person can check.
    series
        ``partial`` (partial-duration series), ``annual`` (annual maximum series) or ``unstated``.
    notes
        Plain remarks that belong in a report.
    bounds
        Confidence bounds of the depths where the table prints them; None where it does not.

    Raises
    ------
    RainfallError
        When a depth is missing, zero or negative, when rain falls as the duration or the return
        period grows, which no real table does, or when a depth lies outside its own bounds.
    """

    durations_h: FloatArray
    return_periods_yr: FloatArray
    depths_mm: FloatArray
    source: str
    series: Series = "unstated"
    notes: tuple[str, ...] = field(default=())
    bounds: RainBounds | None = None

    def __post_init__(self) -> None:
        for name in ("durations_h", "return_periods_yr", "depths_mm"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        _check_axis(self.durations_h, what="duration", unit="hours")
        _check_axis(self.return_periods_yr, what="return period", unit="years")
        if self.depths_mm.shape != (self.durations_h.size, self.return_periods_yr.size):
            raise RainfallError(
                f"a rainfall table of {self.depths_mm.shape} depths for {self.durations_h.size} "
                f"durations and {self.return_periods_yr.size} return periods",
                expected="one depth for each pair",
            )
        self._check_depths()
        self._check_bounds()

    def _check_bounds(self) -> None:
        bounds = self.bounds
        if bounds is None:
            return
        if not bounds.low_mm.shape == bounds.high_mm.shape == self.depths_mm.shape:
            raise RainfallError(
                f"rainfall bounds of {bounds.low_mm.shape} and {bounds.high_mm.shape} for "
                f"depths of {self.depths_mm.shape}",
                expected="one lower and one upper bound for each depth",
            )
        low, high = bounds.low_mm, bounds.high_mm
        apart = np.argwhere(~((low > 0) & (low <= self.depths_mm) & (self.depths_mm <= high)))
        if apart.size:
            row, col = (int(v) for v in apart[0])
            raise RainfallError(
                f"a rainfall depth of {self.depths_mm[row, col]:.4g} mm for "
                f"{self._where(row, col)} between bounds of {low[row, col]:.4g} and "
                f"{high[row, col]:.4g} mm",
                expected="a lower bound above zero, then the depth, then the upper bound",
                do="check that bounds and estimates are of one place and in one unit",
            )

    def at_bound(self, end: Literal["low", "high"]) -> Rainfall | None:
        """Return the table with the depths of one end of its bounds; None where it has none.

        Where rounding makes a printed bound fall as storms get longer or rarer, which no rain
        does, the value further out is held.
        """
        if self.bounds is None:
            return None
        if end == "high":
            depths = np.maximum.accumulate(self.bounds.high_mm, axis=0)
            depths = np.maximum.accumulate(depths, axis=1)
        else:
            depths = np.minimum.accumulate(self.bounds.low_mm[::-1, ::-1], axis=0)
            depths = np.minimum.accumulate(depths, axis=1)[::-1, ::-1]
        return replace(self, depths_mm=depths, bounds=None)

    def _check_depths(self) -> None:
        bad = np.argwhere(~(np.isfinite(self.depths_mm) & (self.depths_mm > 0)))
        if bad.size:
            row, col = (int(v) for v in bad[0])
            raise RainfallError(
                f"a rainfall depth of {self.depths_mm[row, col]:g} mm for {self._where(row, col)}",
                expected="a depth above zero in every cell",
                do="correct the table or leave the whole row or column out",
            )
        falls = np.argwhere(np.diff(self.depths_mm, axis=0) < 0)
        if falls.size:
            row, col = (int(v) for v in falls[0])
            raise RainfallError(
                f"rain falls as the storm gets longer: {self.depths_mm[row, col]:.4g} mm for "
                f"{self._where(row, col)} but {self.depths_mm[row + 1, col]:.4g} mm in "
                f"{duration_text(self.durations_h[row + 1])}",
                expected="depths that grow with duration (a table of intensities falls)",
                do="give depths, not intensities, and check the rows",
            )
        falls = np.argwhere(np.diff(self.depths_mm, axis=1) < 0)
        if falls.size:
            row, col = (int(v) for v in falls[0])
            raise RainfallError(
                f"rain falls as storms get rarer: {self.depths_mm[row, col]:.4g} mm for "
                f"{self._where(row, col)} but {self.depths_mm[row, col + 1]:.4g} mm once in "
                f"{self.return_periods_yr[col + 1]:g} years",
                expected="depths that grow with the return period",
                do="check the columns of the table",
            )

    def _where(self, row: int, col: int) -> str:
        return (
            f"{duration_text(self.durations_h[row])} once in {self.return_periods_yr[col]:g} years"
        )

    def covers(self, *, duration_h: float, return_period_yr: float) -> bool:
        """Say whether the table holds this duration and return period without extrapolating."""
        return _inside(self.durations_h, duration_h) and _inside(
            self.return_periods_yr, return_period_yr
        )

    def depth_mm(self, duration_h: float, return_period_yr: float) -> float:
        """Rainfall depth in millimetres for one storm.

        Between printed values the depth is interpolated: log-log in duration, and linear in depth
        over the logarithm of the return period.

        Raises
        ------
        RainfallRangeError
            Outside the durations or return periods of the table: nothing is extrapolated.
        """
        curve = self.depth_curve_mm(return_period_yr)
        if not _inside(self.durations_h, duration_h):
            raise RainfallRangeError(
                f"no rainfall for a storm of {duration_text(duration_h)}",
                expected=f"{duration_text(self.durations_h[0])} to "
                f"{duration_text(self.durations_h[-1])}, which is what the table covers",
                do="give a table that holds this duration",
            )
        return float(_loglog(duration_h, self.durations_h, curve))

    def depth_curve_mm(self, return_period_yr: float) -> FloatArray:
        """Depths in millimetres of every printed duration for one return period, shape (d,).

        Raises
        ------
        RainfallRangeError
            A return period outside the table.
        """
        periods = self.return_periods_yr
        if not _inside(periods, return_period_yr):
            raise RainfallRangeError(
                f"no rainfall for a return period of {return_period_yr:g} years",
                expected=f"{periods[0]:g} to {periods[-1]:g} years, which is what the table covers",
                do="give a table that holds this return period",
            )
        at = np.log(np.clip(return_period_yr, periods[0], periods[-1]))
        log_periods = np.log(periods)
        return np.array([np.interp(at, log_periods, row) for row in self.depths_mm])

    def depths_mm_for(self, durations_h: ArrayLike, *, return_period_yr: float) -> FloatArray:
        """Depths in millimetres for an array of durations; NaN outside the table's durations.

        Raises
        ------
        RainfallRangeError
            When the table does not cover the return period.
        """
        curve = self.depth_curve_mm(return_period_yr)
        wanted = floats(durations_h)
        low, high = self.durations_h[0] * (1 - _SAME), self.durations_h[-1] * (1 + _SAME)
        inside = (wanted >= low) & (wanted <= high)
        depths = _loglog(np.where(inside, wanted, self.durations_h[0]), self.durations_h, curve)
        return np.where(inside, depths, np.nan)


def duration_text(duration_h: float) -> str:
    """Write a duration the way people say it: minutes, hours or days."""
    if duration_h < 1:
        return f"{duration_h * 60:.3g} minutes"
    if duration_h <= 24 or duration_h % 24:
        return f"{duration_h:g} hours" if duration_h != 1 else "1 hour"
    return f"{duration_h / 24:g} days"


def _check_axis(values: FloatArray, *, what: str, unit: str) -> None:
    if values.ndim != 1 or values.size == 0:
        raise RainfallError(f"a rainfall table without any {what}", expected=f"at least one {what}")
    if not (np.isfinite(values).all() and (values > 0).all()):
        raise RainfallError(
            f"a {what} of {values[~(np.isfinite(values) & (values > 0))][0]:g} {unit}",
            expected=f"a {what} above zero",
        )
    if (np.diff(values) <= 0).any():
        at = int(np.argmax(np.diff(values) <= 0))
        raise RainfallError(
            f"{what}s out of order or twice: {values[at]:g} then {values[at + 1]:g} {unit}",
            expected=f"each {what} once, rising",
        )


def _inside(values: FloatArray, wanted: float) -> bool:
    return bool(values[0] * (1 - _SAME) <= wanted <= values[-1] * (1 + _SAME))


def _loglog(wanted: ArrayLike, durations_h: FloatArray, depths_mm: FloatArray) -> FloatArray:
    return np.asarray(np.exp(np.interp(np.log(wanted), np.log(durations_h), np.log(depths_mm))))
