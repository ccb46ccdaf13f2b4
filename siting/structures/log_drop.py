"""Log drop: steps of logs and fabric that take a headcut down where stone is scarce.

Each step is a fall of its own into a shallow pool between two logs, and the lowest falls into a
splash apron that lies below the bed. All have to take the flow step by step.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar

from siting.hydraulics.falls import falls_step_by_step
from siting.places.spot import Spot
from siting.structures import amounts, structure_sentences
from siting.structures.channel_sizes import drop_of
from siting.structures.design_flow import flow_cautions, flow_note
from siting.structures.fall_sizing import LANDING_SOURCE, fall_notes, scour_check
from siting.structures.high_end import ballast_stays, ends_stay_dry, stone_stays
from siting.structures.limit_checks import TRADE, at_most, condition, hand_limits
from siting.structures.log_steps import LogSteps, steps_for, steps_of
from siting.structures.outlines import across_channel, box, rectangle
from siting.structures.rock_sizing import (
    bed_stone,
    kilograms,
    laid_stone,
    lift_check,
    stone_cautions,
    stone_notes,
)
from siting.structures.structure_type import (
    Amount,
    Check,
    Failure,
    Outline,
    Size,
    Stone,
    StructureType,
)
from siting.structures.wood_hold import (
    ballast_check,
    carrying,
    green_log_kg,
    hold_cautions,
    hold_notes,
)
from siting.values.wording import centimetres, metres

#: Wire of one tie round log and post, in log diameters (two turns).
TIE_DIAMETERS = 8


class LogDrop(StructureType):
    """Logs across the flow as steps, with fabric and fill behind them."""

    name: ClassVar[str] = "log drop"
    purposes: ClassVar[tuple[str, ...]] = ("vertical",)
    control: ClassVar[str] = "vertical"
    materials_needed: ClassVar[frozenset[str]] = frozenset({"logs"})
    summary: ClassVar[str] = (
        "A log drop, steps of logs with fabric and fill behind them, takes the drop down in small "
        "falls where stone is scarce and timber near."
    )
    size_words: ClassVar[Mapping[str, str]] = MappingProxyType(
        {
            "steps_count": "Steps",
            "step_m": "Height of a step",
            "tread_m": "Length of a step",
            "step_pool_m": "Fill below the top of its log",
            "apron_depth_m": "Apron below the bed",
        }
    )
    look_first: ClassVar[tuple[str, ...]] = structure_sentences.LOOK_AT_A_DROP
    needs_tailwater: ClassVar[bool] = False

    def checks(self, spot: Spot) -> tuple[Check, ...]:
        """Hand limits, drop, water that falls step by step, and the ballast on the logs."""
        common = hand_limits(
            spot, purposes=self.purposes, needed=self.materials_needed, name=self.name
        )
        drop = at_most(
            spot.rules["log_drop.drop"],
            spot.drop.height_m,
            error=spot.drop.error_m,
            what="the drop",
            so="that suits a log drop",
        )
        steps = steps_for(spot)
        return (*common, drop, *_fall_checks(spot, steps), ballast_check(spot, steps.held))

    def suits(self, spot: Spot) -> float:
        """Less than stone: wood rots in 5 to 15 years; less still above the preferred drop."""
        low = spot.drop.height_m + spot.drop.error_m <= spot.rules.low("log_drop.drop")
        return 0.5 if low else 0.4

    def size(self, spot: Spot) -> Size:
        """So many steps of one log each."""
        rules, steps = spot.rules, steps_for(spot)
        logs, width, stone = steps.logs, steps.width_m, _stone(spot, steps)
        key, apron = rules.value("log_drop.key"), rules.value("log_drop.apron")
        tread = rules.value("log_drop.tread")
        run = logs.count * tread
        body = across_channel(run, width, key, body="steps", ends="key")
        below = rectangle("apron", (run / 2, run / 2 + apron), (-width / 2, width / 2))
        return Size(
            height_m=drop_of(spot),
            length_m=run + apron,
            crest_m=width + 2 * key,
            dims={
                "width_m": width,
                "steps_count": logs.count,
                "step_m": drop_of(spot) / logs.count,
                "log_diameter_m": logs.diameter_m,
                "log_kg": green_log_kg(spot, logs),
                "tread_m": tread,
                "step_pool_m": rules.low("log_drop.pool"),
                "key_m": key,
                "apron_m": apron,
                "apron_depth_m": steps.apron_depth_m,
                "posts_count": logs.posts,
                "fabric_width_m": rules.value("logs.fabric_width"),
                "ballast_kg": steps.held.ballast_kg,
                "ballast_layer_m": steps.held.layer_m,
            },
            parts=(*body, below),
            stone=stone,
            notes=(
                f"Steps: {logs.count} of one log each, {metres(logs.diameter_m)} thick and never "
                "thinner than the step is high, "
                f"{metres(tread)} apart along the channel, {metres(key)} into each bank (field "
                "guides, from memory; length of a step: common practice).",
                "Behind the steps there is fill, so the current pushes on one log's front only "
                "(common practice).",
                *structure_sentences.held_note(spot, width),
                *fall_notes(spot, steps.on_apron),
                *(stone_notes(spot, stone) if stone else (flow_note(spot),)),
                *hold_notes(spot, steps.held),
            ),
        )

    def high_end_checks(self, high: Spot, size: Size) -> tuple[Check, ...]:
        """Ballast and apron at the high end of the flow's range."""
        dims, asked = size.dims, bed_stone(high)
        return (
            *stone_stays(high, size.stone, asked),
            *ends_stay_dry(high, size.crest_m),
            *ballast_stays(
                high,
                steps_of(high, round(dims["steps_count"])).logs,
                asked if "rock" in high.stock.have else None,
                filled=False,
                laid_kg=dims["ballast_kg"],
                layer_m=dims["ballast_layer_m"],
            ),
        )

    def materials(self, spot: Spot, size: Size) -> tuple[Amount, ...]:
        """Logs, fabric, posts, wire, staples, fill, ballast, apron, seed."""
        rules, dims = spot.rules, size.dims
        count, apron_m2 = dims["steps_count"], dims["apron_m"] * dims["width_m"]
        run = count * dims["tread_m"]
        ballast_m3 = dims["ballast_kg"] / 1000 / rules.value("stone.bulk_density")
        if size.stone is not None:
            # what the water falls on is one stone thick at least
            ballast_m3 = max(ballast_m3, run * dims["width_m"] * size.stone.d100_m)
        filled = 0.5 * run * size.height_m * dims["width_m"]
        weights: tuple[Amount, ...]
        if "rock" in spot.stock.have:
            assert size.stone is not None
            apron = apron_m2 * size.stone.d100_m
            d50 = size.stone.d50_m
            weights = (
                amounts.stone(rules, ballast_m3, d50_m=d50, note="on the steps, also as ballast"),
                amounts.stone(rules, apron, d50_m=d50, note="splash apron, one stone thick"),
            )
        else:
            weights = (
                Amount("gravel", ballast_m3, "ballast in bags on the steps"),
                amounts.bags(rules, ballast_m3, note="bags for ballast"),
                Amount("logs", apron_m2 / dims["log_diameter_m"], "splash apron of logs"),
            )
        return (
            Amount("logs", count * size.crest_m, f"{count:.0f} logs across"),
            Amount(
                "fabric",
                count * size.crest_m * dims["fabric_width_m"],
                "a strip under and up the back of each log",
            ),
            Amount("posts", dims["posts_count"], "below the logs, which lean on them"),
            Amount(
                "wire", dims["posts_count"] * TIE_DIAMETERS * dims["log_diameter_m"], "log to post"
            ),
            Amount("staples", 2 * dims["posts_count"], "wire and fabric"),
            Amount("fill", filled, "behind the steps, from the face laid back"),
            *weights,
            amounts.seed(rules, size.length_m, size.crest_m),
        )

    def cautions(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """What to take care of here."""
        return structure_sentences.each_once(
            structure_sentences.drop_cautions(spot),
            structure_sentences.channel_cautions(spot),
            flow_cautions(spot),
            stone_cautions(spot, size.stone),
            hold_cautions(spot, steps_for(spot).held),
            ("Wood that dries and gets wet in turn rots in 5 to 15 years: keep it moist.",),
        )

    def build_steps(self, spot: Spot, size: Size) -> tuple[str, ...]:
        """Lowest step first."""
        dims = size.dims
        rock = "rock" in spot.stock.have
        return (
            structure_sentences.STORMS,
            structure_sentences.UNDERCUT,
            "Build the grade control below first.",
            f"Dig the face back in {dims['steps_count']:.0f} steps of {metres(dims['tread_m'])} "
            f"along the channel, and trenches {metres(dims['key_m'])} into both banks for the ends "
            "of the logs.",
            f"Dig {metres(dims['apron_m'])} of splash apron below the lowest step, its top "
            f"{metres(dims['apron_depth_m'])} below the bed, and lay it: "
            + ("one layer of the largest stones." if rock else "logs side by side along the flow."),
            *((structure_sentences.lifting(spot, size.stone),) if size.stone else ()),
            f"Set the lowest log first, {metres(size.crest_m)} long with both ends in the banks. "
            f"Lay fabric, {metres(dims['fabric_width_m'])} wide, under it and up its back. "
            + carrying(spot, dims["log_kg"]),
            f"Drive posts below the log every {metres(spot.rules.value('log_drop.stake_spacing'))} "
            "and wire the log to them. Fill behind it, tamp, and set the next log on the fill; its "
            f"top stays {metres(dims['step_pool_m'])} below that of the log, so that water falls "
            "into water.",
            "The top log lies at or just below the grade of the lip, lowest in the middle.",
            f"Spread {kilograms(dims['ballast_kg'])} of {'stone' if rock else 'gravel in bags'} "
            f"over the steps, {metres(dims['ballast_layer_m'])} thick: it keeps dry logs from "
            "floating."
            if dims["ballast_kg"] > 0
            else "No ballast is needed on these logs.",
            *(
                ("Every step is paved one stone thick at least, behind its log.",)
                if rock
                else ("Every step is paved with bags, behind its log.",)
            ),
            *structure_sentences.dry_sides(spot, dims["width_m"]),
            "Fill the ends in the banks with tamped soil and stone; sow the worked ground.",
            structure_sentences.INSPECT,
        )

    def failures(self) -> tuple[Failure, ...]:
        """Floating, piping, scour, rot."""
        return (
            Failure(
                "Logs float or shift in a flow.",
                "Gaps at the ends, tilted logs, ballast washed off.",
                "Set them again with more ballast, deeper in the banks.",
            ),
            structure_sentences.PIPING,
            structure_sentences.UNDERMINED,
            Failure(
                "Wood rots.",
                "A bar goes easily into the wood.",
                "Replace it, or lay stone in its place, before it gives way.",
            ),
        )

    def side_view(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Logs one below the other, the highest level with the lip; fill behind them; apron."""
        dims = size.dims
        count, tread, step = round(dims["steps_count"]), dims["tread_m"], dims["step_m"]
        thick, foot = dims["log_diameter_m"], count * tread / 2
        below = size.stone.d100_m if size.stone is not None else thick
        ends = [(i + 1) * tread - foot for i in range(count)]
        logs = (
            box("log", (end - thick, end), (-i * step - thick, -i * step))
            for i, end in enumerate(ends)
        )
        pool = dims["step_pool_m"]
        fill = (
            box("fill", (end - tread, end - thick), (-(i + 1) * step, -i * step - pool))
            for i, end in enumerate(ends)
        )
        sunk = -size.height_m - dims["apron_depth_m"]
        apron = (sunk - below, sunk)
        return (*logs, *fill, box("apron", (foot, foot + dims["apron_m"]), apron))

    def section(self, spot: Spot, size: Size) -> tuple[Outline, ...]:
        """Seen from below: the logs one behind and above the other, with their ends."""
        dims, half = size.dims, size.crest_m / 2
        tops = [size.height_m - i * dims["step_m"] for i in range(round(dims["steps_count"]))]
        return tuple(
            box("log", (-half, half), (top - dims["log_diameter_m"], top), in_ground=False)
            for top in tops
        )


def _stone(spot: Spot, steps: LogSteps) -> Stone | None:
    """Stone of steps and apron; bags and logs take its place where there is no rock."""
    if "rock" not in spot.stock.have:
        return None
    return laid_stone(
        spot, steps.asked, by_size_m=steps.d50_m, because="stone of steps and splash apron"
    )


def _fall_checks(spot: Spot, steps: LogSteps) -> tuple[Check, ...]:
    """Hold the flow against the steps: it falls from one to the next, and scours none."""
    tread = spot.rules.value("log_drop.tread")
    step = drop_of(spot) / steps.logs.count
    fall = steps.on_step
    lands = fall.landing_m if fall else 0.0
    falls = condition(
        fall is None or (lands <= tread and falls_step_by_step(fall.unit_flow_m2s, step, tread)),
        rule="log_drop.tread",
        asks=f"water that falls from step to step and lands within {metres(tread)}",
        found=f"it lands {metres(lands)} along" if fall else "no flow known",
        why_not=f"The flow is too strong for steps of {metres(tread)}: it lands {metres(lands)} "
        "along and shoots on over the logs.",
        source=LANDING_SOURCE,
        basis="published" if fall else TRADE,
    )
    stone = _stone(spot, steps)
    if stone is None:
        limit, asked = spot.rules["logs.bag_stone"], steps.asked
        needed = asked.d50_m if asked else 0.0
        bags = at_most(
            limit,
            needed,
            what="the stone that the fall would ask for",
            so="that bags of gravel stand for",
            show=centimetres,
        )
        return falls, bags
    return (
        falls,
        scour_check(spot, steps.on_step, stone, rule="log_drop.pool"),
        scour_check(spot, steps.on_apron, stone, rule="log_drop.pool"),
        lift_check(spot, stone, steps.asked),
    )
