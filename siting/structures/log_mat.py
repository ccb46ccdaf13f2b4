"""Log mat: logs side by side in line with the flow, let into the floor that the flow wets.

It goes where banks are low and the floor wide and grown over: a swale, or the toe of a fan, which
is one again; not into a channel that still cuts or widens between its banks.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import ClassVar

from siting.places.spot import Spot
from siting.structures import amounts, structure_sentences
from siting.structures.channel_sizes import channel_width_m, off_the_fan
from siting.structures.design_flow import flow_at, flow_cautions, flow_note, years
from siting.structures.grade_height import (
    build_height_m,
    crest_level_m,
    height_cautions,
    height_checks,
    height_note,
    in_swale,
    keyed_to,
    stands,
)
from siting.structures.high_end import ballast_stays, crest_between_banks
from siting.structures.limit_checks import at_least, at_most, condition, hand_limits, no_steeper
from siting.structures.outlines import across_channel, box
from siting.structures.rock_sizing import bed_stone, kilograms
from siting.structures.spacing_table import LOW_GRADE_CONTROL
from siting.structures.structure_type import (
    Amount,
    Check,
    Failure,
    Outline,
    Size,
    StructureType,
)
from siting.structures.wood_hold import (
    Hold,
    Logs,
    ballast_check,
    carrying,
    gap_fill_m3,
    green_log_kg,
    hold,
    hold_cautions,
    hold_notes,
)
from siting.values.wording import figures, hectares, metres

#: Stages of incision in which the bed still cuts down or the banks still give way.
STILL_CUTTING = (2, 3)
#: A mat is at least so wide, m (common practice).
LEAST_SPAN_M = 1.0


@dataclass(frozen=True, slots=True)
class _Mat:
    """A mat worked out for a spot."""

    height_m: float
    span_m: float
    wing_m: float
    logs: Logs
    wires: int
    held: Hold

    @property
    def inset_m(self) -> float:
        """How deep the logs are let into the bed, so that nothing stands above the crest."""
        return max(0.0, self.logs.diameter_m + self.held.layer_m - self.height_m)


class LogMat(StructureType):
    """Logs in line with the flow, tops flush, over the floor that the design flow wets."""

    name: ClassVar[str] = "log mat"
    purposes: ClassVar[tuple[str, ...]] = ("grade",)
    control: ClassVar[str] = "grade"
    materials_needed: ClassVar[frozenset[str]] = frozenset({"logs"})
    summary: ClassVar[str] = (
        "A log mat, logs laid side by side in line with the flow over the floor that it wets, "
        "slows and spreads the water and lets a wide, low bed rise."
    )
    spacing_rules: ClassVar[tuple[str, ...]] = LOW_GRADE_CONTROL
    size_words: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "span_m": "Over the wetted floor",
            "logs_count": "Logs",
            "inset_m": "Let into the bed",
            "faces_covered_share": "Upstream faces covered",
            "wing_m": "Wings at both ends",
            "wires_count": "Lines of wire",
        }
    )
    look_first: ClassVar[tuple[str, ...]] = structure_sentences.LOOK_AT_THE_BED

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Hand limits, a swale, low banks and a wide floor, height, ballast that holds it."""
        rules = spot.rules
        common = hand_limits(
            spot, purposes=self.purposes, needed=self.materials_needed, name=self.name
        )
        depth = spot.banks.depth_m + spot.banks.depth_error_m
        return (
            *common,
            no_steeper(spot, rules["log_mat.gradient"], so="that suits a log mat"),
            at_most(
                rules["log_mat.bank_depth"],
                spot.banks.depth_m,
                error=spot.banks.depth_error_m,
                what="the height of the banks",
                so="that suits a log mat, which needs low banks",
            ),
            at_least(
                rules["log_mat.width_over_depth"],
                spot.banks.width_m / depth if depth > 0 else math.nan,
                what="the width of the channel over its depth",
                so="times that suit a log mat, which needs a wide floor",
                show=figures,
            ),
            off_the_fan(spot, self.name),
            _on_a_swale(spot),
            *height_checks(spot),
            ballast_check(spot, _mat(spot).held),
        )

    def suits(self, spot: Spot) -> float:
        """Well where there is no stone; else a dam of stone does the same for far less work."""
        return 0.4 if "rock" in spot.stock.have else 0.8

    def size(self, spot: Spot) -> Size:
        """As high as the pair needs or as allowed; level over the wetted floor, ends protected."""
        mat, rules = _mat(spot), spot.rules
        wing = mat.wing_m
        length, logs = mat.logs.length_m, mat.logs
        return Size(
            height_m=mat.height_m,
            length_m=length,
            crest_m=mat.span_m + 2 * wing,
            dims={
                "span_m": mat.span_m,
                "log_diameter_m": logs.diameter_m,
                "logs_count": logs.count,
                "log_kg": green_log_kg(spot, logs),
                "inset_m": mat.inset_m,
                "fabric_width_m": rules.value("logs.fabric_width"),
                "faces_covered_share": rules.value("log_mat.faces_covered"),
                "wing_m": wing,
                "wires_count": mat.wires,
                "posts_count": logs.posts,
                "ballast_kg": mat.held.ballast_kg,
                "ballast_layer_m": mat.held.layer_m,
            },
            parts=across_channel(length, mat.span_m, wing, body="body", ends="wing"),
            notes=(
                height_note(spot, mat.height_m),
                f"Logs {metres(logs.diameter_m)} thick are let {metres(mat.inset_m)} into the bed, "
                "so that the crest with all that lies on it stands no higher than that, level "
                "across (common practice, no published source).",
                _span_note(spot, mat),
                flow_note(spot),
                *hold_notes(spot, mat.held),
            ),
        )

    def high_end_checks(self, high: Spot, size: Size) -> tuple[Check, ...]:
        """Ballast and crest at the high end of the flow's range."""
        dims = size.dims
        ballast = ballast_stays(
            high,
            _logs(high, size.height_m),
            bed_stone(high) if "rock" in high.stock.have else None,
            filled=True,
            laid_kg=dims["ballast_kg"],
            layer_m=dims["ballast_layer_m"],
        )
        return ballast if in_swale(high) else (*ballast, *crest_between_banks(high, size.height_m))

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Logs, gravel, fabric, posts, wire, staples, ballast, wings; what is dug."""
        rules, dims = spot.rules, size.dims
        span, diameter = dims["span_m"], dims["log_diameter_m"]
        area = span * size.length_m
        logs, wires = dims["logs_count"], dims["wires_count"]
        wings_m3 = 2 * dims["wing_m"] * size.length_m * diameter
        ballast_m3 = dims["ballast_kg"] / 1000 / rules.value("stone.bulk_density")
        gaps = gap_fill_m3(diameter, area)
        weights: tuple[Amount, ...]
        if "rock" in spot.stock.have:
            small = rules.value("stone.smallest")
            weights = (
                amounts.stone(rules, wings_m3, d50_m=small, note="wings at both banks"),
                amounts.stone(rules, ballast_m3, d50_m=small, note="ballast on the logs"),
                Amount("gravel", gaps, "in the gaps between the logs"),
            )
        else:
            weights = (
                Amount("gravel", gaps, "in the gaps between the logs"),
                Amount("gravel", ballast_m3, "ballast in bags on the logs"),
                Amount("gravel", wings_m3, "wings of bags at both banks"),
                amounts.bags(rules, ballast_m3 + wings_m3, note="bags for ballast and wings"),
            )
        return (
            Amount("logs", logs * size.length_m, f"{logs:.0f} logs, {metres(diameter)} thick"),
            Amount("fabric", span * dims["fabric_width_m"], "strip under the upstream ends"),
            Amount("posts", dims["posts_count"], "driven flush along the wires"),
            Amount("wire", wires * (span + 2 * dims["wing_m"]), "across the mat"),
            Amount("staples", logs * wires, "one where a wire crosses a log"),
            Amount("fill", area * dims["inset_m"], "dug out to let the logs in"),
            *weights,
            amounts.seed(rules, size.length_m, size.crest_m),
        )

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """What to take care of here."""
        return structure_sentences.each_once(
            _little_land(spot),
            height_cautions(spot),
            structure_sentences.channel_cautions(spot),
            flow_cautions(spot),
            hold_cautions(spot, _mat(spot).held),
        )

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Smooth bed, fabric, logs, posts, wire, fill, ballast, wings."""
        dims = size.dims
        rock = "rock" in spot.stock.have
        share = dims["faces_covered_share"]
        ballast = (
            f"Spread {kilograms(dims['ballast_kg'])} of {'stone' if rock else 'gravel in bags'} "
            f"evenly over the logs, {metres(dims['ballast_layer_m'])} thick: it keeps dry logs "
            "from floating."
            if dims["ballast_kg"] > 0
            else "No ballast is needed on these logs."
        )
        return (
            structure_sentences.STORMS,
            f"Clear grass over {metres(size.length_m)} along the channel and "
            f"{metres(size.crest_m)} across: the floor that the flow wets, and the wings. Dig "
            f"{metres(dims['inset_m'])} deep over {metres(dims['span_m'])} and "
            "smooth it level across, so that every log lies on soil over its whole length.",
            f"Lay the fabric, {metres(dims['fabric_width_m'])} wide, from end to end: tucked "
            f"under the upstream ends of the logs and up over at least {100 * share:.0f} % of "
            "their upstream faces.",
            f"Lay {dims['logs_count']:.0f} logs of {metres(dims['log_diameter_m'])} side by side "
            "in line with the flow, thick and thin ends in turn, tops flush in one line. "
            + carrying(spot, dims["log_kg"]),
            "Cut the downstream ends at a slant, so that the water leaves gently.",
            f"Drive {dims['posts_count']:.0f} posts flush with the logs along "
            f"{dims['wires_count']:.0f} lines across, one at each end; stretch smooth wire over "
            "the logs, tie it to the posts, tighten it and staple it to each log. Keep your face "
            "out of the line of a tight wire.",
            "Fill all gaps with gravel and fines, so that water soaks in and plants take root.",
            ballast,
            f"Build a wing of {'stone' if rock else 'bags of gravel'} "
            f"{metres(dims['wing_m'])} long at each end, so that no water runs round it."
            + keyed_to(spot, size.height_m),
            f"Check with a level: the crest is one line, {stands(size.height_m)}, "
            "nothing stands above it. Sow the worked ground.",
            structure_sentences.INSPECT,
        )

    def failures(self) -> tuple[Failure, ...]:
        """Floating, piping, end cutting."""
        return (
            Failure(
                "Logs float up in a flow.",
                "Slack wire, posts pulled up, ballast washed off.",
                "Lay more ballast, tighten the wire, drive the posts anew.",
            ),
            structure_sentences.PIPING,
            structure_sentences.END_CUT,
        )

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Logs let into the bed, with what lies on them."""
        half = size.length_m / 2
        return (box("body", (-half, half), (-size.dims["inset_m"], size.height_m), level="ground"),)

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Level over the wetted floor, with a wing at each end."""
        half, wing = size.dims["span_m"] / 2, size.dims["wing_m"]
        tall = (-size.dims["inset_m"], size.height_m)
        return (
            box("body", (-half, half), tall),
            box("left wing", (-half - wing, -half), tall),
            box("right wing", (half, half + wing), tall),
        )


