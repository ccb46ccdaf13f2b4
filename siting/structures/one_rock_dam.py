"""One-rock dam: a low grade control, one stone high."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar

from siting.hydraulics.rockwork import apron_m, one_rock_volume_m3
from siting.places.spot import Spot
from siting.structures import amounts, structure_sentences
from siting.structures.channel_sizes import bed_width_m, off_the_fan
from siting.structures.design_flow import flow_cautions
from siting.structures.grade_height import (
    build_height_m,
    height_cautions,
    height_checks,
    height_limit_m,
    height_note,
    in_swale,
    keyed_to,
    smallest_m,
    stands,
)
from siting.structures.high_end import crest_between_banks, stone_stays
from siting.structures.limit_checks import ROUNDING, TRADE, condition, hand_limits, steepest
from siting.structures.outlines import across_channel, box, dished_crest, rectangle
from siting.structures.rock_sizing import (
    OVERFLOW_SOURCE,
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
from siting.structures.spacing_table import LOW_GRADE_CONTROL
from siting.structures.stone_classes import median_m
from siting.structures.structure_type import (
    Amount,
    Check,
    Failure,
    Outline,
    Part,
    Size,
    Stone,
    StructureType,
)
from siting.values.wording import metres


class OneRockDam(StructureType):
    """Several rows of stone across the bed, one stone high, lowest in the middle."""

    name: ClassVar[str] = "one-rock dam"
    purposes: ClassVar[tuple[str, ...]] = ("grade",)
    control: ClassVar[str] = "grade"
    materials_needed: ClassVar[frozenset[str]] = frozenset({"rock"})
    summary: ClassVar[str] = (
        "A one-rock dam, rows of stone across the bed no higher than one stone, holds the bed, "
        "slows the water and lets the bed rise."
    )
    spacing_rules: ClassVar[tuple[str, ...]] = LOW_GRADE_CONTROL
    size_words: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "rows_count": "Rows of stone",
            "thickness_m": "Thickness of the stone",
            "face_m": "Lower face, along",
        }
    )
    look_first: ClassVar[tuple[str, ...]] = structure_sentences.LOOK_AT_THE_BED

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Hand limits, height, stone against height, overflow and what people lift."""
        common = hand_limits(
            spot, purposes=self.purposes, needed=self.materials_needed, name=self.name
        )
        stone = _stone(spot)
        return (
            *common,
            off_the_fan(spot, self.name),
            *height_checks(spot),
            _stone_against_height(spot),
            overflow_check(
                stone, _overflow(spot), slope=_face_slope(spot), rule="one_rock_dam.face"
            ),
            lift_check(spot, stone, _asked(spot)),
        )

    def suits(self, spot: Spot) -> float:
        """Well on plain hand work, less on steeper beds."""
        gentle = spot.rules.low("hand_work.gradient")
        slope, error, _ = steepest(spot)
        return 0.7 if slope + error <= gentle else 0.5

    def size(self, spot: Spot) -> Size:
        """As high as the pair needs or as allowed; about one bankfull width along the channel."""
        rules, stone = spot.rules, _stone(spot)
        height = _height_m(spot)
        thick = max(height, stone.d100_m)
        key = rules.value("grade_control.key")
        face = height / _face_slope(spot)
        length = max(_length_m(spot, stone), face + stone.d100_m)
        bed = bed_width_m(spot)
        apron = max(
            apron_m(height, max(spot.slope, 0.0), gentle=rules.value("grade_control.apron")),
            stone.d100_m,
        )
        dip = rules.value("grade_control.crest_dip")
        return Size(
            height_m=height,
            length_m=length,
            crest_m=bed + 2 * key,
            dims={
                "bed_width_m": bed,
                "thickness_m": thick,
                "face_m": face,
                "key_m": key,
                "crest_dip_m": dip,
                "apron_m": apron,
                "rows_count": max(
                    rules.value("one_rock_dam.rows"), math.floor(length / stone.d50_m)
                ),
            },
            parts=_parts(length, bed, key, apron),
            stone=stone,
            notes=(
                height_note(spot, height),
                f"The crest is lowest in the middle; its ends rise {metres(dip)} and reach "
                f"{metres(key)} into each bank (field guides, from memory; how much: common "
                "practice).",
                f"Length along the channel {metres(length)}, about one bankfull width, and apron "
                f"{metres(apron)} (common practice; Heede 1976, from memory).",
                f"The lower face comes down over {metres(face)}, 1 down for "
                f"{1 / _face_slope(spot):g} along, so that the water runs down it and does not "
                f"fall; its stone is checked for that ({OVERFLOW_SOURCE}).",
                *stone_notes(spot, stone),
            ),
        )

    def high_end_checks(self, high: Spot, size: Size) -> tuple[Check, ...]:
        """Stone, on the bed and on the lower face, and crest at the high end of the range."""
        stone = stone_stays(high, size.stone, _asked(high))
        return stone if in_swale(high) else (*stone, *crest_between_banks(high, size.height_m))

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Stone of body, keys and apron; gravel in the gaps; seed."""
        rules = spot.rules
        assert size.stone is not None
        d50, dims = size.stone.d50_m, size.dims
        body = one_rock_volume_m3(dims["bed_width_m"], size.length_m, dims["thickness_m"])
        keys = one_rock_volume_m3(2 * dims["key_m"], size.length_m, dims["thickness_m"])
        apron = one_rock_volume_m3(dims["bed_width_m"], dims["apron_m"], d50)
        let_in = _let_in_m(size) * size.length_m + size.height_m / 2 * dims["face_m"]
        dug = let_in * dims["bed_width_m"]
        return (
            amounts.stone(rules, body, d50_m=d50, note="body over the bed"),
            amounts.stone(rules, keys, d50_m=d50, note="keys in both banks"),
            amounts.stone(rules, apron, d50_m=d50, note="apron below it"),
            amounts.chinking(rules, body + keys, note="in the gaps of body and keys"),
            *((Amount("fill", dug, "dug out to let the stone in"),) if dug > 0 else ()),
            amounts.seed(rules, size.length_m + dims["apron_m"], size.crest_m),
        )

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """What to take care of here."""
        return structure_sentences.each_once(
            height_cautions(spot),
            structure_sentences.channel_cautions(spot),
            flow_cautions(spot),
            stone_cautions(spot, size.stone),
        )

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Trench, apron, rows from below up, keys, gaps."""
        rules, dims = spot.rules, size.dims
        proud = rules.value("one_rock_dam.apron_proud")
        assert size.stone is not None
        return (
            structure_sentences.STORMS,
            f"Mark the crest across a straight stretch, {metres(size.crest_m)} long with "
            f"{metres(dims['key_m'])} into each bank, and {metres(size.length_m)} along the "
            "channel. Clear grass and loose soil.",
            f"Dig a trench one stone deep along the lower edge. Set {metres(dims['apron_m'])} of "
            f"apron in it with the largest stones, standing no more than {metres(proud)} above "
            "the bed.",
            structure_sentences.lifting(spot, size.stone),
            *_dug(size),
            f"Lay the stones in rows from the apron up the channel, about {dims['rows_count']:.0f} "
            "rows, on edge and tight like books on a shelf, each row against the last.",
            f"Over the last {metres(dims['face_m'])} let each row in deeper than the one above it, "
            "so that their tops come down evenly from the crest to the bed.",
            f"Keep it one stone high: its top {stands(size.height_m)} in the middle. Let the crest "
            f"rise {metres(dims['crest_dip_m'])} to both ends, so that the middle carries the "
            "flow; check it with a level.",
            f"Key both ends {metres(dims['key_m'])} into the banks and let them taper up the bank."
            + keyed_to(spot, size.height_m),
            "Fill the gaps with gravel and small stone, spread seed, and put the dug soil on the "
            "upper side.",
            "Once it has filled with sediment, add a new layer upstream; the old one becomes "
            "its apron. Never make it higher before that.",
            structure_sentences.INSPECT,
        )

    def failures(self) -> tuple[Failure, ...]:
        """End cutting, undermining, stones that roll."""
        return (
            structure_sentences.END_CUT,
            structure_sentences.UNDERMINED,
            Failure(
                "Stones roll away in a flow.",
                "Gaps in the rows, stones lying below the apron.",
                "Set larger stones on edge and tighter; where they move again, ask for a review.",
            ),
        )

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Body one stone thick, let in and down its lower face to the bed; apron flush with it."""
        assert size.stone is not None
        half, end = size.length_m / 2, size.length_m / 2 + size.dims["apron_m"]
        edge, thick = half - size.dims["face_m"], size.dims["thickness_m"]
        top = ((-half, size.height_m), (edge, size.height_m), (half, 0.0))
        below = tuple((along, height - thick) for along, height in reversed(top))
        return (
            Outline("body", (*top, *below), level="ground"),
            box("apron", (half, end), (-size.stone.d100_m, 0.0), level="ground"),
        )

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Lowest in the middle, with a key in each bank."""
        dims = size.dims
        return dished_crest(
            dims["bed_width_m"],
            dims["key_m"],
            height_m=size.height_m,
            dip_m=dims["crest_dip_m"],
            below_m=_let_in_m(size),
        )


