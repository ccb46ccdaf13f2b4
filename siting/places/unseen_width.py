"""A channel whose width nobody saw: between two widths, and how a place looks at either.

Where the raster is too coarse to show the channel, its width lies between that of the regional
curve and the narrowest that the raster would have shown. Everything is worked out at both ends.
"""

from __future__ import annotations

from dataclasses import replace

from siting.hydraulics.cross_section import CrossSection
from siting.places.spot import Spot, WidthRange
from siting.values.wording import metres
from terrain.channels.sections import RESOLVED_CELLS

#: Sides of a made-up section where the elevations show none, horizontal per vertical.
MADE_UP_SIDE = 1.0
#: A made-up section reaches this many bankfull depths up.
MADE_UP_DEPTHS = 3.0
#: Least bed and least bankfull depth of one, m.
LEAST_BED_M, LEAST_DEPTH_M = 0.2, 0.05


def unseen_width(curve_width_m: float, cell_m: float) -> WidthRange:
    """Range of a width that the raster does not show.

    Parameters
    ----------
    curve_width_m
        Bankfull width by the regional curve, far below its smallest area too.
    cell_m
        Cell size of the raster: it shows what is at least
        `terrain.channels.sections.RESOLVED_CELLS` of them wide.
    """
    shown = RESOLVED_CELLS * cell_m
    return WidthRange(min(curve_width_m, shown), max(curve_width_m, shown))


def made_up_section(bed_width_m: float, bankfull_depth_m: float) -> CrossSection:
    """A trapezoid in place of a section that the elevations do not show."""
    return CrossSection.trapezoid(
        max(bed_width_m, LEAST_BED_M),
        side=MADE_UP_SIDE,
        depth_m=MADE_UP_DEPTHS * max(bankfull_depth_m, LEAST_DEPTH_M),
    )


def at_width(spot: Spot, width_m: float) -> Spot:
    """The same place with a channel of a given width."""
    return replace(
        spot,
        banks=replace(spot.banks, bed_width_m=width_m),
        bankfull=replace(spot.bankfull, width_m=width_m),
        section=made_up_section(width_m, spot.bankfull.depth_m),
    )


def end_words(spot: Spot) -> tuple[str, ...]:
    """Each end of `at_each_end` in words; an empty one where the width was seen."""
    wide = spot.width_range
    if wide is None:
        return ("",)
    return tuple(f"If it is {metres(width)} wide" for width in (wide.low_m, wide.high_m))


def at_each_end(spot: Spot) -> tuple[Spot, ...]:
    """A place at the narrowest and the widest that its channel may be; one where it was seen."""
    if spot.width_range is None:
        return (spot,)
    return spot, at_width(spot, spot.width_range.high_m)
