"""Rock rundown: a headcut laid back to a gentle face and armoured with stone."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar

from siting.places.spot import Spot
from siting.structures import amounts, structure_sentences
from siting.structures.channel_sizes import drop_of, held_width_m, notch_width_m
from siting.structures.design_flow import flow_cautions
from siting.structures.high_end import ends_stay_dry, stone_stays
from siting.structures.limit_checks import at_least, at_most, hand_limits
from siting.structures.outlines import box, rectangle
from siting.structures.rock_sizing import (
    Asked,
    chute_stone,
    laid_stone,
    lift_check,
    stone_cautions,
    stone_notes,
)
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

#: Its stone is sized by slope and flow alone (`siting.structures.rock_sizing.chute_stone`).
NO_POOL = (
    "It has no pool, and its stone counts on none at its foot: the water leaves the apron fast, so "
    "look below it first after each flow."
)


class RockRundown(StructureType):
    """A chute of stone down a low drop with little water."""

    name: ClassVar[str] = "rock rundown"
    purposes: ClassVar[tuple[str, ...]] = ("vertical",)
    control: ClassVar[str] = "vertical"
    materials_needed: ClassVar[frozenset[str]] = frozenset({"rock"})
    summary: ClassVar[str] = (
        "A rock rundown, the face laid back and armoured with stone, takes a small flow down a "
        "low drop."
    )
    size_words: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "crest_m": "Width at the top",
            "face_m": "Face, along",
            "face_slope": "The face falls",
            "chute_width_m": "Width of the chute",
            "edge_m": "Stone up both sides",
            "layer_m": "Stone, thick",
        }
    )
    look_first: ClassVar[tuple[str, ...]] = structure_sentences.LOOK_AT_A_DROP
    needs_tailwater: ClassVar[bool] = False

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Hand limits, low drop, little land, a slope the formula holds for, liftable stone."""
        rules = spot.rules
        common = hand_limits(
            spot, purposes=self.purposes, needed=self.materials_needed, name=self.name
        )
        low = at_most(
            rules["rock_rundown.drop"],
            spot.drop.height_m,
            error=spot.drop.error_m,
            what="the drop",
            so="that suits a rundown",
        )
        little = at_most(
            rules["rock_rundown.drainage_area"],
            spot.land.area_ha,
            what="the land that drains here",
            so="that suits a rundown",
            show=hectares,
        )
        face = _face_slope(spot)
        slope = rules["rock_rundown.face_slope"]
        within = (
            at_most(
                slope,
                face,
                what="the slope of the face",
                so="up to which the size of its stone is known",
                show=percent,
            ),
            at_least(
                slope,
                face,
                what="the slope of the face",
                so="from which the size of its stone is known",
                show=percent,
            ),
        )
        checks = (*common, low, little, *within)
        if all(check.passed for check in within):
            return (*checks, lift_check(spot, _stone(spot), _asked(spot)))
        return checks

    def suits(self, spot: Spot) -> float:
        """Best where drop and land are small; still before a bowl up to its limits."""
        rules = spot.rules
        small = spot.drop.height_m + spot.drop.error_m <= rules.low(
            "rock_rundown.drop"
        ) and spot.land.area_ha <= rules.low("rock_rundown.drainage_area")
        return 0.9 if small else 0.75

    def size(self, spot: Spot) -> Size:
        """Face of so many drop heights, and a level apron at its foot."""
        rules, stone = spot.rules, _stone(spot)
        drop, edge = drop_of(spot), rules.value("rock_rundown.edge")
        face = rules.value("rock_rundown.run") * drop
        outlet = rules.value("rock_rundown.outlet") * stone.d50_m
        chute = _chute_width_m(spot)
        crest = held_width_m(spot) + 2 * edge
        flare = (chute - crest) / 2 + edge
        foot = chute / 2 + edge
        layer = rules.value("stone.layer") * stone.d50_m
        return Size(
            height_m=drop,
            length_m=face + outlet,
            crest_m=crest,
            dims={
                "face_m": face,
                "face_slope": 1 / rules.value("rock_rundown.run"),
                "chute_width_m": chute,
                "edge_m": edge,
                "apron_m": outlet,
                "layer_m": layer,
            },
            parts=(
                rectangle("face", (-face, 0.0), (-crest / 2, crest / 2), lower_across_m=flare),
                rectangle("apron", (0.0, outlet), (-foot, foot)),
            ),
            stone=stone,
            notes=(
                *structure_sentences.held_note(spot, crest),
                f"The face is laid back to {rules.value('rock_rundown.run'):g} along for 1 down "
                "(field guides, from memory).",
                f"Its stone lies {metres(layer)} thick, two median stones; the apron is "
                f"{metres(outlet)} long, {rules.value('rock_rundown.outlet'):g} median stones "
                "(rock-chute guides, from memory).",
                *stone_notes(spot, stone),
            ),
        )

    def high_end_checks(self, high: Spot, size: Size) -> tuple[Check, ...]:
        """Stone and ends at the high end of the flow's range."""
        ends = ends_stay_dry(high, size.crest_m)
        return (*stone_stays(high, size.stone, _asked(high)), *ends)

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Stone of face and apron, gravel or fabric below, earth laid back, seed."""
        rules, dims = spot.rules, size.dims
        assert size.stone is not None
        d50, layer = size.stone.d50_m, dims["layer_m"]
        along_face = (dims["face_m"] ** 2 + size.height_m**2) ** 0.5
        foot = dims["chute_width_m"] + 2 * dims["edge_m"]
        face_area = along_face * (size.crest_m + foot) / 2
        apron_area = dims["apron_m"] * foot
        face, apron = face_area * layer, apron_area * layer
        # the wedge of soil above the face, and the bed of the stone
        wedge = 0.5 * dims["face_m"] * size.height_m * (size.crest_m + foot) / 2
        dug = wedge + face + apron
        return (
            amounts.stone(rules, face, d50_m=d50, note="face"),
            amounts.stone(rules, apron, d50_m=d50, note="apron and toe"),
            amounts.chinking(rules, face + apron, note="in the gaps"),
            Amount("fabric", face_area + apron_area, "under the stone"),
            Amount("fill", dug, "dug to lay the face back and bed its stone"),
            amounts.seed(rules, size.length_m, size.crest_m),
        )

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """What to take care of here."""
        rules = spot.rules
        large = spot.drop.height_m > rules.low(
            "rock_rundown.drop"
        ) or spot.land.area_ha > rules.low("rock_rundown.drainage_area")
        gathers = ("Large for a rundown: where the flow gathers, build a rock bowl instead.",)
        return structure_sentences.each_once(
            (NO_POOL,),
            structure_sentences.channel_cautions(spot),
            flow_cautions(spot),
            stone_cautions(spot, size.stone),
            gathers if large else (),
        )

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Lay back, toe, apron, face from below up."""
        dims = size.dims
        assert size.stone is not None
        return (
            structure_sentences.STORMS,
            structure_sentences.UNDERCUT,
            "Build the structure below first.",
            f"Dig the face back from above, up the channel from its foot, to "
            f"{metres(dims['face_m'])} along for {metres(size.height_m)} of drop, "
            f"{metres(size.crest_m)} wide at the top, dished so that the middle is lowest. Round "
            "off the crest.",
            f"Dig it {metres(dims['layer_m'])} deeper for the stone, and a toe trench one stone "
            "deep across the foot. Lay fabric, or a hand of gravel.",
            structure_sentences.lifting(spot, size.stone),
            f"Fill the toe with the largest stones and lay {metres(dims['apron_m'])} of apron "
            "level with the bed.",
            f"Lay the face from the foot up, {metres(dims['layer_m'])} thick, angular stone set "
            "tight; chink the gaps with gravel.",
            f"Carry the stone {metres(dims['edge_m'])} up both sides, higher than the middle, and "
            "end it at the crest flush with the ground upstream.",
            *structure_sentences.dry_sides(spot, size.crest_m),
            "Sow the worked ground.",
            structure_sentences.INSPECT,
        )

    def failures(self) -> tuple[Failure, ...]:
        """Water beside it, stones that slide, a scoured foot."""
        return (
            Failure(
                "Water runs down beside the stone.",
                "A rill along an edge.",
                "Lower the middle, raise and widen the edges, fill the rill with stone.",
            ),
            Failure(
                "Stones slide or roll down the face.",
                "Bare fabric or soil, stones on the apron.",
                "Lay larger stone; where it moves again the flow is too strong for a rundown.",
            ),
            structure_sentences.UNDERMINED,
        )

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Layer of stone down the face, laid back up the channel from the foot, and the apron."""
        drop, face, layer = size.height_m, size.dims["face_m"], size.dims["layer_m"]
        laid = ((-face, 0.0), (0.0, -drop), (0.0, -drop - layer), (-face, -layer))
        apron = box("apron", (0.0, size.dims["apron_m"]), (-drop - layer, -drop))
        return Outline("face", laid), apron

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Seen from below: the face, its top dished so that the middle is lowest."""
        half, drop = size.crest_m / 2, size.height_m
        up = drop + size.dims["edge_m"]
        seen = ((-half, 0.0), (-half, up), (0.0, drop), (half, up), (half, 0.0))
        return (Outline("face", seen, in_ground=False),)


def _face_slope(spot: Spot) -> float:
    return 1 / spot.rules.value("rock_rundown.run")


def _chute_width_m(spot: Spot) -> float:
    """Width that carries the flow as deep as the channel does."""
    return notch_width_m(spot)


def _asked(spot: Spot) -> Asked | None:
    return chute_stone(spot, width_m=_chute_width_m(spot), slope=_face_slope(spot))


def _stone(spot: Spot) -> Stone:
    return laid_stone(
        spot,
        _asked(spot),
        by_size_m=spot.rules.value("stone.smallest"),
        because="the smallest stone that is laid by hand",
    )
