"""Rolling dip: a dip and rise in a ranch road that turns its water off before it cuts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar

from siting.places.spot import Spot
from siting.structures import amounts
from siting.structures.dip_spacing import EROSIVE, distance_limit
from siting.structures.limit_checks import (
    ROUNDING,
    area_is_complete,
    at_least,
    at_most,
    condition,
    has_materials,
    serves,
)
from siting.structures.outlines import box, rectangle
from siting.structures.rock_sizing import laid_stone
from siting.structures.structure_type import (
    Amount,
    Check,
    Failure,
    Outline,
    Ring,
    Size,
    Stone,
    StructureType,
    Symbol,
)
from siting.values.wording import metres, percent


def _wave() -> Ring:
    """Draw a band that dips and rises again, as a road over a rolling dip."""
    half, rise, thick, n = 1.2, 0.42, 0.36, 24
    x = [-half + 2 * half * i / n for i in range(n + 1)]
    middle = [-rise * math.sin(math.pi * v / half) for v in x]
    upper = [(v, m + thick / 2 + 0.06) for v, m in zip(x, middle, strict=True)]
    lower = [(v, m - thick / 2 - 0.06) for v, m in zip(x, middle, strict=True)]
    return (*upper, *reversed(lower))


class RollingDip(StructureType):
    """A low place across a road, with a rise below it and an outlet."""

    name: ClassVar[str] = "rolling dip"
    purposes: ClassVar[tuple[str, ...]] = ("road",)
    control: ClassVar[str] = "spread"
    materials_needed: ClassVar[frozenset[str]] = frozenset()
    summary: ClassVar[str] = (
        "A rolling dip, a low place across the road with a rise below it, turns water off the road "
        "onto ground with plants before it cuts a rill."
    )
    height_word: ClassVar[str] = "deep"
    size_words: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "height_m": "Depth of the dip below its rise",
            "length_m": "Length along the road",
            "crest_m": "Width of the road",
            "approach_m": "Lowered above the line, over",
            "reverse_length_m": "Rise below the line, over",
            "reverse_slope": "The rise climbs",
            "cut_m": "Cut at the low line",
            "outlet_m": "Outlet, long",
            "outfall_m": "Stone in the outlet, over",
        }
    )
    look_first: ClassVar[tuple[str, ...]] = (
        "The water does run along the road here: look for ruts and fine sediment.",
        "The outlet is lower than the dip and leads onto ground with plants.",
        "Who drives here, with what, and who grades the road.",
    )
    symbol: ClassVar[Symbol] = Symbol("Rolling dip: lead water off a road", (_wave(),))
    priced_whole: ClassVar[str] = "rolling_dip"

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Road grade, the table's distances, and a rise that makes the dip deep enough."""
        rules = spot.rules
        return (
            serves(spot, self.purposes, self.name),
            has_materials(spot, self.materials_needed, self.name),
            area_is_complete(spot),
            at_most(
                rules["road_dip.grade"],
                spot.slope,
                error=spot.slope_error,
                what="the grade of the road",
                so="up to which a dip can be driven",
                show=percent,
            ),
            *_distances(spot),
            at_least(
                rules["rolling_dip.reverse_grade"],
                _rise_grade(spot),
                what="the rise out of the dip",
                so="that keeps water from running on",
                show=percent,
            ),
            at_most(
                rules["rolling_dip.reverse_grade"],
                _rise_grade(spot),
                what="the rise out of the dip",
                so="that can be driven",
                show=percent,
            ),
        )

    def suits(self, spot: Spot) -> float:
        """Well on any road it fits."""
        return 0.8

    def size(self, spot: Spot) -> Size:
        """Dip, rise and outlet; the cut of the dip fills the rise."""
        rules = spot.rules
        road, rise = rules.value("road_dip.road_width"), _rise_length_m(spot)
        approach, grade = rules.value("rolling_dip.approach"), _rise_grade(spot)
        outlet, outfall = rules.low("road_dip.outlet_length"), rules.value("rolling_dip.outfall")
        half = road / 2
        return Size(
            height_m=rules.value("rolling_dip.depth"),
            length_m=approach + rise,
            crest_m=road,
            dims={
                "approach_m": approach,
                "reverse_length_m": rise,
                "reverse_slope": grade,
                "cut_m": _cut_m(spot),
                "outlet_m": outlet,
                "outfall_m": outfall,
            },
            parts=(
                rectangle("dip", (-approach, rise), (-half, half)),
                rectangle("outlet", (-outfall / 2, outfall / 2), (half, half + outlet)),
            ),
            stone=_stone(spot) if "rock" in spot.stock.have else None,
            notes=(
                f"The road rises {percent(grade)} over {metres(rise)} out of a dip "
                f"{metres(rules.value('rolling_dip.depth'))} deep (Texas Forest Service; depth "
                "from memory).",
                f"The road is taken to be {metres(road)} wide; the outlet is drawn to the right: "
                "turn it to the side that falls away (common practice).",
                "Stone not checked: the water of a road is not computed; stone at the outfall is "
                "common practice.",
            ),
        )

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Earth moved, stone at the outfall where there is rock, seed."""
        dims = size.dims
        outfall = dims["outfall_m"]
        # cut and fill are equal; the cut is a triangle that ends half way up the rise
        moved = 0.5 * dims["cut_m"] * (dims["approach_m"] + dims["reverse_length_m"] / 2)
        out = [Amount("fill", moved * size.crest_m, "cut from the dip, placed on the rise")]
        if size.stone is not None:
            volume = outfall**2 * size.stone.d100_m
            out.append(
                amounts.stone(spot.rules, volume, d50_m=size.stone.d50_m, note="at the outfall")
            )
        out.append(amounts.seed(spot.rules, dims["outlet_m"], outfall))
        return tuple(out)

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """What to take care of here."""
        broad = spot.rules.value("rolling_dip.broad_grade")
        gentle = spot.slope + spot.slope_error <= broad
        return (
            "Release the water only onto ground with plants, never onto a bare or steep slope or "
            "into a stream: a new gully would start there.",
            "Ask who drives the road: trucks with long trailers need a longer dip.",
            f"Up to {percent(broad)} of grade a broad-based dip, longer and easier to drive, would "
            "do as well."
            if gentle
            else "The grade is too steep for a broad-based dip: keep traffic slow.",
            *(
                ()
                if "rock" in spot.stock.have
                else ("There is no rock for the outfall: hold it with brush, and look after it.",)
            ),
        )

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Top of the grade first; dip, rise, outlet."""
        dims = size.dims
        return (
            "Start with the dip at the top of the grade. Close the road while you work.",
            f"Mark the low line across the road, turned a little downhill towards the outlet, and "
            f"the top of the rise {metres(dims['reverse_length_m'])} below it.",
            f"Lower the road over {metres(dims['approach_m'])} above the line, down to "
            f"{metres(dims['cut_m'])} below its old grade at the line, falling towards the outlet.",
            f"Place the earth below the line and compact it in thin layers, until the road rises "
            f"{percent(dims['reverse_slope'])} to a top {metres(size.height_m)} above the low "
            "line.",
            f"Open an outlet as wide as the dip and {metres(dims['outlet_m'])} long onto ground "
            "with plants; leave no berm across it.",
            f"Line the first {metres(dims['outfall_m'])} of the outlet with stone, one stone deep, "
            "level with the ground; sow the rest."
            if size.stone is not None
            else "Line the first part of the outlet with brush, pressed down; sow the rest.",
            "Drive through it with the longest vehicle that uses the road, and look at it in the "
            "first rain.",
        )

    def failures(self) -> tuple[Failure, ...]:
        """Too short or shallow, blocked, cutting below."""
        return (
            Failure(
                "Water runs over the rise and on down the road.",
                "Tracks of water or fine sediment on the top of the rise.",
                "Deepen the dip and raise its lower side; many are built too short or too shallow.",
            ),
            Failure(
                "The outlet is blocked.",
                "Standing water or sediment in the dip, a berm left by grading.",
                "Open it, and tell who grades the road.",
            ),
            Failure(
                "The outlet cuts a gully.",
                "A rill or a drop below the outfall.",
                "Spread it with stone or brush, or move the dip to better ground.",
            ),
        )

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Cut and rise against the old grade of the road; of equal area, as they are worked out."""
        dims = size.dims
        approach, rise, cut = dims["approach_m"], dims["reverse_length_m"], dims["cut_m"]
        lowered = ((-approach, 0.0), (rise / 2, 0.0), (0.0, -cut))
        raised = ((rise / 2, 0.0), (rise, cut), (rise + approach, 0.0))
        return Outline("cut", lowered, "ground"), Outline("rise", raised, "ground")

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """What is taken from the road at the low line; the outlet's side is settled on site."""
        half = size.crest_m / 2
        return (box("cut", (-half, half), (-size.dims["cut_m"], 0.0), level="ground"),)


