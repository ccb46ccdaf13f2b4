"""What was measured at a site, each with its error and where it is from."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from siting.candidates import Sites
from siting.ground import Ground
from siting.reason_rows import Reason
from siting.wording import figures, hectares, metres, percent

DEM = "elevations as measured"
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


def measured_rows(ground: Ground, sites: Sites, i: int) -> Iterator[Reason]:
    """What was measured at the ``i``-th site."""
    place, spot, reading = sites.places[i], sites.spots[i], sites.reading

    whole = "" if sites.area_complete[i] else "at least "
    yield row("drainage area", f"{whole}{hectares(spot.drainage_area_ha)} drain to it.")
    yield row(
        "slope of the road" if spot.purpose == "road" else "bed slope",
        f"{percent(spot.slope)}, error {percent(spot.slope_error)}.",
    )
    if spot.purpose == "road":
        return
    if np.isfinite(place.headcut_height_m):
        text = f"{metres(place.headcut_height_m)}, error {metres(spot.drop_error_m)}."
        yield row("drop", text)
    yield from _banks(sites, i)
    yield from _bankfull(sites, i)
    if reading.setting[i]:
        yield row("setting", f"{str(reading.setting[i]).capitalize()}.", DEM, "common practice")
    stage = int(reading.stage[i])
    if stage:
        text = (
            f"Stage {stage} of 5, {STAGES[stage]}; confidence {reading.stage_confidence[i]:.2f} "
            "of 1."
        )
        yield row("stage of incision", text, "Schumm 1984, Simon 1989", "from memory")
    cell = ground.raster.grid.cell_m
    yield row("cell size", f"{metres(cell)}: what is narrower is not seen.", DEM, "measured")


def _banks(sites: Sites, i: int) -> Iterator[Reason]:
    spot, reading = sites.spots[i], sites.reading
    if reading.width_source[i] != "dem":
        text = "The elevations do not show the banks; width and depth are from a regional curve."
        yield row("banks", text, "regional curve (Bieger and others 2015)", "published")
        return
    lower = reading.lower_bank[i]
    yield row(
        "bank top",
        f"{metres(spot.bank_width_m)} wide and {metres(spot.bank_depth_m)} deep at the lower bank"
        f"{f' ({lower})' if lower else ''}; error of the depth {metres(spot.depth_error_m)}.",
    )
    if np.isfinite(reading.valley_floor_width_m[i]):
        confined = f", {reading.confinement[i]}" if reading.confinement[i] else ""
        text = f"{metres(reading.valley_floor_width_m[i])} wide{confined}."
        yield row("valley floor", text)


def _bankfull(sites: Sites, i: int) -> Iterator[Reason]:
    spot, reading = sites.spots[i], sites.reading
    bankfull = reading.bankfull
    estimates = [
        f"{name} {metres(float(values[i]))}"
        for name, values in (
            ("bench in the section", bankfull.bench_m),
            ("2-year flow", bankfull.flow_m),
            ("regional curve", bankfull.curve_m),
        )
        if np.isfinite(values[i])
    ]
    text = (
        f"{metres(spot.bankfull_depth_m)} deep and {metres(spot.bankfull_width_m)} wide, the "
        f"lowest plausible of: {', '.join(estimates) or 'nothing that tells it'}."
    )
    if not bankfull.sure[i]:
        text += " Not sure: measure it on site."
    yield row("bankfull", text, "bench, Manning's equation, regional curve", "common practice")
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
