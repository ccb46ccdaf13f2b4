"""Sites: every proposal measured once, decided once on what was measured, and kept as one value.

What a limit says, what a size was made for and what a layer shows are the same numbers, since they
are read off the same spot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.channels.channel_reading import ChannelReading
from siting.channels.ground import Ground
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.hydraulics.open_channel import LOWEST_SLOPE, FlowState, normal_flow
from siting.layout.candidates import propose
from siting.layout.healing import HealingReach
from siting.layout.measuring import BuildSettings, Trials, spot_of
from siting.layout.pair_reach import reach_share, said_first, said_of_water
from siting.layout.proposals import AtHead, Foot, Member, Proposal, Where
from siting.places.measured_places import Measured
from siting.places.sections_beyond import sections_beyond
from siting.places.site_floods import FloodGauge, SiteFloods
from siting.places.spot import Beyond, Spot
from siting.places.unseen_width import at_each_end
from siting.structures.bed_and_bank import BedAndBank, bed_and_bank
from siting.structures.bed_and_bank_words import bed_cautions
from siting.structures.catalogue import HOLD, REFER
from siting.structures.decisions import ENGINEER, NOTHING, SETTLE_FIRST, Decision
from siting.structures.grade_height import banks_unseen
from siting.structures.spacing_table import SpacingRow, spacing_rows
from siting.structures.structure_type import Check, Size
from siting.structures.type_looks import needs_tailwater
from siting.values.wording import metres, sentences, spanned
from terrain.channels.sections import SectionMeasures
from terrain.values.arrays import BoolArray, FloatArray, IntArray
from terrain.values.errors import ParameterError

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

        Parameters
        ----------
        said
            Makes them for a place and a size, such as a type's build steps.
        """
        told = [tuple(said(spot, size)) for spot, size in self.ends]
        if len(told) == 1 or len({len(texts) for texts in told}) > 1:
            return (
                told[0]
                if len(told) == 1
                else tuple(dict.fromkeys(t for texts in told for t in texts))
            )
        return tuple(spanned(*texts) for texts in zip(*told, strict=True))

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
        if self.is_held:
            said = [field.hold, words.found]
        elif field.left_out:
            said = [field.left_out, words.found]
        elif self.is_referred:
            why = () if decision.type is not None else decision.why_none
            said = [field.refer, words.found, *decision.too_near, *why]
        else:
            summary = "" if words.says_all else decision.summary
            first = then = ""
            if np.isfinite(self.reach_share) and self.size is not None:
                first = said_first(self.spot, self.size.height_m)
                then = said_of_water(self.spot, self.size.height_m)
            said = [first, words.found, then, words.built, summary, words.after]
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
        held = self.bed_and_bank
        of_bed = () if held is None or size is None else bed_cautions(self.spot, held)
        at_high = (check.why_not for check in self.fails_at_high)
        return sentences([*self.own_cautions, *of_type, *of_bed, *at_high, self.unseen_words])

    @cached_property
    def bed_and_bank(self) -> BedAndBank | None:
        """Pull of the likely flow against what stone, bed and banks stand; None on a road."""
        return bed_and_bank(self.spot, self.size)

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


