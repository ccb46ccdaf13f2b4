"""What was measured at a site, each with its error and where it is from."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from siting.channels.reach_settings import SWALES
from siting.record.reason_rows import Reason
from siting.site import Site
from siting.sites import Sites
from siting.values.wording import figures, hectares, metres, percent, quantity

DEM = "elevations as measured"
ON_SITE = "measured on site"
STAGES = {
    1: "stable, not cut",
    2: "cutting down",
    3: "widening",
    4: "filling again",
    5: "stable again, in a lower floor",
}


def row(subject: str, text: str, source: str = DEM, basis: str = "measured") -> Reason:
    """One measure."""
    return Reason("measured", subject, "", text, source, basis)


def source_of(site: Site, *measures: str) -> str:
    """Where measures come from; where some were measured on site and some not, both are named."""
    own = [name for name in measures if name in site.proposal.field.measured]
    if not own:
        return DEM
    return ON_SITE if len(own) == len(measures) else f"{own[0]} {ON_SITE}, else {DEM}"


def measured_rows(sites: Sites, i: int, *, cell_m: float) -> Iterator[Reason]:
    """What was measured at the ``i``-th site."""
    site, spot, reading = sites[i], sites[i].spot, sites.reading

    whole = "" if spot.land.complete else "at least "
    yield row("drainage area", f"{whole}{hectares(spot.land.area_ha)} drain to it.")
    yield row(
        "slope of the road" if spot.task.purpose == "road" else "bed slope",
        f"{percent(spot.slope)}, error {percent(spot.slope_error)}.",
        source_of(site, "slope"),
    )
    if spot.task.purpose == "road":
        yield from _road(site)
        return
    yield from _bed_around(site)
    if np.isfinite(spot.drop.height_m):
        text = f"{metres(spot.drop.height_m)}, error {metres(spot.drop.error_m)}."
        yield row("drop", text, source_of(site, "drop"))
    yield from _banks(sites, i)
    yield from _bankfull(sites, i)
    if reading.setting[i]:
        yield row("setting", f"{str(reading.setting[i]).capitalize()}.", DEM, "common practice")
    stage = int(reading.stage[i])
    # a shallow swale is in no stage of incision
    if stage and reading.setting[i] not in SWALES:
        text = (
            f"Stage {stage} of 5, {STAGES[stage]}; confidence {reading.stage_confidence[i]:.2f} "
            "of 1."
        )
        yield row("stage of incision", text, "Schumm 1984, Simon 1989", "from memory")
    yield row("cell size", f"{metres(cell_m)}: what is narrower is not seen.", DEM, "measured")


def _road(site: Site) -> Iterator[Reason]:
    """The piece of road above a place on a road, and what its water may cut."""
    road, run = site.proposal.road, site.spot.road
    if road is None or run is None:
        return
    since = "the dip above" if run.after_dip else "the top of this stretch"
    text = (
        f"{metres(run.length_m)} of road since {since}, at {percent(run.mean_grade)} on the mean, "
        f"of a soil taken for {run.soil}; stretch {road.stretch} of the roads."
    )
    yield row("road above", text)
    if np.isfinite(road.soil_m3_per_yr):
        depth = site.spot.rules["road_dip.soil_cut"]
        text = f"Its own water may cut about {quantity(road.soil_m3_per_yr, 'm3')} a year from it."
        yield row("soil that a dip may save", text, depth.source, depth.basis)


def _bed_around(site: Site) -> Iterator[Reason]:
    """Bed slope above and below, the faces of headcuts left out."""
    bed = site.spot.bed
    around = [
        f"{percent(slope)} {where}, error {percent(error)}"
        for slope, error, where in (
            (bed.above, bed.above_error, "above"),
            (bed.below, bed.below_error, "below"),
        )
        if np.isfinite(slope)
    ]
    if around:
        reach = f"over {metres(site.spot.rules.value('measuring.slope_reach'))} or five cells"
        text = f"{'; '.join(around)}: {reach}, the faces of headcuts left out."
        yield row("bed slope around", text)


def _banks(sites: Sites, i: int) -> Iterator[Reason]:
    spot, reading = sites[i].spot, sites.reading
    if reading.width_source[i] == "curve" and not np.isfinite(spot.banks.depth_m):
        wide = spot.width_range
        text = "The elevations do not show the banks."
        if wide is not None:
            text += (
                f" The channel is {metres(wide.low_m)} to {metres(wide.high_m)} wide: between a "
                "regional curve's width and the narrowest that cells of this size would show."
            )
        yield row("banks", text, "regional curve (Bieger and others 2015)", "published")
        return
    lower = f" ({reading.lower_bank[i]})" if reading.lower_bank[i] else ""
    deep = (
        f" and {metres(spot.banks.depth_m)} deep at the lower bank{lower}; "
        f"error of the depth {metres(spot.banks.depth_error_m)}"
        if np.isfinite(spot.banks.depth_m)
        else ""
    )
    source = source_of(sites[i], "width", "depth")
    # a swale has a floor and no banks: what is built there goes across that floor
    if sites[i].width_unseen and spot.width_range is not None:
        wide = spot.width_range
        text = f"{metres(wide.low_m)} to {metres(wide.high_m)} wide, which nobody saw{deep}."
        yield row("banks", text, source)
        return
    across = "floor of the swale" if np.isfinite(sites[i].proposal.floor_m) else "bank top"
    yield row(across, f"{metres(spot.width_m)} wide{deep}.", source)
    if np.isfinite(reading.valley_floor_width_m[i]):
        confined = f", {reading.confinement[i]}" if reading.confinement[i] else ""
        text = f"{metres(reading.valley_floor_width_m[i])} wide{confined}."
        yield row("valley floor", text)


def _bankfull(sites: Sites, i: int) -> Iterator[Reason]:
    spot, reading = sites[i].spot, sites.reading
    bankfull = reading.bankfull
    if sites[i].width_unseen and "bankfull" not in sites[i].proposal.field.measured:
        text = "Not told: nobody saw how wide the channel is. Measure it on site."
        yield row("bankfull", text, DEM, "common practice")
        return
    estimates = [
        f"{name} {metres(float(values[i]))}"
        for name, values in (
            ("bench in the section", bankfull.bench_m),
            ("2-year flow", bankfull.flow_m),
            ("regional curve", bankfull.curve_m),
        )
        if np.isfinite(values[i])
    ]
    wide = f" and {metres(spot.bankfull.width_m)} wide"
    if sites[i].width_unseen:
        wide = "; nobody saw how wide"
    size = f"{metres(spot.bankfull.depth_m)} deep{wide}"
    told = ", ".join(estimates) or "nothing that tells it"
    if "bankfull" in sites[i].proposal.field.measured:
        text = f"{size}; estimated from: {told}."
        yield row("bankfull", text, ON_SITE)
        if not sites[i].width_unseen:
            yield from _ratios(sites, i)
        return
    text = f"{size}, the lowest plausible of: {told}."
    if not bankfull.sure[i]:
        text += " Not sure: measure it on site."
    yield row("bankfull", text, "bench, Manning's equation, regional curve", "common practice")
    yield from _ratios(sites, i)


def _ratios(sites: Sites, i: int) -> Iterator[Reason]:
    reading = sites.reading
    ratios = [
        f"{name} {figures(float(values[i]))}"
        for name, values in (
            ("width over depth", reading.width_depth_ratio),
            ("bank height over bankfull depth", reading.bank_height_ratio),
            ("entrenchment ratio", reading.entrenchment_ratio),
        )
        if np.isfinite(values[i])
    ]
    if ratios:
        yield row("ratios", f"{', '.join(ratios)}.", "elevations, bankfull", "common practice")
