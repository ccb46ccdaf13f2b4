"""Outlines of structures, m: from above (along, across), upright (distance, height)."""

from __future__ import annotations

import math

from siting.structures.structure_type import Level, Outline, Part

Corners = tuple[tuple[float, float], ...]
#: Corners along a curved edge: half an ellipse of so many is 0.2 % smaller than a smooth one.
CURVE_CORNERS = 33


def rectangle(
    name: str, along: tuple[float, float], across: tuple[float, float], *, lower_across_m: float = 0
) -> Part:
    """Return a rectangle, or a trapezoid that is wider at its lower end.

    Parameters
    ----------
    along, across
        From and to.
    lower_across_m
        Added to both sides at the lower end; below zero it narrows.
    """
    (a, b), (left, right) = along, across
    more = lower_across_m
    return Part(name, ((a, left), (a, right), (b, right + more), (b, left - more)))


def across_channel(
    length_m: float, middle_m: float, end_m: float, *, body: str, ends: str
) -> tuple[Part, Part, Part]:
    """Return a body over the bed and its two ends in the banks, centred on the crest."""
    along = (-length_m / 2, length_m / 2)
    half = middle_m / 2
    return (
        rectangle(body, along, (-half, half)),
        rectangle(f"left {ends}", along, (-half - end_m, -half)),
        rectangle(f"right {ends}", along, (half, half + end_m)),
    )


def box(
    name: str,
    across: tuple[float, float],
    height: tuple[float, float],
    *,
    level: Level = "site",
    in_ground: bool = True,
) -> Outline:
    """Return an upright oblong of the side view or the section, from and to."""
    (a, b), (low, high) = across, height
    return Outline(name, ((a, low), (a, high), (b, high), (b, low)), level, in_ground)


def dished_crest(
    bed_m: float, key_m: float, *, height_m: float, dip_m: float, below_m: float
) -> tuple[Outline, Outline, Outline]:
    """Return a body over the bed, lowest in the middle, and its two keys in the banks, in section.

    Parameters
    ----------
    bed_m, key_m
        Width of the bed, and how far each end reaches into the bank.
    height_m, dip_m, below_m
        Middle of the crest above the bed, rise of the crest to its ends, and how far all of it is
        let into the bed.
    """
    half, end = bed_m / 2, height_m + dip_m
    low, high = -below_m, end
    return (
        Outline("body", ((-half, low), (-half, end), (0.0, height_m), (half, end), (half, low))),
        box("left key", (-half - key_m, -half), (low, high)),
        box("right key", (half, half + key_m), (low, high)),
    )


def arc_band(name: str, *, crest_m: float, band_m: float, bow_m: float) -> Part:
    """Return a band that bows uphill, its tips pointing downhill; its area is crest x band."""
    edge = [
        (bow_m * (2 * across / crest_m) ** 2, across)
        for across in _steps(-crest_m / 2, crest_m / 2)
    ]
    lower = [(along + band_m, across) for along, across in reversed(edge)]
    return Part(name, tuple(edge + lower))


def horseshoe(name: str, *, width_m: float, depth_m: float, thickness_m: float) -> Part:
    """Return a curved wall, open downstream: half an ellipse with its head at the lip.

    Parameters
    ----------
    width_m
        Outer width.
    depth_m
        From the head to the open end, along the channel.
    thickness_m
        Of the wall.
    """
    outer = _half_ellipse(width_m / 2, depth_m, head_m=0.0)
    inner = _half_ellipse(width_m / 2 - thickness_m, depth_m - thickness_m, head_m=thickness_m)
    return Part(name, outer + inner[::-1])


def pool_in(name: str, *, width_m: float, depth_m: float, thickness_m: float) -> Part:
    """Return the floor within a `horseshoe`."""
    return Part(
        name, _half_ellipse(width_m / 2 - thickness_m, depth_m - thickness_m, head_m=thickness_m)
    )


def _half_ellipse(half_width_m: float, depth_m: float, *, head_m: float) -> Corners:
    return tuple(
        (head_m + depth_m * (1 - math.cos(turn)), half_width_m * math.sin(turn))
        for turn in _steps(-math.pi / 2, math.pi / 2)
    )


def _steps(start: float, end: float) -> list[float]:
    return [start + (end - start) * k / (CURVE_CORNERS - 1) for k in range(CURVE_CORNERS)]


def moved(part: Part, *, along_m: float) -> Part:
    """Return a part as it lies so far down the channel."""
    return Part(part.name, tuple((along + along_m, across) for along, across in part.outline))


def area_m2(part: Part) -> float:
    """Area of an outline by the shoelace formula."""
    corners = part.outline
    turned = corners[1:] + corners[:1]
    return abs(sum(a * d - b * c for (a, b), (c, d) in zip(corners, turned, strict=True))) / 2