def _distances(spot: Spot) -> tuple[Check, ...]:
    """The road above against the table of distances, and against the least that dips keep.

    None where a plan did not keep what road drains to the place.
    """
    run, rules = spot.road, spot.rules
    if run is None:
        return ()
    limit, share = distance_limit(run.mean_grade, rules), rules["road_dip.closest"]
    greatest = limit.low if run.soil == EROSIVE else limit.high
    soil = "erosive soil" if run.soil == EROSIVE else "soil that erodes little"
    since = "the dip above" if run.after_dip else "the top of its stretch"
    long, least = run.length_m, share.value * greatest
    found = f"{metres(long)} below {since}"
    within = long <= greatest + ROUNDING
    return (
        condition(
            within or run.first_open,
            rule=limit.name,
            asks=f"at most {metres(greatest)} of road above it, of {percent(run.mean_grade)} and "
            f"{soil}, or the first place that lets the water out",
            found=found if within else f"{found}, the first place that lets the water out",
            why_not=f"The water runs {metres(long)} along the road to here, more than the "
            f"{metres(greatest)} that its grade and soil allow.",
            source=limit.source,
            basis=limit.basis,
        ),
        condition(
            long >= least - ROUNDING,
            rule=share.name,
            asks=f"at least {metres(least)} of road above it",
            found=found,
            why_not=f"It lies {metres(long)} below {since}, nearer than {metres(least)}.",
            source=share.source,
            basis=share.basis,
        ),
    )


def _rise_length_m(spot: Spot) -> float:
    """The longest rise: the easiest to drive."""
    return spot.rules.high("rolling_dip.reverse_length")


def _rise_grade(spot: Spot) -> float:
    """Grade that makes the dip as deep as asked over its rise."""
    return spot.rules.value("rolling_dip.depth") / _rise_length_m(spot)


def _cut_m(spot: Spot) -> float:
    """Cut at the low line that fills the rise: half of what the rise gains on the old grade."""
    return (_rise_grade(spot) + max(spot.slope, 0.0)) * _rise_length_m(spot) / 2


def _stone(spot: Spot) -> Stone:
    return laid_stone(
        spot,
        None,
        by_size_m=spot.rules.low("spreader.stone"),
        because="small stone at the outfall",
    )
