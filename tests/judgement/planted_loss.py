"""What retreat would take above each planted headcut of an invented ranch, if nothing is done.

This is what ranks are judged by, so it was fixed before the curves that rank works were set, and it
shares nothing with them: it reads the generator's plan, not the ground, and has a law of its own.
A head moves up by ``MEDIAN_M_PER_YR`` where `USUAL_AREA_HA` drain over it, with the area to the
power `EXPONENT`, times an activity that is drawn for each head and that no raster shows. The median
is that of a global review of gully heads (Vanmaercke and others 2016, 0.89 m a year, from memory),
the exponent lies between 0.38 and 0.46 of two regional laws (from memory), the spread is judgement.
It takes the gully's planted section over the length, and the swale's planted floor, no further than
to the next planted head, to a stretch that is cut already, or to the end of the channel.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

HORIZON_YR = 20.0
MEDIAN_M_PER_YR = 0.9
USUAL_AREA_HA = 5.0
EXPONENT = 0.4
#: Standard deviation of the logarithm of a head's activity: about 80 % within a factor of 3.
ACTIVITY_SPREAD = 0.86
#: A channel that is this deep above a head is cut already, m; and only where it stays so, m.
CUT_DEPTH_M, CUT_FOR_M = 0.6, 15.0
#: The gully below a head is measured over this stretch below it, m.
SECTION_NEAR_M, SECTION_FAR_M = 4.0, 22.0
#: A section between vertical and V-shaped: area over width times depth.
SECTION_SHAPE = 0.7
#: A swale's floor is no wider than this, m: wider planted values are valley floors.
WIDEST_SWALE_M = 25.0


@dataclass(frozen=True, slots=True)
class PlantedLoss:
    """One planted headcut and what it would take.

    Parameters
    ----------
    x_m, y_m, channel, station_m, height_m, drainage_area_ha, slope_below
        As planted.
    whole_m
        Uncut channel above it.
    retreat_m
        What it would move within the horizon without an end.
    soil_m3, swale_ha
        What it takes within the horizon.
    """

    x_m: float
    y_m: float
    channel: int
    station_m: float
    height_m: float
    drainage_area_ha: float
    slope_below: float
    whole_m: float
    retreat_m: float
    soil_m3: float
    swale_ha: float


def planted_losses(truth: Mapping[str, Any]) -> tuple[PlantedLoss, ...]:
    """What each planted headcut would take, in the order of the truth.

    Parameters
    ----------
    truth
        The generator's planted truth.
    """
    channels = {c["channel"]: c for c in truth["channels"]}
    stations: dict[int, list[float]] = {}
    for head in truth["headcuts"]:
        stations.setdefault(head["channel"], []).append(float(head["station_m"]))
    drawn = np.random.default_rng([int(truth["seed"]), 20]).standard_normal(len(truth["headcuts"]))
    activity = np.exp(ACTIVITY_SPREAD * drawn)
    return tuple(
        _loss(head, channels[head["channel"]], stations[head["channel"]], float(factor))
        for head, factor in zip(truth["headcuts"], activity, strict=True)
    )


def _loss(
    head: Mapping[str, Any], channel: Mapping[str, Any], heads_m: list[float], activity: float
) -> PlantedLoss:
    at = float(head["station_m"])
    area = float(head["drainage_area_ha"])
    whole = whole_above_m(channel, at, heads_m)
    rate = MEDIAN_M_PER_YR * (area / USUAL_AREA_HA) ** EXPONENT * activity
    retreat = rate * HORIZON_YR
    lost = min(retreat, whole)
    along = np.array(channel["station_m"], dtype=np.float64)
    width = np.array(channel["bank_width_m"], dtype=np.float64)
    depth = np.array(channel["depth_m"], dtype=np.float64)
    below = (along <= at - SECTION_NEAR_M) & (along >= at - SECTION_FAR_M)
    section = float(np.median(SECTION_SHAPE * width[below] * depth[below])) if below.any() else 0.0
    above = (along >= at + SECTION_NEAR_M) & (along <= at + max(lost, SECTION_FAR_M))
    floor = float(np.median(np.minimum(width[above], WIDEST_SWALE_M))) if above.any() else 0.0
    return PlantedLoss(
        x_m=float(head["x"]),
        y_m=float(head["y"]),
        channel=int(head["channel"]),
        station_m=at,
        height_m=float(head["realised_height_m"]),
        drainage_area_ha=area,
        slope_below=slope_below(channel, at),
        whole_m=whole,
        retreat_m=retreat,
        soil_m3=section * lost,
        swale_ha=floor * lost / 1e4,
    )


def slope_below(channel: Mapping[str, Any], at_m: float) -> float:
    """Planted bed slope below a head, over the stretch that its section is measured in."""
    along = np.array(channel["station_m"], dtype=np.float64)
    bed = np.array(channel["bed_m"], dtype=np.float64)
    below = (along <= at_m - SECTION_NEAR_M) & (along >= at_m - SECTION_FAR_M)
    if np.count_nonzero(below) < 2:
        return 0.0
    return float(np.polyfit(along[below], bed[below], 1)[0])


def whole_above_m(channel: Mapping[str, Any], at_m: float, heads_m: list[float]) -> float:
    """Length of planted channel above a station that is not cut yet, m."""
    along = np.array(channel["station_m"], dtype=np.float64)
    deep = np.array(channel["depth_m"], dtype=np.float64) >= CUT_DEPTH_M
    end = min([s for s in heads_m if s > at_m + 1.0], default=float(along[-1]))
    start: float | None = None
    for station, cut in zip(along, deep, strict=True):
        if station <= at_m + 3.0 or station > end:
            continue
        if not cut:
            start = None
            continue
        start = float(station) if start is None else start
        if station - start >= CUT_FOR_M:
            return max(start - at_m, 0.0)
    return max(end - at_m, 0.0)
