"""Rock bowl: a curved wall, a tiled pool and a sill of stone that stop a headcut.

Where hands cannot lift the stone that a fall asks for, the drop is split in two: two bowls, the
upper one dug back into the face, its sill the lip of the lower one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar

from siting.places.spot import Spot
from siting.structures import amounts, structure_sentences
from siting.structures.bowl_design import Bowl, bowl_for, laid_fall, split_note
from siting.structures.channel_sizes import drop_of
from siting.structures.design_flow import flow_cautions
from siting.structures.fall_sizing import fall_notes, landing_check, scour_check
from siting.structures.high_end import ends_stay_dry, stone_stays
from siting.structures.limit_checks import hand_limits
from siting.structures.outlines import area_m2, box, horseshoe, moved, pool_in, rectangle
from siting.structures.rock_sizing import lift_check, sill_stone, stone_cautions, stone_notes
from siting.structures.structure_type import (
    Amount,
    Check,
    Failure,
    Outline,
    Part,
    Size,
    StructureType,
)
from siting.values.wording import metres

#: Names of the bowls of a drop that is split, from below.
BOWLS = ("", "upper ")


class RockBowl(StructureType):
    """A bowl of stone below the lip, with a sill that keeps a pool; two where it is split."""

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
            "bowls_count": "Bowls, one below the other",
            "wall_height_m": "Wall of each, from floor to lip",
            "wall_m": "Wall, thick",
            "pool_m": "Floor of the bowl, along",
            "pool_depth_m": "Floor below the top of the sill",
            "sill_height_m": "Sill above the foot of the drop",
            "sill_length_m": "Sill, along",
            "sill_width_m": "Sill, across",
        }
    )
    look_first: ClassVar[tuple[str, ...]] = structure_sentences.LOOK_AT_A_DROP

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Hand limits, scour and jet within the pool, and stone against what people lift."""
        common = hand_limits(
            spot, purposes=self.purposes, needed=self.materials_needed, name=self.name
        )
        bowl = bowl_for(spot)
        rule = "rock_bowl.pool"
        tried = ", also where the drop is split in two" if bowl.count > 1 else ""
        return (
            *common,
            scour_check(spot, bowl.fall, bowl.stone, rule=rule),
            landing_check(bowl.fall, bowl.run_m, lip_m=bowl.lip_m, rule="rock_bowl.run"),
            lift_check(spot, bowl.stone, bowl.asked, tried=tried),
        )

    def suits(self, spot: Spot) -> float:
        """Well at any drop that hands may build; where one has to be split, before laying back."""
        return 0.7 if bowl_for(spot).count == 1 else 0.8

    def size(self, spot: Spot) -> Size:
        """Wall as high as the drop and as wide as the flow; as long as drop and jet ask for."""
        rules, bowl = spot.rules, bowl_for(spot)
        stone, key = bowl.stone, rules.value("grade_control.key")
        sill = rules.value("rock_bowl.sill")
        return Size(
            height_m=drop_of(spot),
            length_m=bowl.count * bowl.length_m,
            crest_m=bowl.width_m + 2 * key,
            dims={
                "bowls_count": bowl.count,
                "width_m": bowl.width_m,
                "wall_height_m": bowl.crest_fall_m + bowl.pool_m,
                "wall_m": bowl.wall_m,
                "pool_m": bowl.run_m - bowl.wall_m,
                "pool_depth_m": bowl.pool_m,
                "sill_height_m": sill,
                "sill_length_m": bowl.sill_length_m,
                "sill_width_m": bowl.sill_width_m,
                "key_m": key,
            },
            parts=_parts(bowl, key),
            stone=stone,
            notes=(
                *split_note(spot, bowl),
                *structure_sentences.held_note(spot, bowl.width_m),
                f"The wall stands {metres(bowl.crest_fall_m + bowl.pool_m)} above the floor; wall "
                f"and pool take {metres(bowl.run_m)} along the channel: "
                f"{rules.value('rock_bowl.run'):g} times the height that falls (common practice, "
                "no published source), and no less than to where the jet lands (Rand 1955).",
                f"The floor lies {metres(bowl.pool_m)} below the top of the sill; the lowest sill "
                f"stands {metres(sill)} above the foot of the drop, and the crest of the grade "
                "control below has to lie between the two (common practice).",
                *fall_notes(spot, bowl.fall),
                *stone_notes(spot, stone),
            ),
        )

    def high_end_checks(self, high: Spot, size: Size) -> tuple[Check, ...]:
        """Stone and pool at the high end of the flow's range."""
        assert size.stone is not None
        sill = sill_stone(high, width_m=size.dims["sill_width_m"])
        return (
            *stone_stays(high, size.stone, sill),
            *ends_stay_dry(high, size.crest_m),
            scour_check(high, laid_fall(high, size.dims), size.stone, rule="rock_bowl.pool"),
        )

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Stone of wall, floor and sill; fabric behind and below; earth; gravel; seed."""
        rules, dims = spot.rules, size.dims
        assert size.stone is not None
        d50, d100 = size.stone.d50_m, size.stone.d100_m
        count = dims["bowls_count"]
        face = wall_face_m2(size)
        wall = face * rules.value("stone.layer") * d50
        floor_area = count * area_m2(size.parts[1])
        floor = floor_area * d100
        across = dims["sill_width_m"] + 2 * dims["key_m"]
        sill = count * across * dims["sill_length_m"] * (dims["sill_height_m"] + d50)
        dug = _dug_m3(size, floor_area)
        return (
            amounts.stone(rules, wall, d50_m=d50, note="wall, two stones thick"),
            amounts.stone(rules, floor, d50_m=d50, note="floor of the pool, one stone thick"),
            amounts.stone(rules, sill, d50_m=d50, note="sill, one stone of it below the floor"),
            amounts.chinking(rules, wall + floor + sill, note="in the gaps"),
            Amount("fabric", face + floor_area, "behind the wall and under the floor"),
            *((Amount("fill", dug, "dug for the pool and the upper bowl"),) if dug > 0 else ()),
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
        """Grade control first, then floor, sill, wall, lip last; the lower bowl first."""
        dims = size.dims
        assert size.stone is not None
        below = size.stone.d100_m + dims["pool_depth_m"] - dims["sill_height_m"]
        return (
            structure_sentences.STORMS,
            structure_sentences.UNDERCUT,
            "Build the grade control below first.",
            *_bench(size),
            f"Shape the face to a curve, {metres(dims['width_m'])} wide, leaning back at least "
            f"1 along for 2 up. Dig the floor {metres(below)} deep and smooth it over "
            f"{metres(dims['pool_m'])} along the channel.",
            "Lay fabric, or a hand of gravel, behind the wall and under the floor.",
            structure_sentences.lifting(spot, size.stone),
            f"Set the sill at the lower end with the largest stones: "
            f"{metres(dims['sill_width_m'])} across at its own height and {metres(dims['key_m'])} "
            "into each bank, its foot one stone below the floor, its "
            f"top {metres(dims['pool_depth_m'])} above the floor and lowest in the middle.",
            "Tile the floor with flat stones, tight, one stone thick.",
            f"Build the wall from the floor up, two stones thick, each stone on two, up to "
            f"{metres(dims['wall_height_m'])}; lean it against the soil and fill the gaps with "
            "gravel.",
            *_again(size),
            "Set the top row last, under the lip and at or just below its grade, lowest in the "
            "middle: no stone may stand above the ground upstream.",
            *structure_sentences.dry_sides(spot, dims["width_m"]),
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
        """Wall that leans against the soil from the lip to the floor; floor; sill; from below."""
        assert size.stone is not None
        dims, stone, count = size.dims, size.stone.d100_m, round(size.dims["bowls_count"])
        wall, run = dims["wall_m"], dims["wall_m"] + dims["pool_m"]
        one, tall = size.length_m / count, dims["wall_height_m"]
        out: list[Outline] = []
        for k, name in zip(range(count), BOWLS, strict=False):
            x, lip = -k * one, -(count - 1 - k) * (tall - dims["pool_depth_m"])
            floor = lip - tall
            under, top = floor - stone, floor + dims["pool_depth_m"]
            leaning = ((0.0, lip), (wall / 2, lip), (wall, floor), (wall, under), (0.0, under))
            out += [
                Outline(f"{name}wall", tuple((x + a, level) for a, level in leaning)),
                box(f"{name}floor", (x + wall, x + run), (under, floor)),
                box(f"{name}sill", (x + run, x + run + dims["sill_length_m"]), (under, top)),
            ]
        return tuple(out)

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Seen from below: the wall, and the sill before it."""
        half, tall = size.dims["width_m"] / 2, size.dims["sill_height_m"]
        sill = size.dims["sill_width_m"] / 2
        return (
            box("wall", (-half, half), (0.0, size.height_m), in_ground=False),
            box("sill", (-sill, sill), (0.0, tall), in_ground=False),
        )


