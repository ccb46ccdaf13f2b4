"""A site: a proposal, its spot and what was decided there, kept as one value.

What a limit says, what a size was made for and what a layer shows are the same numbers, since they
are read off the same spot.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.hydraulics.open_channel import LOWEST_SLOPE, FlowState, normal_flow
from siting.layout.pair_reach import reach_share, said_first, said_of_water
from siting.layout.proposals import AtHead, Foot, Member, Proposal, Where
from siting.places.spot import Spot
from siting.places.unseen_width import at_each_end, end_words
from siting.structures.bed_and_bank import BedAndBank, bed_and_bank
from siting.structures.bed_and_bank_words import bed_cautions
from siting.structures.catalogue import HOLD, REFER
from siting.structures.decisions import ENGINEER, NOTHING, SETTLE_FIRST, Decision
from siting.structures.grade_height import banks_unseen
from siting.structures.spacing_table import SpacingRow, spacing_rows
from siting.structures.structure_type import Check, Size
from siting.values.wording import metres, sentences, told_at_ends
from terrain.values.errors import ParameterError

#: What begins a finding of the elevations where something was measured on site.
BY_ELEVATIONS = "By the elevations: "
KEEP_OFF = "Keep off the lip and the foot: it may fall without warning."


@dataclass(frozen=True, eq=False)
class Site:
    """One site.

    Parameters
    ----------
    proposal
        Why something should stand there.
    spot
        The place as measured.
    decision
        What the structure types say of it.
    """

    proposal: Proposal
    spot: Spot
    decision: Decision

    @property
    def where(self) -> Where:
        """The place on the ground."""
        return self.proposal.where

    @property
    def head(self) -> AtHead:
        """The headcut that it works at."""
        return self.proposal.head

    @property
    def member(self) -> Member:
        """Its group, and its place there."""
        return self.proposal.member

    @property
    def foot(self) -> Foot:
        """Foot of the drop that it backs water to."""
        return self.proposal.foot

    @property
    def is_referred(self) -> bool:
        """Whether nothing is for hands here, or somebody said so on site."""
        field = self.proposal.field
        if field.hold or field.left_out:
            return False
        return not self.decision.builds or bool(field.refer)

    @property
    def is_held(self) -> bool:
        """Whether it waits until it is measured again, or for its partner."""
        return bool(self.proposal.field.hold)

    @property
    def control(self) -> str:
        """``vertical``, ``grade``, ``spread``, ``refer`` or ``hold``."""
        if self.is_held:
            return HOLD
        if self.is_referred:
            return REFER
        purpose = self.spot.task.purpose
        if self.decision.type is None:  # left out: what it was there for
            return "spread" if purpose == "road" else purpose
        return self.decision.kind.control

    @property
    def structure(self) -> str:
        """What to build, or what is needed first."""
        if self.is_held:
            return SETTLE_FIRST
        if self.proposal.field.left_out:
            return NOTHING if self.decision.type is None else self.decision.kind.name
        if not self.decision.builds:
            return self.decision.referral
        return ENGINEER if self.is_referred else self.decision.kind.name

    @property
    def size(self) -> Size | None:
        """Size of what stands here; None where nothing is built."""
        field = self.proposal.field
        left_out = self.is_referred or field.left_out or field.hold
        return None if left_out else self.decision.size

    @property
    def on_road(self) -> bool:
        """Whether it stands on a road: no channel, and no flood, is measured there."""
        return self.spot.task.purpose == "road"

    @property
    def width_unseen(self) -> bool:
        """Whether nobody saw how wide the channel is: its size is from a regional curve."""
        return self.spot.width_range is not None

    @property
    def unseen_words(self) -> str:
        """What is said of a width that nobody saw; empty where it was seen."""
        wide = self.spot.width_range
        if wide is None:
            return ""
        sizes = [size for _, size in self.ends]
        alike = all(size == sizes[0] for size in sizes)
        rest = "" if alike else ": sizes, stone, cost and days are ranges"
        return (
            f"Nobody saw how wide the channel is: between {metres(wide.low_m)} and "
            f"{metres(wide.high_m)} (regional curve; narrowest that the raster would show){rest}. "
            "Measure it first."
        )

    @cached_property
    def ends(self) -> tuple[tuple[Spot, Size], ...]:
        """What stands here at the narrowest and the widest that the channel may be.

        One pair where the width was seen; none where nothing is built.
        """
        if self.size is None:
            return ()
        spots, kind = at_each_end(self.spot), self.decision.kind
        return ((spots[0], self.size), *((spot, kind.size(spot)) for spot in spots[1:]))

    @property
    def drawn(self) -> tuple[Spot, Size]:
        """Place and size as they are drawn: at the widest.

        Raises
        ------
        ParameterError
            Nothing is built here.
        """
        if not self.ends:
            raise ParameterError("a place where nothing is built", expected="a structure")
        return self.ends[-1]

    def at_both(self, said: Callable[[Spot, Size], Sequence[str]]) -> tuple[str, ...]:
        """Sentences about what is built, with figures as ranges where nobody saw the width.

        What is said at one end of such a width only names that end.

        Parameters
        ----------
        said
            Makes them for a place and a size, such as a type's build steps.
        """
        words = end_words(self.spot)
        told = [tuple(said(spot, size)) for spot, size in self.ends]
        return told_at_ends(list(zip(words[: len(told)], told, strict=True)))

    @property
    def reach_share(self) -> float:
        """Share of the rise to the foot of its drop that a grade control's crest makes up, 0 to 1.

        NaN where nothing is built, and for what does not stand below a headcut: see
        `Sites.reach_share` for the headcuts themselves.
        """
        below = self.head.index >= 0 and not self.proposal.at_head
        return reach_share(self.spot, self.size.height_m) if below and self.size else np.nan

    @property
    def banks_unseen(self) -> bool:
        """Whether the banks that have to hold the flow over its crest are to be measured first."""
        return self.control == "grade" and banks_unseen(self.spot)

    @property
    def reason(self) -> str:
        """What is there, and why this stands here or nothing."""
        words, field, decision = self.proposal.words, self.proposal.field, self.decision
        # what the tape said is told beside it
        found = f"{BY_ELEVATIONS}{words.found}" if field.measured else words.found
        if self.is_held:
            said = [field.hold, found]
        elif field.left_out:
            said = [field.left_out, found]
        elif self.is_referred:
            why = () if decision.type is not None else decision.why_none
            said = [field.refer, found, *decision.too_near, *why]
        else:
            summary = "" if words.says_all else decision.summary
            first = then = ""
            if np.isfinite(self.reach_share) and self.size is not None:
                first = said_first(self.spot, self.size.height_m)
                then = said_of_water(self.spot, self.size.height_m)
            said = [first, found, then, words.built, summary, words.after]
        return sentences([*said, *field.said])

    @property
    def own_cautions(self) -> tuple[str, ...]:
        """What to check at the place, without what the type asks."""
        at_head = (self.is_referred or self.is_held) and self.proposal.at_head
        return (KEEP_OFF,) if at_head else self.proposal.words.cautions

    @property
    def fails_at_high(self) -> tuple[Check, ...]:
        """What holds at the likely design flow and not at the high end of its range."""
        return () if self.size is None else self.decision.fails_at_high

    @property
    def caution(self) -> str:
        """All that is to be checked, in sentences."""
        size, kind = self.size, self.decision.type
        of_type = () if kind is None or size is None else self.at_both(kind.cautions)
        of_bed = () if size is None else self.of_bed(bed_cautions)
        at_high = (check.why_not for check in self.fails_at_high)
        return sentences([*self.own_cautions, *of_type, *of_bed, *at_high, self.unseen_words])

    @property
    def bed_and_bank(self) -> BedAndBank | None:
        """Pull of the likely flow against what stone, bed and banks stand; None on a road.

        Where nobody saw the width it is that at the narrowest, where the water pulls hardest.
        """
        return next((held for _, held in self.bed_and_bank_ends), None)

    @cached_property
    def bed_and_bank_ends(self) -> tuple[tuple[Spot, BedAndBank], ...]:
        """The same at the narrowest and the widest that the channel may be, each with its place."""
        sizes = [size for _, size in self.ends]
        found = []
        for i, spot in enumerate(at_each_end(self.spot)):
            held = bed_and_bank(spot, sizes[i] if sizes else None)
            found += [(spot, held)] if held is not None else []
        return tuple(found)

    def of_bed(self, said: Callable[[Spot, BedAndBank], Sequence[str]]) -> tuple[str, ...]:
        """Sentences about bed and banks, as ranges where nobody saw the width; none on a road."""
        ends = self.bed_and_bank_ends
        told = [tuple(said(spot, held)) for spot, held in ends]
        return told_at_ends(list(zip(end_words(self.spot)[: len(ends)], told, strict=True)))

    @property
    def spacing(self) -> tuple[SpacingRow, ...]:
        """Spacing rules that apply here."""
        spot, decision = self.spot, self.decision
        if self.proposal.road is not None:
            return self.proposal.road.spacing
        if not self.member.in_series or decision.size is None:
            return ()
        return spacing_rows(
            decision.kind.spacing_rules,
            height_m=decision.size.height_m,
            slope=spot.slope,
            width_m=spot.bankfull.width_m,
            rules=spot.rules,
        )

    @cached_property
    def flows(self) -> tuple[FlowState | None, ...]:
        """Normal flow of each return period.

        None where no flow is known, on a road, and where nobody saw how wide the channel is. Where
        the raster cuts the drainage area off a flow is only a minimum: none is worked out.
        """
        spot = self.spot
        if self.on_road or self.width_unseen or not spot.land.complete:
            return (None,) * len(RETURN_PERIODS_YR)
        fall = max(spot.slope, LOWEST_SLOPE)
        return tuple(
            normal_flow(spot.section, q, slope=fall, roughness=spot.roughness)
            if np.isfinite(q) and q > 0
            else None
            for q in spot.floods.q_m3s
        )

    @property
    def design_flow(self) -> FlowState | None:
        """Normal flow of the design return period."""
        return self.flows[RETURN_PERIODS_YR.index(self.spot.floods.design_period_yr)]
