"""Crescent spreader: a level band of stone, tips downhill, that turns a flow into sheet flow."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar

from siting.places.spot import Spot
from siting.structures import amounts, structure_sentences
from siting.structures.channel_sizes import channel_width_m
from siting.structures.design_flow import flow_cautions
from siting.structures.high_end import stone_stays
from siting.structures.limit_checks import (
    ROUNDING,
    TRADE,
    at_least,
    at_most,
    condition,
    hand_limits,
    no_steeper,
)
from siting.structures.outlines import arc_band, box
from siting.structures.rock_sizing import (
    Asked,
    asked_by,
    bed_stone,
    laid_stone,
    lift_check,
    overflow_check,
    overflow_stone,
    stone_cautions,
    stone_notes,
)
from siting.structures.stone_classes import median_m
from siting.structures.structure_type import (
    Amount,
    Check,
    Failure,
    Outline,
    Size,
    Stone,
    StructureType,
)
from siting.values.wording import hectares, metres, percent


class CrescentSpreader(StructureType):
    """A band of stone level across, one stone high, bowed uphill."""

    name: ClassVar[str] = "crescent spreader"
    purposes: ClassVar[tuple[str, ...]] = ("spread",)
    control: ClassVar[str] = "spread"
    materials_needed: ClassVar[frozenset[str]] = frozenset({"rock"})
    summary: ClassVar[str] = (
        "A crescent spreader, a band of stones level across with its tips pointing down, spreads "
        "the water before it cuts again."
    )
    size_words: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "length_m": "Width of the band",
            "crest_m": "Length of the band",
            "bow_m": "Bowed uphill by",
            "level_m": "Level to within",
            "wing_m": "Tips sunk into the ground over",
        }
    )
    look_first: ClassVar[tuple[str, ...]] = (
        "The ground below carries plants and has no rill that would gather the water again.",
        "A level shows the line to be as level as the plan says, from end to end.",
        "The water does come here: look for fresh sediment and lines of litter.",
    )

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Hand limits, open gentle ground, little land, stone that stays and can be lifted."""
        rules = spot.rules
        common = hand_limits(
            spot, purposes=self.purposes, needed=self.materials_needed, name=self.name
        )
        slope = rules["spreader.slope"]
        return (
            *common,
            condition(
                spot.task.opens,
                asks="open ground, where water is free to spread",
                found="open ground" if spot.task.opens else "banks on a side",
                why_not="Banks hold the water together here: a spreader needs open ground.",
            ),
            no_steeper(spot, slope, so="that suits a spreader", ground="ground"),
            at_least(
                slope,
                spot.slope,
                error=spot.slope_error,
                what="the slope of the ground",
                so="from which a spreader is of use; flatter ground spreads water by itself",
                show=percent,
            ),
            at_most(
                rules["spreader.drainage_area"],
                spot.land.area_ha,
                what="the land that drains here",
                so="that can be spread by hand",
                show=hectares,
            ),
            _stone_against_height(spot),
            overflow_check(
                _stone(spot), _overflow(spot), slope=_face_slope(spot), rule="spreader.stone"
            ),
            lift_check(spot, _stone(spot), _asked(spot)),
        )

    def suits(self, spot: Spot) -> float:
        """Well where the flow is small."""
        small = spot.land.area_ha <= spot.rules.low("spreader.drainage_area")
        return 0.8 if small else 0.6

    def size(self, spot: Spot) -> Size:
        """One stone high, three channel widths long within its limits."""
        rules, stone = spot.rules, _stone(spot)
        limit, widths, crest = (
            rules["spreader.length"],
            rules.value("spreader.widths"),
            _crest_m(spot),
        )
        band, bow = rules.value("spreader.band"), rules.value("spreader.bow") * crest
        height = rules.low("grade_control.height")
        return Size(
            height_m=height,
            length_m=band,
            crest_m=crest,
            dims={"bow_m": bow, "level_m": rules.value("spreader.level"), "wing_m": _wing_m(spot)},
            parts=(arc_band("band", crest_m=crest, band_m=band, bow_m=bow),),
            stone=stone,
            notes=(
                f"One stone high, {metres(height)}, level across; {widths:g} channel widths long, "
                f"held between {metres(limit.low)} and {metres(limit.high)} (common practice, no "
                "published source).",
                f"The band bows {metres(bow)} uphill, its tips point down (field guides, from "
                "memory; how much: common practice).",
                *stone_notes(spot, stone),
            ),
        )

    def high_end_checks(self, high: Spot, size: Size) -> tuple[Check, ...]:
        """Stone, on the bed and on the lower edge, at the high end of the flow's range."""
        return stone_stays(high, size.stone, _asked(high))

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Stone of the band, gravel in its gaps, seed."""
        assert size.stone is not None
        volume = size.crest_m * size.length_m * size.stone.d100_m
        return (
            amounts.stone(spot.rules, volume, d50_m=size.stone.d50_m, note="band and its tips"),
            amounts.chinking(spot.rules, volume, note="in the gaps"),
            amounts.seed(spot.rules, size.length_m + size.dims["bow_m"], size.crest_m),
        )

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """What to take care of here."""
        sheet = spot.rules.low("spreader.drainage_area")
        several = (
            f"More than {hectares(sheet)} drain to it: one band is not enough; look after the "
            "first flow.",
        )
        return structure_sentences.each_once(
            (f"Lay it level to {metres(size.dims['level_m'])}: any low spot starts a new rill.",),
            several if spot.land.area_ha > sheet else (),
            flow_cautions(spot),
            stone_cautions(spot, size.stone),
        )

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Contour first, then rows from below up."""
        dims = size.dims
        rows = max(3, round(size.length_m / (size.stone.d50_m if size.stone else 0.2)))
        return (
            structure_sentences.STORMS,
            f"Lay out the crest with a level, before any stone: {metres(size.crest_m)} long, bowed "
            f"{metres(dims['bow_m'])} uphill in the middle, tips pointing down, level to "
            f"{metres(dims['level_m'])}.",
            "Clear grass and loose soil on the line; fill low spots with tamped soil, not stone.",
            structure_sentences.lifting(spot, size.stone),
            f"Lay the lowest row half into the soil, then the others against it, about {rows} rows "
            f"over {metres(size.length_m)}, one stone high ({metres(size.height_m)}), without "
            "gaps.",
            f"Over the last {metres(dims['wing_m'])} at both tips let the band sink into the "
            "ground, with the largest stones there, so that water does not cut round the ends.",
            "Check the crest with the level again; fill the gaps with gravel and sow.",
            structure_sentences.INSPECT,
        )

    def failures(self) -> tuple[Failure, ...]:
        """A low spot, a cut round a tip."""
        return (
            Failure(
                "Water gathers at a low spot and cuts a rill.",
                "A rill or a fan of sediment below one place of the band.",
                "Raise the low spot to level, fill the rill with brush or stone.",
            ),
            Failure(
                "Water cuts round a tip.",
                "Bare soil or a rill beside a tip.",
                "Lengthen the band there along the contour and sink its end into the ground.",
            ),
        )

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """One stone thick, let in as far as it does not stand above the ground."""
        tall = (-_let_in_m(size), size.height_m)
        return (box("band", (0.0, size.length_m), tall, level="ground"),)

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """One stone thick in the ground, which it follows as a contour does."""
        half = size.crest_m / 2
        return (box("band", (-half, half), (-_let_in_m(size), size.height_m), level="ground"),)


