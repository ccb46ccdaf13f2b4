"""Sentences that several types tell: safety first, inspection, lifting."""

from __future__ import annotations

import numpy as np

from siting.channels.reach_settings import SWALES
from siting.places.spot import Spot
from siting.structures.channel_sizes import channel_width_m
from siting.structures.limit_checks import steepest
from siting.structures.structure_type import Failure, Stone
from siting.values.wording import hectares, metres, percent, quantity

STORMS = (
    "Do not work in the channel with storms upstream; agree on a way out before you start, and "
    "have one person watch the sky."
)
UNDERCUT = (
    "Never stand or kneel under the lip or an undercut bank: break it down from above with a bar "
    "first, from the side."
)
INSPECT = (
    "Look at it after every flow in the first year, then each year before the rains: stones or "
    "logs moved, ends, apron, holes behind it. Mend small faults at once."
)
#: A gully that is wider than what has to be held of it by less than this is held whole, m.
NEARLY_WHOLE_M = 0.5
#: What a crew looks at before it starts, by what the structure is for. Common practice.
LOOK_AT_A_DROP = (
    "The drop is where the plan has it, and no higher than the plan says.",
    "The foot of the drop is firm and not undercut; nothing hangs over the crew.",
    "The water comes in over the middle of the lip, not from the sides.",
    "The bed holds below: a sill, rock, or the structure that backs water to the foot.",
)
LOOK_AT_THE_BED = (
    "The bed is straight and its floor firm here, with solid banks for both ends.",
    "Bankfull depth: from the bed to the flat bench or the lowest line of lasting plants.",
    "The bed holds below: rock, a junction, or the next structure downstream.",
    "No side channel comes in where an end would stand.",
)
_STAGES = {
    3: "The reach is still widening: reach well into the banks, and expect to mend the ends.",
    4: "The reach may be filling by itself: treat only what still cuts.",
    5: "The reach may have come to rest: treat only what still cuts.",
}
END_CUT = Failure(
    "Water goes round an end.",
    "Fresh cutting in the bank at an end, a wet line beside the structure.",
    "Lengthen the key into the bank and lower the middle, so that the middle carries the flow.",
)
UNDERMINED = Failure(
    "The bed below is scoured and the structure is undermined.",
    "A hole below the apron, stones or logs that hang free.",
    "Fill the hole with the largest stone, lengthen the apron, and see that the structure below "
    "backs water to its foot.",
)
PIPING = Failure(
    "Water runs through or under it and carries the soil away.",
    "Muddy jets on the lower side, a hollow on the upper side.",
    "Dig the hole out, lay fabric or gravel with fines against the upper side, and fill again.",
)


def lifting(spot: Spot, stone: Stone | None) -> str:
    """Say who lifts what."""
    one, two = spot.rules.low("hand_work.lift"), spot.rules.high("hand_work.lift")
    heavy = (
        f"; the largest stones here weigh about {quantity(stone.heaviest_kg, 'kg')}"
        if stone and stone.two_person
        else ""
    )
    return (
        f"Lift with gloves and boots on: up to {quantity(one, 'kg')} one person, up to "
        f"{quantity(two, 'kg')} two; roll anything heavier with bars{heavy}."
    )


def channel_cautions(spot: Spot) -> tuple[str, ...]:
    """What the place asks care for, whatever is built in the channel."""
    rules, out = spot.rules, []
    gentle = rules.low("hand_work.gradient")
    slope, error, where = steepest(spot)
    if slope + error > gentle:
        out.append(
            f"The bed{where} falls {percent(slope)}, past the {percent(gentle)} of plain hand work "
            "or within the error of it: set one-rock dams close together below."
        )
    shallow = rules.low("one_rock_dam.channel_depth")
    if not np.isfinite(spot.banks.depth_m):
        out.append("The elevations do not show the banks: measure width and depth before you buy.")
    elif spot.banks.depth_m + spot.banks.depth_error_m > shallow:
        out.append(
            f"The channel is {metres(spot.banks.depth_m)} deep, past the {metres(shallow)} of "
            "plain hand work or within the error of it: have it reviewed, and never work below an "
            "undercut bank."
        )
    if spot.width_m > rules.low("hand_work.channel_width"):
        out.append("The channel is wide: it takes much material.")
    reviewed = rules.low("hand_work.drainage_area")
    if spot.land.area_ha > reviewed:
        out.append(f"More than {hectares(reviewed)} drain to it: have the design reviewed.")
    cut = spot.form.setting not in SWALES  # a shallow swale is in no stage of incision
    if spot.task.purpose == "grade" and cut and spot.form.stage in _STAGES:
        out.append(_STAGES[spot.form.stage])
    return tuple(out)


def drop_cautions(spot: Spot) -> tuple[str, ...]:
    """What a drop asks care for."""
    easy = spot.rules.low("hand_work.drop")
    if spot.drop.height_m + spot.drop.error_m > easy:
        so = "is" if spot.drop.height_m > easy else "may, within its error, be"
        return (
            f"The drop {so} above {metres(easy)}, where hand work is hard: plan for more hands and "
            "days.",
        )
    return ()


def each_once(*groups: tuple[str, ...]) -> tuple[str, ...]:
    """Join groups of sentences, each once, in their order."""
    return tuple(dict.fromkeys(sentence for group in groups for sentence in group))


def held_note(spot: Spot, width_m: float) -> tuple[str, ...]:
    """Say how much of a wider drop a structure holds, and why; nothing where it holds all."""
    whole = channel_width_m(spot)
    if whole - width_m < NEARLY_WHOLE_M:
        return ()
    return (
        f"It holds the {metres(width_m)} of the drop that the design flow wets, of "
        f"{metres(whole)} between the banks, with its ends let in (common practice, no published "
        "source).",
    )


def dry_sides(spot: Spot, width_m: float) -> tuple[str, ...]:
    """What is done with the drop beside a structure that does not span it all."""
    if channel_width_m(spot) - width_m < NEARLY_WHOLE_M:
        return ()
    return (
        "Beside it, where no flow comes, break the bare face down to a slope that stands, about 2 "
        "along for 1 up, and turn any water from there to the middle.",
    )
