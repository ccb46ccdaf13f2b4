"""The wedge of sediment that a low structure gathers behind it.

A filled structure's deposit is flatter than the old bed, not level: 0.64 to 0.66 of it on 37 dams
at Santa Rita, Arizona, about 0.5 after Leopold, 0.7 after Heede and Mufich (from memory). Its
surface rises from the crest at that share of the bed slope, level across the channel, until it
meets the bed: on an even slope after H / ((1 - share) S).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from siting.effects.channel_above import ChannelAbove, fill
from siting.effects.pools import outline_of
from terrain.values.errors import ParameterError

#: Shares of the old bed slope between which deposits come to lie.
SHARE_LOW, SHARE_HIGH = 0.5, 0.7
#: A wedge is followed no further than this, m.
LONGEST_M = 200.0
#: A bed may be this much flatter than the slope given before the wedge is cut short.
SPARE = 1.3


@dataclass(frozen=True, slots=True, eq=False)
class Wedge:
    """Sediment behind a structure once it is full.

    Parameters
    ----------
    length_m, length_low_m, length_high_m
        Along the bed: at the middle share of the bed slope, and at the two ends.
    volume_m3, volume_low_m3, volume_high_m3
        Likewise.
    deposit_slope
        Slope of the deposit at the middle share, m per m.
    ends_at
        ``bed`` where it meets the bed at the middle share; else what cuts it short: ``foot`` (the
        cell given), ``headcut``, ``edge`` or ``length``.
    outline
        Polygon of the middle one, to scale; None without extent or place.
    """

    length_m: float
    length_low_m: float
    length_high_m: float
    volume_m3: float
    volume_low_m3: float
    volume_high_m3: float
    deposit_slope: float
    ends_at: str
    outline: Any


def reach_m(crest_height_m: float, bed_slope: float, *, share: float = SHARE_HIGH) -> float:
    """How far a wedge reaches up an even bed, H / ((1 - share) S), m; at most `LONGEST_M`."""
    steep = (1.0 - share) * bed_slope
    return min(crest_height_m / steep, LONGEST_M) if steep > 0 else LONGEST_M


def wedge_in(
    above: ChannelAbove,
    *,
    crest_height_m: float,
    bed_slope: float,
    share_low: float = SHARE_LOW,
    share_high: float = SHARE_HIGH,
    until_m: float = np.inf,
) -> Wedge:
    """Sediment wedge behind a crest at the lower end of a channel.

    Parameters
    ----------
    above
        Channel above the structure.
    crest_height_m
        Height of the crest above the bed there.
    bed_slope
        Old bed slope of the reach, m per m, 0 or more.
    share_low, share_high
        Slope of the deposit over that of the bed, from 0 up to (not including) 1.
    until_m
        Cuts it at this distance above the structure.

    Raises
    ------
    ParameterError
        A crest that is not above 0, a slope below 0, or shares that do not rise from 0 to below 1.
    """
    if not 0 < crest_height_m < np.inf:
        raise ParameterError(f"a crest of {crest_height_m:g} m", expected="above 0")
    if not 0 <= bed_slope < np.inf:
        raise ParameterError(f"a bed slope of {bed_slope:g}", expected="0 or more")
    if not 0 <= share_low <= share_high < 1:
        raise ParameterError(
            f"a deposit at {share_low:g} to {share_high:g} of the bed slope",
            expected="rising shares from 0 up to, not including, 1",
        )
    middle = 0.5 * (share_low + share_high)
    crest = float(above.bed_m[0]) + crest_height_m
    low, likely, high = (
        fill(above, crest + share * bed_slope * above.up_m, until_m=until_m)
        for share in (share_low, middle, share_high)
    )
    cut = "foot" if likely.length_m >= until_m else above.ends_at
    return Wedge(
        length_m=likely.length_m,
        length_low_m=low.length_m,
        length_high_m=high.length_m,
        volume_m3=likely.volume_m3,
        volume_low_m3=low.volume_m3,
        volume_high_m3=high.volume_m3,
        deposit_slope=middle * bed_slope,
        ends_at="bed" if likely.meets_bed else cut,
        outline=outline_of(above, likely),
    )