def _let_in_m(size: Size) -> float:
    """How deep the band is let in: its largest stones, less what stands above the ground."""
    assert size.stone is not None
    return max(size.stone.d100_m - size.height_m, 0.0)


def _wing_m(spot: Spot) -> float:
    return spot.rules.value("spreader.wing")


def _crest_m(spot: Spot) -> float:
    """Length of the band: so many channel widths, within its limits."""
    limit = spot.rules["spreader.length"]
    known = math.isfinite(spot.bankfull.width_m)
    channel = spot.bankfull.width_m if known else channel_width_m(spot)
    return min(max(spot.rules.value("spreader.widths") * channel, limit.low), limit.high)


def _face_slope(spot: Spot) -> float:
    """Slope of the band's lower edge: as steep as the rock-chute formula goes."""
    return spot.rules.high("rock_rundown.face_slope")


def _overflow(spot: Spot) -> Asked | None:
    return overflow_stone(spot, crest_m=_crest_m(spot), slope=_face_slope(spot))


def _asked(spot: Spot) -> Asked | None:
    return asked_by(bed_stone(spot), _overflow(spot))


def _stone(spot: Spot) -> Stone:
    """Stone at least as tall as the band, and of the smallest that is ordered for one."""
    one_stone = spot.rules.low("grade_control.height")
    return laid_stone(
        spot,
        _asked(spot),
        by_size_m=max(median_m(spot.rules, one_stone), spot.rules.low("spreader.stone")),
        because="the smallest stone of a band, the largest at least as tall as it",
    )


def _stone_against_height(spot: Spot) -> Check:
    """Hold the stone that the flow asks for against the largest of a spreader."""
    limit, asked = spot.rules["spreader.stone"], _asked(spot)
    needed = asked.d50_m if asked else 0.0
    most = spot.rules.low("grade_control.height")
    return condition(
        needed <= most + ROUNDING,
        rule=limit.name,
        asks=f"stone no larger than the band is high, {metres(most)}",
        found=f"stone of {metres(needed)}" if asked else "no flow known",
        why_not=f"Stone that the design flow does not move is {metres(needed)} thick, more than "
        f"the {metres(most)} of a band one stone high: the flow is not sheet flow.",
        source=limit.source,
        basis=TRADE,
    )
