"""How a rock bowl is sized for its fall: one bowl, or two where the drop has to be split."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from siting.places.spot import Spot
from siting.structures.channel_sizes import bed_width_m, drop_of, held_width_m, notch_width_m
from siting.structures.fall_sizing import Fall, fall_over, lifted_d50_m, needed_d50_m, pooled
from siting.structures.limit_checks import ROUNDING
from siting.structures.rock_sizing import Asked, laid_stone, sill_stone
from siting.structures.stone_classes import largest_m
from siting.structures.structure_type import Stone
from siting.values.wording import metres


@dataclass(frozen=True, slots=True)
class Bowl:
    """One bowl of a drop; all of a drop that is split are alike.

    Parameters
    ----------
    count
        How many there are, one below the other.
    width_m, wall_m, run_m
        Across, thickness of the wall, and length of wall and floor along the channel.
    sill_width_m
        Across the channel at the height of the sill.
    crest_fall_m, pool_m
        From the lip to the crest of the sill, and from there to the floor.
    fall
        The design flow that falls into it; None where no flow is known.
    asked, stone
        Stone that the flow asks for, and that is laid.
    """

    count: int
    width_m: float
    wall_m: float
    run_m: float
    sill_width_m: float
    crest_fall_m: float
    pool_m: float
    fall: Fall | None
    asked: Asked | None
    stone: Stone

    @property
    def lip_m(self) -> float:
        """From the head of the wall to the edge that the water leaves."""
        return self.wall_m / 2

    @property
    def sill_length_m(self) -> float:
        """Length of the sill along the channel."""
        return 2 * self.stone.d100_m

    @property
    def length_m(self) -> float:
        """Length of one bowl along the channel, with its sill."""
        return self.run_m + self.sill_length_m


def bowl_for(spot: Spot) -> Bowl:
    """One bowl; two where people lift the stone of half the drop only, or of neither."""
    whole = _of_count(spot, 1)
    half = drop_of(spot) / 2
    if _lifted(spot, whole) or half < spot.rules.value("rock_bowl.step") - ROUNDING:
        return whole
    return _of_count(spot, 2)


def _lifted(spot: Spot, bowl: Bowl) -> bool:
    return bowl.stone.heaviest_kg <= spot.rules.high("hand_work.lift") + ROUNDING


def _of_count(spot: Spot, count: int) -> Bowl:
    """Work out a bowl that takes its share of the drop."""
    rules = spot.rules
    share, sill = drop_of(spot) / count, rules.value("rock_bowl.sill")
    crest_fall = max(drop_of(spot) - sill, 0.0) / count
    run, bed = rules.value("rock_bowl.run") * share, bed_width_m(spot)
    # no thinner than the largest stone that can be lifted, and it leaves a floor to fall on
    thick = largest_m(rules, lifted_d50_m(spot, people=2))
    wall = min(max(rules.value("rock_bowl.face") * share, thick), 0.5 * run)
    # so wide that its pool is no narrower than the bed, and its notch no wider than the pool
    width = max(held_width_m(spot), bed + 2 * wall)
    notch = min(notch_width_m(spot), width - 2 * wall)
    sill_width = min(max(spot.section.top_width_m(sill), bed), width)
    because, pool = "the smallest stone of a bowl", rules["rock_bowl.pool"]
    shallow = max(pool.low, sill)
    fall = fall_over(
        spot,
        crest_fall_m=crest_fall,
        pool_m=shallow,
        notch_m=notch,
        sill_m=sill_width,
    )
    asked = sill_stone(spot, width_m=sill_width)
    least = rules.value("rock_bowl.stone")
    if fall is not None and asked is not None:
        least = max(least, asked.d50_m)
        fall, d50 = pooled(spot, fall, least_d50_m=least, deepest_m=max(pool.high, shallow))
        asked = Asked((("fall into the pool (Kolatus)", needed_d50_m(spot, fall)), *asked.by))
        if fall.pool_m > shallow and d50 > asked.d50_m:
            least, because = d50, "stone that one person lifts, and a pool dug as deep as it needs"
    stone = laid_stone(spot, asked, by_size_m=least, because=because)
    landing = wall / 2 + fall.landing_m + stone.d100_m if fall else 0.0
    return Bowl(
        count=count,
        width_m=width,
        wall_m=wall,
        run_m=max(run, landing),
        sill_width_m=sill_width,
        crest_fall_m=crest_fall,
        pool_m=fall.pool_m if fall else shallow,
        fall=fall,
        asked=asked,
        stone=stone,
    )


def laid_fall(spot: Spot, dims: Mapping[str, float]) -> Fall | None:
    """Give the fall into a bowl as it is laid; None where no flow is known.

    Parameters
    ----------
    spot
        The place, with the flow to look at.
    dims
        Sizes of the bowl that was laid.
    """
    width, wall, pool = dims["width_m"], dims["wall_m"], dims["pool_depth_m"]
    return fall_over(
        spot,
        crest_fall_m=dims["wall_height_m"] - pool,
        pool_m=pool,
        notch_m=min(notch_width_m(spot), width - 2 * wall),
        sill_m=dims["sill_width_m"],
    )


def split_note(spot: Spot, bowl: Bowl) -> tuple[str, ...]:
    """Why a drop is split; nothing where it is not."""
    if bowl.count == 1:
        return ()
    whole = _of_count(spot, 1).stone
    return (
        f"The drop is split in two falls of {metres(bowl.crest_fall_m)} from crest to crest: in "
        f"one, the flow would ask for stone {metres(whole.d100_m)} thick, more than people lift.",
    )