def wall_face_m2(size: Size) -> float:
    """Faces of the curved walls: half the way round an ellipse (Ramanujan), times their height."""
    a, b = size.dims["width_m"] / 2, size.dims["wall_m"] + size.dims["pool_m"]
    around = math.pi * (3 * (a + b) - math.sqrt((3 * a + b) * (a + 3 * b)))
    return size.dims["bowls_count"] * around / 2 * size.dims["wall_height_m"]


def _dug_m3(size: Size, floor_area_m2: float) -> float:
    """Earth of pools that lie below the foot, and of the bench on which the upper bowl stands."""
    dims = size.dims
    count, deeper = round(dims["bowls_count"]), dims["pool_depth_m"] - dims["sill_height_m"]
    one = size.length_m / count
    bench = (count - 1) * one * dims["width_m"] * (dims["wall_height_m"] - dims["pool_depth_m"])
    return max(deeper, 0.0) * floor_area_m2 + bench


def _parts(bowl: Bowl, key_m: float) -> tuple[Part, ...]:
    """Wall, pool and sill of each bowl, from below; the lower one begins at the lip."""
    half = bowl.sill_width_m / 2 + key_m
    shape = {"width_m": bowl.width_m, "depth_m": bowl.run_m, "thickness_m": bowl.wall_m}
    out: list[Part] = []
    for k, name in zip(range(bowl.count), BOWLS, strict=False):
        parts = (
            horseshoe(f"{name}wall", **shape),
            pool_in(f"{name}pool", **shape),
            rectangle(f"{name}sill", (bowl.run_m, bowl.length_m), (-half, half)),
        )
        out += [moved(part, along_m=-k * bowl.length_m) for part in parts]
    return tuple(out)


def _bench(size: Size) -> tuple[str, ...]:
    """How the face is dug back for the upper of two bowls."""
    if size.dims["bowls_count"] == 1:
        return ()
    step = size.dims["wall_height_m"] - size.dims["pool_depth_m"]
    return (
        f"Dig the face back in two steps: a bench {metres(step)} below the lip and "
        f"{metres(size.length_m / 2)} long, up the channel from where the lip is now. Build the "
        "lower bowl first, against the lower step, as follows.",
    )


def _again(size: Size) -> tuple[str, ...]:
    """That the upper bowl is built like the lower one."""
    if size.dims["bowls_count"] == 1:
        return ()
    return (
        "Build the upper bowl on the bench in the same way, with a pool of its own: its sill is "
        "the lip of the lower one and rests on the lower wall's top row.",
    )