@dataclass(frozen=True, eq=False)
class Sites:
    """Sites in the order of their ids (by reach and station), and views of them as arrays.

    Parameters
    ----------
    each
        The sites.
    measured
        All that was measured at them, of which each spot is one row; shape ``(n,)``.
    look_first
        Reaches without sites that may be healing by themselves.
    """

    each: tuple[Site, ...]
    measured: Measured
    look_first: tuple[HealingReach, ...] = ()

    @property
    def count(self) -> int:
        """Number of sites."""
        return len(self.each)

    def __len__(self) -> int:
        return len(self.each)

    def __iter__(self) -> Iterator[Site]:
        return iter(self.each)

    def __getitem__(self, i: int) -> Site:
        return self.each[i]

    def take(self, keep: IntArray) -> Sites:
        """Return some of them."""
        each = tuple(self.each[i] for i in keep)
        return Sites(each, self.measured.take(keep), self.look_first)

    def numbers(self, get: Callable[[Site], float]) -> FloatArray:
        """One number of all sites."""
        return np.array([get(site) for site in self.each], dtype=np.float64)

    def whole(self, get: Callable[[Site], int]) -> IntArray:
        """One whole number of all sites."""
        return np.array([get(site) for site in self.each], dtype=np.int64)

    def are(self, get: Callable[[Site], bool]) -> BoolArray:
        """Which of the sites something holds for."""
        return np.array([bool(get(site)) for site in self.each], dtype=np.bool_)

    def texts(self, get: Callable[[Site], str]) -> NDArray[Any]:
        """One text of all sites."""
        out = np.empty(self.count, dtype=object)
        out[:] = [get(site) for site in self.each]
        return out

    def sized(self, name: str) -> FloatArray:
        """One attribute of all sizes; NaN where nothing is built, or where it is a range."""
        return self.numbers(lambda s: _one([getattr(size, name) for _, size in s.ends]))

    def drawn(self, name: str) -> FloatArray:
        """One attribute of all sizes as they are drawn; NaN where nothing is built."""
        return self.numbers(lambda s: getattr(s.drawn[1], name) if s.ends else np.nan)

    @property
    def proposals(self) -> tuple[Proposal, ...]:
        """Why each of them is there."""
        return tuple(site.proposal for site in self.each)

    @property
    def controls(self) -> NDArray[Any]:
        """What each of them is for."""
        return self.texts(lambda s: s.control)

    @property
    def cell(self) -> IntArray:
        """Cell of each site."""
        return self.measured.cell

    @property
    def section_cell(self) -> IntArray:
        """Cell at which its channel was measured."""
        return self.measured.section_cell

    @property
    def azimuth_deg(self) -> FloatArray:
        """Direction of the flow, or of the road."""
        return self.measured.azimuth_deg

    @property
    def elevation_m(self) -> FloatArray:
        """Elevation of the bed."""
        return self.measured.elevation_m

    @property
    def x_m(self) -> FloatArray:
        """East of each site."""
        return self.numbers(lambda s: s.where.x_m)

    @property
    def y_m(self) -> FloatArray:
        """North of each site."""
        return self.numbers(lambda s: s.where.y_m)

    @property
    def floods(self) -> SiteFloods:
        """Peak flows by every method."""
        return self.measured.floods

    @property
    def reading(self) -> ChannelReading:
        """The channel as read."""
        return self.measured.reading

    @property
    def section(self) -> SectionMeasures:
        """The section at each site."""
        return self.measured.section

    @property
    def drainage_area_ha(self) -> FloatArray:
        """Land that drains to each site; on a road, that onto the road since the dip above."""
        return self.numbers(lambda s: s.spot.land.area_ha)

    @property
    def area_complete(self) -> BoolArray:
        """Whether the raster holds all of that land."""
        return self.are(lambda s: s.spot.land.complete)

    @property
    def q_m3s(self) -> FloatArray:
        """Peak flows for the return periods, shape ``(n, 6)``; NaN where not known."""
        flows = [site.spot.floods.q_m3s for site in self.each]
        return np.array(flows, dtype=np.float64).reshape(self.count, len(RETURN_PERIODS_YR))

    @property
    def width_m(self) -> FloatArray:
        """Bank-top width, or that of a swale's floor; NaN on roads and where nobody saw it."""
        return self.numbers(lambda s: s.spot.banks.width_m)

    @property
    def width_range_m(self) -> FloatArray:
        """Least and most width where nobody saw it, NaN elsewhere; shape ``(n, 2)``."""
        ranges = [site.spot.width_range for site in self.each]
        ends = [(np.nan, np.nan) if r is None else (r.low_m, r.high_m) for r in ranges]
        return np.array(ends, dtype=np.float64).reshape(self.count, 2)

    @property
    def depth_m(self) -> FloatArray:
        """Bank-top depth, or that of a swale's floor; NaN where neither is seen."""
        return self.numbers(lambda s: s.spot.banks.depth_m)

    @property
    def floor_shown(self) -> BoolArray:
        """Where a swale's floor is measured, though no banks are seen."""
        floor = self.are(lambda s: bool(np.isfinite(s.proposal.floor_m)))
        return np.asarray(floor & ~np.isfinite(self.reading.bank_width_m))

    @property
    def on_road(self) -> BoolArray:
        """Which sites stand on a road."""
        return self.are(lambda s: s.on_road)

    @property
    def width_unseen(self) -> BoolArray:
        """Where nobody saw how wide the channel is."""
        return self.are(lambda s: s.width_unseen)

    @cached_property
    def reach_share(self) -> FloatArray:
        """Share of the rise to the foot of a drop that is made up, 0 to 1, shape ``(n,)``.

        That of a headcut is its pair's: the least of its grade controls; 1 where what stands there
        needs no water backed to it, and 0 where nothing backs any. NaN for what is referred or not
        built, and for what belongs to no headcut.
        """
        own = self.numbers(lambda s: s.reach_share)
        out = own.copy()
        for i in np.flatnonzero(self.are(lambda s: s.proposal.at_head and s.size is not None)):
            if not needs_tailwater(self.each[i].decision.kind):
                out[i] = 1.0
                continue
            pair = own[self._controls_of(int(i))]
            known = pair[np.isfinite(pair)]
            out[i] = known.min() if known.size else 0.0
        return out

    @property
    def banks_first(self) -> BoolArray:
        """Which sites wait for banks that the elevations do not show, a headcut with its pair."""
        own = self.are(lambda s: s.banks_unseen)
        out = own.copy()
        for i in np.flatnonzero(self.are(lambda s: s.proposal.at_head)):
            out[i] = bool(own[self._controls_of(int(i))].any())
        return out

    def _controls_of(self, i: int) -> IntArray:
        """What stands below a headcut: its own, or where none is, what it shares in its group."""
        group, head = self.each[i].member.group, self.each[i].head.index
        mates = [
            (j, s.head.index)
            for j, s in enumerate(self.each)
            if group and s.member.group == group and not s.proposal.at_head
        ]
        own = [j for j, index in mates if index == head]
        return np.array(own or [j for j, _ in mates], dtype=np.int64)

    @property
    def measure_first(self) -> BoolArray:
        """Where only the smallest height is allowed until bankfull is measured on site."""
        return np.array([w is not None for w in self.reading.height_why], dtype=np.bool_)


