"""Sites made up for tests of what comes after placing: known places, nothing measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike

from siting.channels.bankfull import Bankfull
from siting.channels.bed_slopes import BedSlopes
from siting.channels.channel_reading import ChannelReading
from siting.hydraulics.cross_section import CrossSection
from siting.layout.proposals import AtHead, FromField, Member, Proposal, Where, Words
from siting.places.flood_compare import Compared
from siting.places.flood_paths import Concentration
from siting.places.measured_places import Measured
from siting.places.site_floods import SiteFloods
from siting.places.spot import Banks, Drop, LandAbove, Spot, Task
from siting.site import Site
from siting.sites import Sites
from siting.structures.catalogue import Chosen
from siting.structures.decisions import Decision
from siting.structures.structure_type import Size
from siting.values.rules import load_rules
from terrain.channels.sections import SectionMeasures

RULES = load_rules()


@dataclass(frozen=True)
class Kind:
    """As much of a structure type as what comes after placing reads."""

    name: str
    control: str
    spacing_rules: ClassVar[tuple[str, ...]] = ()
    needs_tailwater: ClassVar[bool] = True

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        return ()


def place(control: str = "vertical", *, station: float = 0.0, **more: Any) -> tuple[str, Proposal]:
    """One place and its control; at a headcut of 0.8 m where the control is of that kind."""
    head = control in ("vertical", "refer")
    drop, above = more.pop("drop", 0.8), more.pop("above", 0.2)
    return control, Proposal(
        where=Where(0, 0, math.nan, math.nan, reach=0, station_m=station),
        task=Task("vertical" if head else control),
        slope=0.02,
        confidence=more.pop("confidence", 0.9),
        words=Words("because"),
        head=AtHead(
            more.pop("headcut", 0 if head else -1),
            drop if head else math.nan,
            above if head else math.nan,
            more.pop("heads_below", 0),
        ),
        member=Member(more.pop("group", 0), more.pop("build_order", 0)),
        field=FromField(**more),
    )


def no_floods(n: int) -> SiteFloods:
    """Floods of n sites of which nothing is known."""
    none, texts = np.full(n, np.nan), np.full(n, None, dtype=object)
    flows, unknown = np.full((n, 6), np.nan), np.full((n, 0, 6), np.nan)
    names = np.full((n, 0), None, dtype=object)
    time = Concentration(
        none, texts, none, none, none, none, none, none, none, none, texts, np.zeros(n, bool)
    )
    compared = Compared(
        name=names,
        source=names,
        q_m3s=unknown,
        low_m3s=unknown,
        high_m3s=unknown,
        range_from=np.full((n, 0, 6), None, dtype=object),
        dry_m3s=unknown,
        wet_m3s=unknown,
        limits_met=np.zeros((n, 0, 6), bool),
        note=np.full((n, 0, 6), None, dtype=object),
        used=np.full(n, -1),
        used_note=texts,
    )
    return SiteFloods(
        q_m3s=flows,
        low_m3s=flows,
        high_m3s=flows,
        range_from=np.full((n, 6), None, dtype=object),
        dry_m3s=flows,
        wet_m3s=flows,
        method=texts,
        note=texts,
        curve_number=none,
        flow_path_m=none,
        mean_slope=none,
        runoff_coefficient=none,
        runoff10_m3=none,
        basin=np.full((n, 6), np.nan),
        time=time,
        compared=compared,
    )


def bank_tops(width: np.ndarray, depth: np.ndarray) -> ChannelReading:
    """A channel of which only the bank tops are known."""
    n = width.size
    none, texts = np.full(n, np.nan), np.full(n, "", dtype=object)
    unsure = np.zeros(n, bool)
    return ChannelReading(
        bank_width_m=width,
        bank_depth_m=depth,
        lower_bank=texts,
        bed_width_m=none,
        bankfull=Bankfull(none, none, none, none, none, texts, unsure),
        height_limit_m=np.full(n, 0.1),
        height_why=np.full(n, None, dtype=object),
        width_depth_ratio=none,
        bank_height_ratio=none,
        entrenchment_ratio=none,
        valley_floor_width_m=none,
        confinement=texts,
        stage=np.zeros(n, np.int64),
        stage_confidence=none,
        setting=texts,
        width_source=np.full(n, "dem", dtype=object),
        noise_m=none,
    )


def decision_of(control: str, height_m: float) -> Decision:
    """A decision for a structure of which only the height is known; none where it is referred."""
    if control == "refer":
        return Decision(Chosen(None, MappingProxyType({}), MappingProxyType({})), None)
    name = "rock bowl" if control == "vertical" else "one-rock dam"
    kind: Any = Kind(name, control)
    chosen = Chosen(kind, MappingProxyType({}), MappingProxyType({}))
    return Decision(chosen, Size(height_m, math.nan, math.nan))


def sites_of(
    places: Sequence[tuple[str, Proposal]],
    *,
    area: ArrayLike = 2.0,
    width: ArrayLike = 4.0,
    depth: ArrayLike = 1.0,
    height: ArrayLike = 0.1,
) -> Sites:
    """Sites at made-up places; what is referred has no size, the others a height only."""
    n = len(places)
    area_ha, width_m, depth_m, height_m = (
        np.broadcast_to(np.asarray(v, float), n).copy() for v in (area, width, depth, height)
    )
    none = np.full(n, np.nan)
    each = tuple(
        Site(
            proposal,
            Spot(
                task=proposal.task,
                slope=proposal.slope,
                slope_error=0.0,
                land=LandAbove(float(area_ha[i])),
                section=CrossSection.trapezoid(2.0, side=1.0, depth_m=1.0),
                rules=RULES,
                drop=Drop(proposal.head.drop_m),
                banks=Banks(float(width_m[i]), float(depth_m[i])),
            ),
            decision_of(control, float(height_m[i])),
        )
        for i, (control, proposal) in enumerate(places)
    )
    measured = Measured(
        cell=np.arange(n),
        section_cell=np.arange(n),
        azimuth_deg=none,
        elevation_m=none,
        drainage_area_ha=area_ha,
        area_complete=np.ones(n, bool),
        slopes=BedSlopes(*[none] * 6),
        floods=no_floods(n),
        reading=bank_tops(width_m, depth_m),
        section=SectionMeasures(*[none] * 7, np.ones(n, bool)),  # type: ignore[call-arg]
        curve_width_m=none,
        curve_depth_m=none,
    )
    return Sites(each, measured)
