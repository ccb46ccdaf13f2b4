"""Sites: every proposal measured once, decided once on what was measured, and kept together."""

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
from siting.layout.candidates import propose
from siting.layout.healing import HealingReach
from siting.layout.measuring import BuildSettings, Trials, spot_of
from siting.layout.proposals import Proposal
from siting.places.measured_places import Measured
from siting.places.sections_beyond import sections_beyond
from siting.places.site_floods import FloodGauge, SiteFloods
from siting.places.spot import Beyond
from siting.site import Site
from siting.structures.type_looks import needs_tailwater
from terrain.channels.sections import SectionMeasures
from terrain.values.arrays import BoolArray, FloatArray, IntArray


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
