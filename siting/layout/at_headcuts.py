"""Vertical control: what stops a headcut.

A structure at a headcut is never alone: see `siting.layout.pairs`.
"""

from __future__ import annotations

from siting.channels.headcut_measures import HeadMeasures
from siting.layout.head_sifting import sifted
from siting.layout.measuring import Trials
from siting.layout.pairs import HeadTrial, Pairs
from siting.layout.proposals import AtHead, Placing, Proposal, Where, Words
from siting.layout.shared_controls import share_grade_controls
from siting.places.spot import Task
from siting.values.wording import counted, hectares, metres, percent

#: What a headcut itself asks of a structure.
STOP = Task("vertical")


def place_at_headcuts(trials: Trials) -> Placing:
    """Propose each headcut that is sure enough, with its grade control below."""
    ground = trials.ground
    heads, rules = ground.headcuts, ground.rules
    found = sifted(ground)
    heads_at, hillside = found.measures, found.hillside
    wanted = heads_at.index
    if not wanted.size:
        return Placing()
    measured = trials.measure(heads.cell[wanted], heads_at.section_cell)
    keep = trials.keep_off(heads.cell[wanted])
    referred: list[Proposal] = []
    stands: list[HeadTrial] = []
    for k in found.kept:
        proposal = _proposal(trials, heads_at, int(k))
        spot = trials.meter.spot(measured, int(k), STOP, drop_m=proposal.head.drop_m)
        decision = trials.decide(spot, keep[k])
        if decision.builds:
            stands.append(HeadTrial(int(k), proposal, spot, decision, keep[k]))
        else:
            referred.append(proposal)
    paired = Pairs(trials, heads_at, [head.row for head in stands]).proposals(stands)
    notes: tuple[str, ...] = ()
    if hillside.any():
        notes = (
            f"{counted(int(hillside.sum()), 'headcut')} in beds steeper than "
            f"{percent(rules.value('refer.slope'))} belong to the hillside: no site there.",
        )
    return Placing((*referred, *share_grade_controls(paired)), notes)


def _proposal(trials: Trials, m: HeadMeasures, k: int) -> Proposal:
    """One headcut, and what is said there."""
    ground = trials.ground
    heads, i = ground.headcuts, int(m.index[k])
    found = (
        f"The bed drops {metres(m.height_m[k])} here within "
        f"{metres(max(heads.face_length_m[i], ground.raster.grid.cell_m))}; "
        f"{'at least ' if m.cut_off[k] else ''}{hectares(m.area_ha[k])} drain over it."
    )
    above = float(heads.incision_above_m[i])
    whole = (
        f"The channel above is only {metres(max(above, 0.0))} deep: ground that is still whole "
        "would be lost as the drop moves up."
        if above < 0.5 * m.bank_depth_m[k] and above < ground.rules.value("series.incision")
        else ""
    )
    return Proposal(
        where=Where(
            cell=int(heads.cell[i]),
            section_cell=int(m.section_cell[k]),
            x_m=float(heads.x_m[i]),
            y_m=float(heads.y_m[i]),
            reach=int(heads.reach[i]),
            station_m=float(heads.station_m[i]),
        ),
        task=STOP,
        confidence=float(heads.confidence[i]),
        words=Words(found, built=whole, cautions=_cautions(trials, m, k)),
        head=AtHead(i, float(m.height_m[k]), above, int(m.heads_below[k])),
    )


def _cautions(trials: Trials, m: HeadMeasures, k: int) -> tuple[str, ...]:
    """What the headcut itself asks care for; the type adds its own."""
    rules = trials.ground.rules
    out = []
    if m.height_m[k] < rules.high("measuring.smallest_drop"):
        out.append("A drop this low is near what the elevations can show: look first.")
    if bool(trials.ground.headcuts.is_side[int(m.index[k])]):
        out.append("It works back from the side of a larger channel: see that the foot holds.")
    return tuple(out)
