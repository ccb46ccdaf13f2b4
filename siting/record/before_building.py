"""What has to be settled before a stone is lifted, with the totals that offices ask for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from siting.record.structure_rows import columns_of
from siting.structures.structure_type import Amount
from siting.values.columns import Columns
from siting.values.wording import counted, metres, quantity

#: Bulk weight of loose stone, t/m3 (common practice).
LOOSE_STONE_T_M3 = 1.6
#: Share of a pile of brush that is wood once it is trodden in (common practice).
BRUSH_SHARE = 0.3
#: Mean thickness of a log for its volume, m (common practice).
LOG_M = 0.2


@dataclass(frozen=True, slots=True)
class Totals:
    """What a plan puts into the ground.

    Parameters
    ----------
    structures, channels
        Number of structures, and of channels that they stand in.
    fill_m3, largest_fill_m3
        Stone, earth, gravel and wood together, and the most at one site.
    disturbed_m2
        Footprints of all structures.
    widest
        Whether some of it is at the widest that the channel may be, since nobody saw the width.
    water_held_m3, deepest_m
        Water behind all structures when they are new and tight, and the greatest depth.
    without_flow
        Structures in channels whose design flow is not known.
    """

    structures: int
    channels: int
    fill_m3: float
    largest_fill_m3: float
    disturbed_m2: float
    widest: bool
    water_held_m3: float
    deepest_m: float
    without_flow: int = 0

    @property
    def widest_words(self) -> str:
        """What is said of fill and ground where nobody saw some width; empty where all were."""
        return ", at the widest where nobody saw the channel's width" if self.widest else ""


def fill_m3(amounts: Sequence[Amount]) -> float:
    """Volume of what a structure is made of, m3."""
    volume = 0.0
    for amount in amounts:
        if amount.item.startswith("stone"):
            volume += amount.amount / LOOSE_STONE_T_M3
        elif amount.item in ("gravel", "fill"):
            volume += amount.amount
        elif amount.item == "brush":
            volume += BRUSH_SHARE * amount.amount
        elif amount.item == "logs":
            volume += amount.amount * 0.7854 * LOG_M**2
    return volume


def design_sentence(totals: Totals, design_period_yr: float) -> str:
    """Say for which flow sizes are made, and where none is known."""
    if not totals.without_flow:
        return f"Sizes are made for the flow with a chance of 1 in {design_period_yr:g} a year."
    where = counted(totals.without_flow, "structure")
    return (
        f"Of {where} the flow with a chance of 1 in {design_period_yr:g} a year is not known: "
        "stone and wood there are not checked against it."
    )


def before_building(totals: Totals, *, design_period_yr: float) -> Mapping[str, str]:
    """Subjects and sentences, in the order in which they are settled."""
    t = totals
    where = f"{counted(t.structures, 'structure')} in {counted(t.channels, 'channel')}"
    return {
        "Who decides": (
            "This is a desk plan. Local codes, permits and licensed practice come before it; "
            "everything that is referred waits for an engineer."
        ),
        "Utilities": (
            "Have buried lines marked before any digging or driving of posts "
            "(in the United States the one-call service, 811)."
        ),
        "Permits for fill": (
            f"Stone, wood and earth in a channel may need a permit, in dry channels too (in the "
            f"United States Clean Water Act section 404, state certification and state law). "
            f"Together: {where}, about {quantity(t.fill_m3, 'm3')} of fill on "
            f"{quantity(t.disturbed_m2, 'm2')}{t.widest_words}; at most "
            f"{quantity(t.largest_fill_m3, 'm3')} at one site. Whether a channel counts is for the "
            "office to say."
        ),
        "Water": (
            f"New and tight, all of it would hold about {quantity(t.water_held_m3, 'm3')}, "
            f"nowhere deeper than {metres(t.deepest_m)}; it leaks and drains. Ask about water "
            "rights and dam rules all the same."
        ),
        "Cultural survey": (
            f"Have the ground looked over for sites of the past before it is disturbed: about "
            f"{quantity(t.disturbed_m2, 'm2')} at the structures{t.widest_words}, with the ways to "
            "them and the places that stone is taken from."
        ),
        "Plants and animals": (
            "Ask about protected species, nesting seasons and fish; where water runs all year or "
            "fish live, a biologist looks first."
        ),
        "Ground and what lies below": (
            "Look at every place for soil pipes (holes that swallow water), undercut or high "
            "banks, seeps, and bare rock; and at what a washed-out structure or a larger flow "
            "would reach downstream: roads, fences, diversions, neighbours. Where any of it may be "
            "harmed, ask first."
        ),
        "Grazing": (
            "Keep stock off the structures until plants hold them: usually two growing seasons "
            "(common practice, no published source)."
        ),
        "Design flow": (
            f"{design_sentence(t, design_period_yr)} Larger flows come: look after each, and mend."
        ),
        "Crew": (
            "Nobody works under an undercut bank or lip, nor with storms upstream. Stones of more "
            "than 23 kg take two people or a bar (load constant of the NIOSH lifting equation, "
            "from memory)."
        ),
    }


def before_columns(totals: Totals, *, design_period_yr: float) -> Columns:
    """Rows of the table ``before_you_build``."""
    texts = before_building(totals, design_period_yr=design_period_yr)
    rows = [(i, subject, text) for i, (subject, text) in enumerate(texts.items(), start=1)]
    return columns_of(("step", "subject", "text"), rows)
