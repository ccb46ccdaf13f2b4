"""What cells of a size can and cannot show of channels and headcuts."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from siting.channels.headcuts import HeadcutSettings
from siting.values.wording import metres
from terrain.incision.incised_ground import IncisionLimits
from terrain.reading.survey import CELLS_TO_MEASURE, COARSE_CELL_M

#: Cells up to this size show low headcuts; larger ones smooth them away, m (judgement).
FINE_CELL_M = 1.5
#: Cell size (m); of ten headcuts of 0.6 m and more those found with a confidence of 0.5 and more;
#: and of ten such finds those that were heads. On invented ground seen through a survey's points,
#: which nothing was fitted on (`make accuracy`, tests/accuracy/RESULTS.md).
FOUND_OF_TEN = ((0.5, 4.5, 7.9), (1.0, 4.3, 8.3), (2.0, 2.9, 8.3), (3.0, 1.3, 7.2), (5.0, 0.3, 3.6))
#: The same on real rasters of 1 m, against heads that two persons marked by eye.
REAL_OF_TEN = (5.4, 8.1)
#: Cells across a channel needed to see it.
CELLS_TO_SEE = 2


def what_cells_show(
    cell_m: float, *, length: Callable[[float], str] = metres
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Say what a cell size can and cannot show.

    Parameters
    ----------
    cell_m
        Cell size, m.
    length
        Writes a length given in metres; in metres itself by default.

    Returns
    -------
    can, cannot
        Plain sentences. Three to five cells across are needed to measure a width and two to see
        it (common practice, no published source).
    """
    low, high = (length(n * cell_m) for n in CELLS_TO_MEASURE)
    can = ["Drainage areas, channel lines and the slopes of valleys."]
    cannot = ["What lies under water or thick brush, what the ground is made of, and what grows."]
    if cell_m > COARSE_CELL_M:
        cannot += [
            "The width and depth of channels: they come from a published regional curve.",
            f"Headcuts: none are looked for. A raster of {length(1.0)} cells shows them.",
        ]
        return tuple(can), tuple(cannot)
    can.append(
        f"The width of channels from about {low} to {high} up; from "
        f"{length(CELLS_TO_SEE * cell_m)} they are seen. Narrower ones get their width from a "
        "published regional curve."
    )
    limits = IncisionLimits()
    narrowest = length(max(CELLS_TO_MEASURE[0] * cell_m, 1.0))
    can.append(
        f"Gullies: ground cut at least {length(limits.least_depth_m)} deep between edges, from "
        f"about {narrowest} wide up to {length(limits.widest_m(cell_m))}; shallower ones are not "
        "told from swales."
    )
    if cell_m <= FINE_CELL_M:
        least = length(HeadcutSettings().least_height_m)
        can.append(f"Headcuts: drops of {least} and up, surer the higher they are.")
    else:
        can.append("Headcuts that are high and wide; cells of this size smooth low ones away.")
        cannot.append("Headcuts narrower than about two cells, or much lower than one is wide.")
    can.append(_how_far_to_trust(cell_m, length))
    return tuple(can), tuple(cannot)


def _how_far_to_trust(cell_m: float, length: Callable[[float], str]) -> str:
    """Say how many headcuts cells of a size show, and how many finds are none."""
    sizes = np.array([row[0] for row in FOUND_OF_TEN])
    nearest, found, right = FOUND_OF_TEN[int(np.argmin(np.abs(np.log(sizes / cell_m))))]
    where = f"invented ground seen by lidar, cells of {length(nearest)}"
    if nearest == 1.0:
        where += "; real ground, marked by eye: " + " and ".join(_of_ten(n) for n in REAL_OF_TEN)
    return (
        f"With a confidence of 0.5 and more about {_of_ten(found)} of ten headcuts of "
        f"{length(0.6)} and more are found, and {_of_ten(right)} of ten finds are headcuts "
        f"({where})."
    )


def _of_ten(number: float) -> str:
    words = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return words[round(number)]
