"""Sites made up for tests of what comes after placing: known places, nothing measured."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from siting.channels.bankfull import Bankfull
from siting.channels.channel_reading import ChannelReading
from siting.floods.flood_method import RETURN_PERIODS_YR
from siting.hydraulics.cross_section import CrossSection
from siting.layout.candidates import Sites
from siting.layout.measuring import Measured
from siting.layout.proposals import Place
from siting.places.flood_compare import Compared
from siting.places.flood_paths import Concentration
from siting.places.site_floods import SiteFloods
from siting.places.spot import Spot
from siting.structures.structure_type import Size
from siting.values.rules import load_rules
from terrain.channels.sections import SectionMeasures

RULES = load_rules()


def place(control: str = "vertical", *, station: float = 0.0, **more: Any) -> Place:
    """One place; at a headcut of 0.8 m where the control is of that kind."""
    head = control in ("vertical", "refer")
    drop, above = more.pop("drop", 0.8), more.pop("above", 0.2)
    values = {
        "cell": 0,
        "section_cell": 0,
        "reach": 0,
        "station_m": station,
        "control": control,
        "structure": {"vertical": "rock bowl", "refer": "engineer"}.get(control, "one-rock dam"),
        "slope": 0.02,
        "confidence": 0.9,
        "reason": "because",
        "headcut": 0 if head else -1,
        "headcut_height_m": drop if head else np.nan,
        "above_m": above if head else np.nan,
    }
    return Place(**(values | more))


def no_floods(n: int) -> SiteFloods:
    """Floods of n sites of which nothing is known."""
    none, texts = np.full(n, np.nan), np.full(n, None, dtype=object)
    flows, unknown = np.full((n, 6), np.nan), np.full((n, 0, 6), np.nan)
    names = np.full((n, 0), None, dtype=object)
    time = Concentration(
        none, texts, none, none, none, none, none, none, none, texts, np.zeros(n, bool)
    )
    compared = Compared(
        name=names,
        source=names,
        q_m3s=unknown,
        low_m3s=unknown,
        high_m3s=unknown,
        limits_met=np.zeros((n, 0, 6), bool),
        note=np.full((n, 0, 6), None, dtype=object),
        used=np.full(n, -1),
        used_note=texts,
    )
    return SiteFloods(
        q_m3s=flows,
        low_m3s=flows,
        high_m3s=flows,
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


def sites_of(
    places: Sequence[Place],
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
    spots = tuple(
        Spot(
            purpose="vertical" if p.headcut >= 0 else "grade",
            slope=p.slope,
            slope_error=0.0,
            drainage_area_ha=float(a),
            section=CrossSection.trapezoid(2.0, side=1.0, depth_m=1.0),
            rules=RULES,
        )
        for p, a in zip(places, area_ha, strict=True)
    )
    floods = no_floods(n)
    measured = Measured(
        cell=np.arange(n),
        section_cell=np.arange(n),
        azimuth_deg=none,
        drainage_area_ha=area_ha,
        area_complete=np.ones(n, bool),
        floods=floods,
        reading=bank_tops(width_m, depth_m),
        curve_width_m=none,
        curve_depth_m=none,
    )
    return Sites(
        places=tuple(places),
        spots=spots,
        sizes=tuple(
            None if p.control == "refer" else Size(float(h), math.nan, math.nan)
            for p, h in zip(places, height_m, strict=True)
        ),
        flows=((None,) * len(RETURN_PERIODS_YR),) * n,
        caution=("",) * n,
        cell=np.arange(n),
        section_cell=np.arange(n),
        azimuth_deg=none,
        drainage_area_ha=area_ha,
        area_complete=np.ones(n, bool),
        measured=measured,
        section=SectionMeasures(*[none] * 7, np.ones(n, bool)),  # type: ignore[call-arg]
        x_m=none,
        y_m=none,
        elevation_m=none,
    )
