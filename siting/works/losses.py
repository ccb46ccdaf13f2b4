"""What would be lost by doing nothing at each place of a work, and the chance that it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from siting.channels.reach_settings import SWALES
from siting.effects.site_effects import Effect
from siting.site import Site
from siting.sites import Sites
from siting.values.rules import Rules
from siting.values.wording import figures, hectares, metres, percent, quantity, spanned
from siting.works.curves import Chance, Factor, constant, falling, over_years, rising
from siting.works.lost_ground import GroundLost
from siting.works.work import HEADCUT, ROAD, SERIES, SPREADER, SWALE, Loss
from terrain.channels.network import HECTARE_M2

#: Settings in which floods spread on a grown floor.
OPEN_SETTINGS = (*SWALES, "fan")
CUTTING_DOWN, WIDENING = 2, 3


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """What losses are told from: all sites, what each does, ground lost to heads, the horizon."""

    sites: Sites
    effects: Sequence[Effect]
    ground: Mapping[int, GroundLost]
    rules: Rules
    years: float


def losses_of(known: Known, kind: str, rows: Sequence[int]) -> tuple[Loss, ...]:
    """Losses of a work, site by site; a grade control below a head prevents none of its own."""
    if kind == HEADCUT:
        return tuple(head_loss(known, i) for i in rows if known.sites[i].proposal.at_head)
    tell: Mapping[str, Callable[[Known, int, Sequence[int]], Loss]] = {
        SERIES: _series,
        SPREADER: _spreader,
        SWALE: _swale,
        ROAD: _road,
    }
    return tuple(tell[kind](known, i, rows) for i in rows)


def _loss(
    known: Known,
    row: int,
    factors: Sequence[Factor],
    *,
    how: str,
    soil_m3: float = 0.0,
    swale_ha: float = 0.0,
    length_m: float = 0.0,
) -> Loss:
    chance = Chance((*factors, _sureness(known.sites[row])))
    over = over_years(chance, years=known.years, of_years=known.rules.value("chance_lost.years"))
    return Loss(row, soil_m3, swale_ha, length_m, chance, over, how)


def _sureness(site: Site) -> Factor:
    sure = site.proposal.confidence
    text = f"The finding is right with a chance of {sure:.2f}"
    return Factor("confidence of the finding", sure, text, "the elevations", "measured")


def head_loss(known: Known, i: int) -> Loss:
    """What a headcut would take, built or not."""
    site, ground = known.sites[i], known.ground.get(i, GroundLost(0.0, 0.0, 0.0, "Not known."))
    return _loss(
        known,
        i,
        _head_factors(site, known.effects[i], known.rules),
        how=ground.how,
        soil_m3=ground.soil_m3,
        swale_ha=ground.swale_ha,
        length_m=ground.length_m,
    )


def _head_factors(site: Site, effect: Effect, rules: Rules) -> tuple[Factor, ...]:
    spot = site.spot
    away = np.nan if effect.uncut is None else effect.uncut.begins_m
    return (
        rising(
            rules,
            "chance_lost.height",
            spot.drop.height_m,
            subject="height of the drop",
            text=f"A drop of {metres(spot.drop.height_m)}",
        ),
        rising(
            rules,
            "chance_lost.area",
            spot.land.area_ha,
            subject="land that drains to it",
            text=f"{hectares(spot.land.area_ha)} drain over it",
        ),
        _shear(site, rules, "chance_lost.shear", "chance_lost.soil_resistance", "bare soil"),
        falling(
            rules,
            "chance_lost.distance",
            away,
            subject="distance to whole ground",
            text=f"Whole ground begins {metres(away)} above the lip",
        ),
        _setting(site, rules),
    )


def _shear(
    site: Site, rules: Rules, curve: str, resistance: str, ground: str, *, factor: str = ""
) -> Factor:
    """Pull of the design flow on the bed against what the ground withstands."""
    state = site.design_flow
    holds, ground = _withstands(site, rules.value(resistance), ground)
    pull = np.nan if state is None else state.shear_pa
    said = f"No flow is known to pull on {ground}"
    if site.width_unseen and site.spot.flow_m3s() > 0:
        said = f"Nobody saw how wide the channel is, and so how hard its flow pulls on {ground}"
    if state is not None:
        said = (
            f"The design flow pulls with {quantity(pull, 'Pa')}, {figures(pull / holds)} times the "
            f"{quantity(holds, 'Pa')} that {ground} withstands"
        )
    subject = "pull of the flow against the soil"
    return rising(rules, curve, pull / holds, subject=subject, text=said, factor=factor)


def _withstands(site: Site, usual_pa: float, ground: str) -> tuple[float, str]:
    """What the bed withstands, Pa: the middle of what is printed for it where somebody told it."""
    held = site.bed_and_bank
    beside = () if held is None else held.rows
    told = next((r for r in beside if r.known and r.where in ("below", "above")), None)
    if told is None:
        return usual_pa, ground
    return 0.5 * sum(told.resists.pull_pa), told.resists.words


def _setting(site: Site, rules: Rules) -> Factor:
    ends, setting = rules["chance_lost.setting_factor"], site.spot.form.setting
    value = ends.low if setting in OPEN_SETTINGS else ends.high
    if not setting:
        value = 0.5 * (ends.low + ends.high)
    text = f"It lies in a {setting or 'setting that is not known'}: {value:.3g}"
    return Factor("setting", value, text, ends.source, ends.basis)


def piece_m(sites: Sites, effect: Effect, i: int, rows: Sequence[int]) -> float:
    """Channel that a structure of a series holds: up to the next one, or over its own deposit."""
    above = [
        sites[j].where.station_m - sites[i].where.station_m
        for j in rows
        if sites[j].where.reach == sites[i].where.reach
        and sites[j].where.station_m > sites[i].where.station_m
    ]
    own = 0.0 if effect.wedge is None else float(effect.wedge.length_m)
    return min(above, default=own)


def _series(known: Known, i: int, rows: Sequence[int]) -> Loss:
    """What a cut bed would lose further, over the piece of it that this structure holds."""
    site, rules, years = known.sites[i], known.rules, known.years
    banks, stage = site.spot.banks, site.spot.form.stage
    piece = piece_m(known.sites, known.effects[i], i, rows)
    factor, soil, how = _bed_goes_on(site, rules)
    if factor is None:
        none = Factor("stage of incision", 0.0, how.rstrip("."), "", "")
        return _loss(known, i, (none,), how=how)
    if stage == WIDENING:
        wide = rules.value("loss.widening") * years
        soil = wide * banks.depth_m * piece
        how = (
            f"Over {metres(piece)} banks {metres(banks.depth_m)} high would go back by "
            f"{metres(wide)} in {years:g} years"
        )
    else:
        deep = rules.value("loss.incision") * years
        width = banks.bed_width_m if np.isfinite(banks.bed_width_m) else site.spot.width_m
        soil = deep * width * piece
        how = (
            f"Over {metres(piece)} a bed {metres(width)} wide would go {metres(deep)} down in "
            f"{years:g} years"
        )
    soil = float(np.nan_to_num(soil))
    held = f"{how}: {quantity(soil, 'm3')}."
    shear = _shear(site, rules, "chance_lost.shear", "chance_lost.soil_resistance", "bare soil")
    return _loss(known, i, (factor, shear), how=held, soil_m3=soil, length_m=piece)


def _bed_goes_on(site: Site, rules: Rules) -> tuple[Factor | None, float, str]:
    """Chance that a reach goes on cutting by its stage; None with the reason where it does not."""
    stage, banks = site.spot.form.stage, site.spot.banks
    subject = "stage of incision"
    if stage == CUTTING_DOWN:
        text = "The reach is in stage 2, cutting down"
        name = "chance_lost.cutting_down"
    elif stage == 0:
        text = "The section does not tell the stage"
        name = "chance_lost.stage_unknown"
    elif stage == WIDENING and banks.width_m <= (
        rules.value("loss.early_widening") * banks.depth_m
    ):
        text = "The reach is in early stage 3, beginning to widen"
        name = "chance_lost.early_widening"
    else:
        why = {1: "is not cut", WIDENING: "is wide already"}.get(stage, "fills again")
        return None, 0.0, f"The reach {why} (stage {stage}): nothing more would be lost."
    return constant(rules, name, subject=subject, text=text), 0.0, ""


def _spreader(known: Known, i: int, rows: Sequence[int]) -> Loss:
    """Ground below a gully's end that would be cut or fall dry."""
    site, rules = known.sites[i], known.rules
    reach = rules.value("loss.spread_reach")
    crests = [size.crest_m for _, size in site.ends] or [site.decision.sized.crest_m]
    areas = [float(np.nan_to_num(crest)) * reach / HECTARE_M2 for crest in crests]
    how = spanned(
        *(
            f"The water of {metres(crest)} of band over {metres(reach)} of ground: {hectares(area)}"
            for crest, area in ((crests[0], areas[0]), (crests[-1], areas[-1]))
        )
    )
    area = min(areas)
    how += "." if area == max(areas) else ", by the width that nobody saw: the least counts."
    text = "Water leaves a gully here"
    factor = constant(rules, "chance_lost.spread", subject="water gathers again", text=text)
    return _loss(known, i, (factor,), how=how, swale_ha=area)


