"""Rock bowl: a curved wall, a tiled pool and a sill of stone that stop a headcut."""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar

from siting.places.spot import Spot
from siting.structures import amounts, structure_sentences
from siting.structures.channel_sizes import bed_width_m, channel_width_m, drop_of
from siting.structures.design_flow import flow_cautions
from siting.structures.limit_checks import hand_limits
from siting.structures.outlines import area_m2, box, horseshoe, pool_in, rectangle
from siting.structures.rock_sizing import (
    Asked,
    laid_stone,
    lift_check,
    sill_stone,
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
from siting.values.wording import metres


class RockBowl(StructureType):
    """A bowl of stone below the lip, with a sill that keeps a pool."""

    name: ClassVar[str] = "rock bowl"
    purposes: ClassVar[tuple[str, ...]] = ("vertical",)
    control: ClassVar[str] = "vertical"
    materials_needed: ClassVar[frozenset[str]] = frozenset({"rock"})
    summary: ClassVar[str] = (
        "A rock bowl, a curved wall and a tiled pool of stone with a sill below it, stops the drop "
        "where it stands, takes the force out of the fall and keeps the face moist for plants."
    )
    size_words: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "wall_m": "Wall, thick",
            "pool_m": "Floor of the bowl, along",
            "sill_height_m": "Sill above the floor",
            "sill_length_m": "Sill, along",
            "sill_width_m": "Sill, across",
        }
    )
    look_first: ClassVar[tuple[str, ...]] = structure_sentences.LOOK_AT_A_DROP

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Hand limits, and stone against what people lift."""
        common = hand_limits(
            spot, purposes=self.purposes, needed=self.materials_needed, name=self.name
        )
        return (*common, lift_check(spot, _stone(spot), _asked(spot)))

    def suits(self, spot: Spot) -> float:
        """Well at any drop that hands may build."""
        return 0.7

    def size(self, spot: Spot) -> Size:
        """Wall as high as the drop, bank to bank; length in drop heights."""
        rules, stone = spot.rules, _stone(spot)
        drop, width = drop_of(spot), channel_width_m(spot)
        run = rules.value("rock_bowl.run") * drop
        # a wall is at least one stone thick, and leaves a floor to fall on
        wall = min(max(rules.value("rock_bowl.face") * drop, stone.d100_m), 0.5 * run, 0.25 * width)
        sill_m, sill_length = rules.value("rock_bowl.sill"), 2 * stone.d100_m
        key = rules.value("grade_control.key")
        bowl = {"width_m": width, "depth_m": run, "thickness_m": wall}
        sill_width = min(max(spot.section.top_width_m(sill_m), bed_width_m(spot)), width)
        half = sill_width / 2 + key
        return Size(
            height_m=drop,
            length_m=run + sill_length,
            crest_m=width + 2 * key,
            dims={
                "width_m": width,
                "wall_m": wall,
                "pool_m": run - wall,
                "sill_height_m": sill_m,
                "sill_length_m": sill_length,
                "sill_width_m": sill_width,
                "key_m": key,
            },
            parts=(
                horseshoe("wall", **bowl),
                pool_in("pool", **bowl),
                rectangle("sill", (run, run + sill_length), (-half, half)),
            ),
            stone=stone,
            notes=(
                f"The wall is as high as the drop, {metres(drop)}; wall and pool take "
                f"{rules.value('rock_bowl.run'):g} drop heights along the channel (common "
                "practice, no published source).",
                f"The sill stands {metres(sill_m)} above the floor of the pool; the crest of the "
                "grade control below has to lie between the foot of the drop and the sill (common "
                "practice).",
                *stone_notes(spot, stone),
            ),
        )

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Stone of wall, floor and sill; fabric behind and below; gravel; seed."""
        rules, dims = spot.rules, size.dims
        assert size.stone is not None
        d50, d100 = size.stone.d50_m, size.stone.d100_m
        face = wall_face_m2(size)
        wall = face * rules.value("stone.layer") * d50
        floor_area = area_m2(size.parts[1])
        floor = floor_area * d100
        across = dims["sill_width_m"] + 2 * dims["key_m"]
        sill = across * dims["sill_length_m"] * (dims["sill_height_m"] + d50)
        return (
            amounts.stone(rules, wall, d50_m=d50, note="wall, two stones thick"),
            amounts.stone(rules, floor, d50_m=d50, note="floor of the pool, one stone thick"),
            amounts.stone(rules, sill, d50_m=d50, note="sill, one stone of it below the floor"),
            amounts.chinking(rules, wall + floor + sill, note="in the gaps"),
            Amount("fabric", face + floor_area, "behind the wall and under the floor"),
            amounts.seed(rules, size.length_m, size.crest_m),
        )

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """What to take care of here."""
        return structure_sentences.each_once(
            structure_sentences.drop_cautions(spot),
            structure_sentences.channel_cautions(spot),
            flow_cautions(spot),
            stone_cautions(spot, size.stone),
            ("The water has to enter in the middle: turn what comes in from the sides.",),
        )

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Grade control first, then floor, sill, wall, lip last."""
        dims = size.dims
        assert size.stone is not None
        return (
            structure_sentences.STORMS,
            structure_sentences.UNDERCUT,
            "Build the grade control below first.",
            f"Shape the face to a curve, {metres(dims['width_m'])} wide, leaning back at least "
            f"1 along for 2 up. Dig the floor {metres(size.stone.d100_m)} deep and smooth it over "
            f"{metres(dims['pool_m'])} along the channel.",
            "Lay fabric, or a hand of gravel, behind the wall and under the floor.",
            structure_sentences.lifting(spot, size.stone),
            f"Set the sill at the lower end with the largest stones: "
            f"{metres(dims['sill_width_m'])} across at its own height and {metres(dims['key_m'])} "
            "into each bank, its foot one stone below the floor, its "
            f"top {metres(dims['sill_height_m'])} above the floor and lowest in the middle.",
            "Tile the floor with flat stones, tight, one stone thick.",
            f"Build the wall from the floor up, two stones thick, each stone on two, up to "
            f"{metres(size.height_m)}; lean it against the soil and fill the gaps with gravel.",
            "Set the top row last, under the lip and at or just below its grade, lowest in the "
            "middle: no stone may stand above the ground upstream.",
            "Sow the worked ground.",
            structure_sentences.INSPECT,
        )

    def failures(self) -> tuple[Failure, ...]:
        """Water beside or behind it, a scoured sill, fallen stones."""
        return (
            Failure(
                "Water enters beside the wall or behind it.",
                "A new notch in the lip beside the stone, wet soil or holes behind the wall.",
                "Lower the middle of the lip, close holes with fabric and small stone, extend the "
                "wall round the notch.",
            ),
            structure_sentences.UNDERMINED,
            Failure(
                "Stones of the wall fall into the pool.",
                "Gaps in the wall, loose stones on the floor.",
                "Set them again, each on two, from the side and never from under the lip.",
            ),
        )

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Wall that leans against the soil from the lip to the floor; floor; sill."""
        assert size.stone is not None
        dims, drop, stone = size.dims, size.height_m, size.stone.d100_m
        wall, run = dims["wall_m"], dims["wall_m"] + dims["pool_m"]
        under = -drop - stone
        leaning = ((0.0, 0.0), (wall / 2, 0.0), (wall, -drop), (wall, under), (0.0, under))
        sill = (under, -drop + dims["sill_height_m"])
        return (
            Outline("wall", leaning),
            box("floor", (wall, run), (under, -drop)),
            box("sill", (run, run + dims["sill_length_m"]), sill),
        )

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Seen from below: the wall from bank to bank, and the sill before it."""
        half, tall = size.dims["width_m"] / 2, size.dims["sill_height_m"]
        sill = size.dims["sill_width_m"] / 2
        return (
            box("wall", (-half, half), (0.0, size.height_m), in_ground=False),
            box("sill", (-sill, sill), (0.0, tall), in_ground=False),
        )


def wall_face_m2(size: Size) -> float:
    """Face of the curved wall: half the way round an ellipse (Ramanujan), times its height."""
    a, b = size.dims["width_m"] / 2, size.dims["wall_m"] + size.dims["pool_m"]
    around = math.pi * (3 * (a + b) - math.sqrt((3 * a + b) * (a + 3 * b)))
    return around / 2 * size.height_m


def _asked(spot: Spot) -> Asked | None:
    return sill_stone(spot, width_m=channel_width_m(spot))


def _stone(spot: Spot) -> Stone:
    limit = spot.rules["rock_bowl.stone"]
    by_height = spot.rules.value("rock_bowl.stone_share") * drop_of(spot)
    return laid_stone(
        spot,
        _asked(spot),
        by_size_m=min(max(by_height, limit.low), limit.high),
        because="stone of a bowl by the height of its drop",
        trade_only=True,
    )
