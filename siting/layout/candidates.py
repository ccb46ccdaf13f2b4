"""Everything that the rules propose on measured ground, put together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from siting.channels.channel_reading import ChannelReading, read_stations
from siting.layout.at_headcuts import place_at_headcuts
from siting.layout.fans import place_spreaders
from siting.layout.headcuts_below import with_bases
from siting.layout.measuring import Trials
from siting.layout.on_roads import place_on_roads
from siting.layout.proposals import Placing, put_together
from siting.layout.series import place_series, within_limits
from siting.layout.swales import place_in_swales


def propose(trials: Trials) -> Placing:
    """Ask every placing function; each keeps off what those before it propose."""
    reading = _read(trials)
    heads = place_at_headcuts(trials)
    series = place_series(trials, reading, heads.proposals)
    swales = place_in_swales(trials, reading, (*heads.proposals, *series.proposals))
    taken = (*heads.proposals, *series.proposals, *swales.proposals)
    spreaders = place_spreaders(trials, taken)
    every = put_together((heads, series, swales, spreaders, place_on_roads(trials)))
    return replace(every, proposals=with_bases(trials.ground, every.proposals))


def _read(trials: Trials) -> ChannelReading:
    """Channels at all stations; floods only where a low structure may stand."""
    ground, gauge = trials.ground, trials.gauge
    q2 = np.full(ground.stations.size, np.nan)
    at = np.flatnonzero(within_limits(ground))
    if at.size:
        q2[at] = gauge.peak(ground.stations.cell[at], 2.0)
    return read_stations(ground, q2_m3s=q2, division=gauge.settings.division)