def _one(values: Sequence[float]) -> float:
    """A number that is the same at both ends; NaN for a range, and for none."""
    same = bool(values) and np.allclose(values, values[0], rtol=1e-6, equal_nan=True)
    return float(values[0]) if same else np.nan


def find_sites(
    ground: Ground, gauge: FloodGauge, build: BuildSettings | None = None
) -> tuple[Sites, tuple[str, ...]]:
    """Propose, measure and decide all sites.

    Parameters
    ----------
    ground, gauge
        Terrain, and the floods on it.
    build
        What to build with, for which flow, and what to keep away from.

    Returns
    -------
    tuple
        Sites, and plain notes about what was left out.
    """
    trials = Trials(ground, gauge, build or BuildSettings())
    placing = propose(trials)
    sites = sites_of(trials, placing.proposals)
    return replace(sites, look_first=placing.look_first), placing.notes


def sites_of(trials: Trials, proposals: Sequence[Proposal]) -> Sites:
    """Measure all proposals, each at its own cell, and decide each on what was measured."""
    cell = np.array([p.where.cell for p in proposals], dtype=np.int64)
    section_cell = np.array([p.where.section_cell for p in proposals], dtype=np.int64)
    azimuth = [np.nan if p.road is None else p.road.azimuth_deg for p in proposals]
    measured = trials.meter.measure(
        cell, section_cell, azimuth_deg=np.array(azimuth, dtype=np.float64), notes=True
    )
    at = [np.array([getattr(p.where, a) for p in proposals], float) for a in ("x_m", "y_m")]
    clear = trials.keep_off(cell, (at[0], at[1]))
    each = []
    for i, proposal in enumerate(proposals):
        spot = spot_of(trials.meter, measured, i, proposal)
        if proposal.road is None:
            spot = replace(spot, beyond=_beyond(trials.ground, measured, i, proposal))
        # a place on a road is not kept away from it
        decision = trials.decide(spot, clear[i] if proposal.road is None else ())
        each.append(Site(proposal, spot, decision))
    return Sites(tuple(each), measured)


def _beyond(ground: Ground, measured: Measured, i: int, proposal: Proposal) -> Beyond:
    """Ground across the channel next to a place; below a headcut it begins at its foot."""
    if measured.reading.width_source[i] != "dem":
        return Beyond()
    foot = int(ground.headcuts.foot_cell[proposal.head.index]) if proposal.at_head else -1
    return sections_beyond(ground, proposal.where.cell, foot_cell=foot)
