"""What may be asked for beyond the plain ranch: gullies of other kinds, and more that is none."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Extras:
    """How much of each; shares are of the heads or gullies that a ranch has anyway."""

    gradual_share: float = 0.45  # heads whose drop is spread over 3.5 to 7.5 m
    headless_share: float = 0.12  # gullies that begin without a head
    widening_share: float = 0.35  # gullies with a reach that has grown wide
    arroyo_share: float = 0.35  # gullies with a wide floor and a trench in it
    creek: bool = True  # the main channel as a meandering creek, cut 1 to 2 m into its meadow
    fingers: int = 14  # short gullies that begin at the rims of others
    dugouts: int = 1  # each with short gullies that begin at its rim
    dams: int = 2
    trails: int = 8
    terraces: int = 2
    diversions: int = 2
    ledges: int = 5
    hollows: int = 3
    ditches: bool = True
    culverts: int = 2


NOTHING = Extras(0.0, 0.0, 0.0, 0.0, False, 0, 0, 0, 0, 0, 0, 0, 0, False, 0)
