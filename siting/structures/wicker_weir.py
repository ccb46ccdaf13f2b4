"""Wicker weir: brush woven round pickets, a low grade control for fine beds."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar

from siting.hydraulics.rockwork import apron_m
from siting.places.spot import Spot
from siting.structures import amounts, structure_sentences
from siting.structures.channel_sizes import bed_width_m, off_the_fan
from siting.structures.design_flow import design_flow, flow_cautions, flow_note
from siting.structures.grade_height import (
    build_height_m,
    height_cautions,
    height_checks,
    height_note,
    in_swale,
    keyed_to,
)
from siting.structures.high_end import crest_between_banks
from siting.structures.limit_checks import at_most, condition, hand_limits, no_steeper
from siting.structures.outlines import across_channel, box, dished_crest, rectangle
from siting.structures.spacing_table import LOW_GRADE_CONTROL
from siting.structures.structure_type import (
    Amount,
    Check,
    Failure,
    Outline,
    Size,
    StructureType,
)
from siting.values.wording import metres, quantity

#: Thickness of a picket as it is drawn, m.
PICKET_M = 0.06


class WickerWeir(StructureType):
    """Pickets driven across the bed, brush woven between them."""

    name: ClassVar[str] = "wicker weir"
    purposes: ClassVar[tuple[str, ...]] = ("grade",)
    control: ClassVar[str] = "grade"
    materials_needed: ClassVar[frozenset[str]] = frozenset({"brush"})
    summary: ClassVar[str] = (
        "A wicker weir, brush woven round pickets that are driven across a bed of fine soil, "
        "slows the water and holds sediment where there is neither rock nor timber."
    )
    spacing_rules: ClassVar[tuple[str, ...]] = LOW_GRADE_CONTROL
    size_words: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "apron_m": "Apron: brush pressed in below it",
            "pickets_count": "Pickets",
            "picket_spacing_m": "Between pickets",
            "picket_length_m": "Length of the pickets",
        }
    )
    look_first: ClassVar[tuple[str, ...]] = structure_sentences.LOOK_AT_THE_BED

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Hand limits, narrow gentle channel, height, and the pull that brush stands."""
        rules = spot.rules
        common = hand_limits(
            spot, purposes=self.purposes, needed=self.materials_needed, name=self.name
        )
        return (
            *common,
            off_the_fan(spot, self.name),
            no_steeper(spot, rules["wicker_weir.gradient"], so="that suits a wicker weir"),
            at_most(
                rules["wicker_weir.width"],
                spot.width_m,
                what="the width of the channel",
                so="that suits a wicker weir",
            ),
            *height_checks(spot),
            _pull(spot),
        )

    def suits(self, spot: Spot) -> float:
        """Less than stone or logs: it lasts a few years unless it takes root."""
        return 0.3

    def size(self, spot: Spot) -> Size:
        """As high as the pair needs or as allowed, lowest in the middle."""
        rules = spot.rules
        height, bed = build_height_m(spot), bed_width_m(spot)
        key, thick = rules.value("grade_control.key"), rules.value("wicker_weir.thickness")
        apron = max(
            rules.value("wicker_weir.apron"),
            apron_m(height, max(spot.slope, 0.0), gentle=rules.value("grade_control.apron")),
        )
        crest = bed + 2 * key
        spacing = rules.high("wicker_weir.picket_spacing")
        dip = rules.value("grade_control.crest_dip")
        above = height + dip
        return Size(
            height_m=height,
            length_m=thick,
            crest_m=crest,
            dims={
                "bed_width_m": bed,
                "key_m": key,
                "crest_dip_m": dip,
                "apron_m": apron,
                "pickets_count": amounts.count(crest, spacing),
                "picket_spacing_m": spacing,
                "picket_length_m": max(
                    above / (1 - rules.value("wicker_weir.driven")),
                    rules.value("wicker_weir.picket_length"),
                ),
            },
            parts=(
                *across_channel(thick, bed, key, body="body", ends="key"),
                rectangle("apron", (thick / 2, thick / 2 + apron), (-bed / 2, bed / 2)),
            ),
            notes=(
                height_note(spot, height),
                f"Pickets every {metres(spacing)}, driven at least half their length (field "
                "guides, from memory).",
                f"The crest is lowest in the middle; its ends rise {metres(dip)} and reach "
                f"{metres(key)} into each bank.",
                flow_note(spot),
            ),
        )

    def high_end_checks(self, high: Spot, size: Size) -> tuple[Check, ...]:
        """Pull and crest at the high end of the flow's range."""
        crest = () if in_swale(high) else crest_between_banks(high, size.height_m)
        return (_pull(high), *crest)

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Pickets, loose brush for wall and apron, seed."""
        rules, dims = spot.rules, size.dims
        loose = rules.value("wicker_weir.loose_brush")
        wall = size.crest_m * size.length_m * (size.height_m + dims["crest_dip_m"])
        apron = dims["bed_width_m"] * dims["apron_m"] * size.height_m / 2
        return (
            Amount("pickets", dims["pickets_count"], f"{metres(dims['picket_length_m'])} long"),
            Amount("brush", loose * wall, "woven wall, loose"),
            Amount("brush", loose * apron, "apron, loose"),
            amounts.seed(rules, size.length_m + dims["apron_m"], size.crest_m),
        )

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """What to take care of here."""
        soil = (
            "Pickets drive into fine soil, not into gravel or rock: try one first.",
            "Brush rots in a few years: use willow cuttings that take root where the bed is moist.",
        )
        return structure_sentences.each_once(
            height_cautions(spot),
            structure_sentences.channel_cautions(spot),
            flow_cautions(spot),
            soil,
        )

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Pickets, apron, weave, keys."""
        dims = size.dims
        return (
            structure_sentences.STORMS,
            f"Mark a line across a straight stretch, {metres(size.crest_m)} long with "
            f"{metres(dims['key_m'])} into each bank, and dig a trench along it, a hand deep.",
            f"Drive {dims['pickets_count']:.0f} pickets of {metres(dims['picket_length_m'])} every "
            f"{metres(dims['picket_spacing_m'])}, at least half their length into the ground. "
            "One person holds with tongs, one drives; eyes covered.",
            f"Lay {metres(dims['apron_m'])} of brush below them, butt ends upstream, pressed into "
            "the bed and held with the lowest weave.",
            f"Weave brush tightly between the pickets, from the trench up to "
            f"{metres(size.height_m)} above the bed in the middle and "
            f"{metres(dims['crest_dip_m'])} more at the ends. Trim all pickets at the weave.",
            f"Key both ends {metres(dims['key_m'])} into the banks and tamp soil round them."
            f"{keyed_to(spot, size.height_m)} Pack "
            "fine brush and soil against the upper side; sow the worked ground.",
            structure_sentences.INSPECT,
        )

    def failures(self) -> tuple[Failure, ...]:
        """Piping, end cutting, undermining, rot."""
        return (
            structure_sentences.PIPING,
            structure_sentences.END_CUT,
            structure_sentences.UNDERMINED,
            Failure(
                "Brush rots or burns.",
                "Loose, dry weave that breaks in the hand.",
                "Weave fresh brush on top of the filled bed before the old one goes.",
            ),
        )

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Weave round its pickets, which are driven into the bed; brush pressed in below it."""
        half, dims = size.length_m / 2, size.dims
        thin = min(half, PICKET_M / 2)
        driven = dims["picket_length_m"] - size.height_m
        below = (half, half + dims["apron_m"])
        return (
            box("body", (-half, half), (0.0, size.height_m), level="ground"),
            box("picket", (-thin, thin), (-driven, 0.0), level="ground"),
            # As thick as its brush is counted for.
            box("apron", below, (-size.height_m / 2, 0.0), level="ground"),
        )

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Lowest in the middle, with a key in each bank."""
        dims = size.dims
        return dished_crest(
            dims["bed_width_m"],
            dims["key_m"],
            height_m=size.height_m,
            dip_m=dims["crest_dip_m"],
            below_m=0.0,
        )


def _pull(spot: Spot) -> Check:
    """Hold the pull of the design flow against what woven brush stands."""
    shear, state = spot.rules["wicker_weir.shear"], design_flow(spot)
    if state is not None:
        return at_most(
            shear,
            state.deepest_shear_pa,
            what="the pull of the design flow on the bed",
            so="that woven brush stands",
            show=_pascals,
        )
    return condition(
        True,
        rule=shear.name,
        asks=f"a pull on the bed of at most {_pascals(shear.value)}",
        found="no flow known",
        why_not="",
        source=shear.source,
        basis=shear.basis,
    )


def _pascals(value: float) -> str:
    return quantity(value, "Pa")