def _on_a_swale(spot: Spot) -> Check:
    """Hold the place against the form that a mat is made for."""
    form = spot.form
    cuts = form.stage in STILL_CUTTING
    return condition(
        in_swale(spot) and not cuts,
        asks="a swale or the toe of a fan, not a channel that still cuts or widens",
        found=(form.setting or "no form seen") + (f", stage {form.stage}" if form.stage else ""),
        why_not="A log mat is made for the wide, grown floor of a swale: here the channel "
        + (
            "still cuts or widens between its banks."
            if cuts
            else f"is {_named(form.setting) if form.setting else 'of no form that is seen'}."
        ),
    )


def _named(setting: str) -> str:
    return f"{'an' if setting[0] in 'aeiou' else 'a'} {setting}"


def _span_m(spot: Spot) -> float:
    """Width that the likely design flow wets, no wider than the floor or channel, m."""
    whole, discharge = channel_width_m(spot), spot.flow_m3s()
    if not (math.isfinite(discharge) and discharge > 0):
        return whole
    state = flow_at(spot, discharge)
    return min(whole, max(spot.section.top_width_m(state.depth_m), LEAST_SPAN_M))


def _wing_m(spot: Spot, height_m: float) -> float:
    """Length of a wing: to where the ground stands as high as the flow over the crest."""
    least, level = spot.rules.value("log_mat.wing"), crest_level_m(spot, height_m)
    if not math.isfinite(level):
        return least
    # where the flow leaves the low banks it spreads on the floor: no wing keeps it
    wide = min(spot.section.top_width_m(min(level, spot.section.rim_m)), channel_width_m(spot))
    return max(least, (wide - _span_m(spot)) / 2)