def _let_in_m(size: Size) -> float:
    """How deep the body is let into the bed: one stone, less what stands above it."""
    return size.dims["thickness_m"] - size.height_m


def _needed_d50_m(spot: Spot) -> float:
    asked = bed_stone(spot)
    return asked.d50_m if asked else 0.0


def _height_m(spot: Spot) -> float:
    return build_height_m(spot, stone_m=_needed_d50_m(spot))


def _face_slope(spot: Spot) -> float:
    return 1 / spot.rules.value("one_rock_dam.face")


def _overflow(spot: Spot) -> Asked | None:
    """Stone of the lower face, where the flow passes over the middle of the crest, on the bed."""
    return overflow_stone(spot, crest_m=bed_width_m(spot), slope=_face_slope(spot))


def _asked(spot: Spot) -> Asked | None:
    return asked_by(bed_stone(spot), _overflow(spot))


def _stone(spot: Spot) -> Stone:
    """Stone whose largest are as tall as the dam, or larger where it is preferred or asked for."""
    tall = median_m(spot.rules, _height_m(spot))
    usual = spot.rules["one_rock_dam.stone"]
    return laid_stone(
        spot,
        _asked(spot),
        by_size_m=min(max(tall, usual.low), usual.high),
        because="stone that does not move and can be lifted, the largest as tall as the dam at "
        "least",
    )