def _swale(known: Known, i: int, rows: Sequence[int]) -> Loss:
    """Floor of a swale behind a grade control, as far as the flow threatens to cut it."""
    site, rules, effect = known.sites[i], known.rules, known.effects[i]
    area = float(np.nan_to_num(effect.benefit.rewetted_m2)) / HECTARE_M2
    length = 0.0 if effect.wedge is None else float(effect.wedge.length_m)
    how = f"{hectares(area)} of floor lie within the structure's height, over {metres(length)}."
    factor = _shear(
        site,
        rules,
        "chance_lost.floor_shear",
        "chance_lost.grass_resistance",
        "a grown floor",
        factor="chance_lost.floor_factor",
    )
    return _loss(known, i, (factor,), how=how, swale_ha=area, length_m=length)


def _road(known: Known, i: int, rows: Sequence[int]) -> Loss:
    """Soil that the water of the piece of road above a dip would cut from it."""
    site, rules, road = known.sites[i], known.rules, known.sites[i].proposal.road
    rate = 0.0 if road is None else float(np.nan_to_num(road.soil_m3_per_yr))
    soil = rate * known.years
    how = (
        f"The water of the road above may cut {quantity(rate, 'm3')} a year from it, over "
        f"{known.years:g} years {quantity(soil, 'm3')}."
    )
    factor = rising(
        rules,
        "chance_lost.road_grade",
        site.spot.slope,
        subject="grade of the road",
        text=f"The road falls {percent(site.spot.slope)}",
        factor="chance_lost.road_factor",
    )
    return _loss(known, i, (factor,), how=how, soil_m3=soil)