def _span_note(spot: Spot, mat: _Mat) -> str:
    """Say how wide it is, and why."""
    wide = channel_width_m(spot)
    return (
        f"It spans the {metres(mat.span_m)} that the {years(spot)} flow wets, of {metres(wide)} of "
        f"floor; wings of {metres(mat.wing_m)} protect its ends (common practice, no published "
        "source)."
    )


def _little_land(spot: Spot) -> tuple[str, ...]:
    least = spot.rules.value("log_mat.drainage_area")
    if spot.land.area_ha >= least:
        return ()
    return (
        f"Less than {hectares(least)} drain to it: little water and sediment come, for what a mat "
        "costs. See whether the place needs it.",
    )


def _mat(spot: Spot) -> _Mat:
    height = build_height_m(spot)
    logs = _logs(spot, height)
    held = hold(spot, logs, filled=True)
    return _Mat(height, _span_m(spot), _wing_m(spot, height), logs, _wires(spot), held)


def _wires(spot: Spot) -> int:
    rules = spot.rules
    return max(2, amounts.count(rules.value("log_mat.length"), rules.value("log_mat.wire_spacing")))


def _logs(spot: Spot, height: float) -> Logs:
    """Logs of a mat of some height."""
    rules = spot.rules
    limit = rules["log_mat.log_diameter"]
    diameter = min(max(height, limit.low), limit.high)
    length = rules.value("log_mat.length")
    span = _span_m(spot)
    posts = _wires(spot) * amounts.count(span, rules.value("log_mat.post_spacing"))
    return Logs(
        diameter_m=diameter,
        length_m=length,
        count=math.ceil(span / diameter - 1e-9),
        area_m2=span * length,
        posts=posts,
        lie="along",
        exposed_share=min(1.0, height / diameter),
    )