def _stone_against_height(spot: Spot) -> Check:
    """Hold the stone that the flow asks for against the height allowed."""
    needed, allowed = _needed_d50_m(spot), max(height_limit_m(spot), smallest_m(spot))
    return condition(
        needed <= allowed + ROUNDING,
        rule="stone.safety",
        asks=f"stone no thicker than the structure may be, {metres(allowed)}",
        found=f"stone of {metres(needed)}" if needed else "no flow known",
        why_not=f"Stone that the design flow does not move is {metres(needed)} thick, more than "
        f"the {metres(allowed)} that a low structure may be thick here: ask an engineer, or use "
        "another structure.",
        source="pull on the bed with Shields number 0.047, FHWA HEC-15",
        basis=TRADE,
    )


def _dug(size: Size) -> tuple[str, ...]:
    """What is dug where the stone is taller than the structure."""
    if _let_in_m(size) <= 0:
        return ()
    return (
        f"Dig the bed out {metres(_let_in_m(size))} deep over the {metres(size.length_m)} along "
        f"the channel: the largest stones are let in, so that none stands higher than the crest.",
    )


def _length_m(spot: Spot, stone: Stone) -> float:
    limit = spot.rules["one_rock_dam.length"]
    along = spot.bankfull.width_m if math.isfinite(spot.bankfull.width_m) else limit.low
    rows = spot.rules.value("one_rock_dam.rows") * stone.d50_m
    return max(min(max(along, limit.low), limit.high), rows)


def _parts(length: float, bed: float, key: float, apron: float) -> tuple[Part, ...]:
    below = rectangle("apron", (length / 2, length / 2 + apron), (-bed / 2, bed / 2))
    return (*across_channel(length, bed, key, body="body", ends="key"), below)
