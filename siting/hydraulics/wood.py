"""Wood by species, and what keeps logs from floating away.

Dry logs are the worst case: a log that dried for a season and is then flooded at once. So the
density that counts is the dry one, at 12 % moisture; green logs weigh more.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from siting.hydraulics.open_channel import GRAVITY_MPS2, WATER_KG_M3, WATER_N_M3
from siting.hydraulics.stone import STONE_KG_M3
from siting.values.settings_file import number, own_file
from terrain.values.errors import ParameterError
from terrain.values.reader_units import quantity

WOOD_FILE = "wood.toml"
#: Moisture of dry logs, share of their oven-dry mass.
DRY_MOISTURE: Final = 0.12
#: Least hold over load, and friction of logs and stone on the bed: both common practice, no
#: published source.
HOLD_FACTOR: Final = 1.5
FRICTION: Final = 0.5
#: Drag of logs in a current (from memory; 0.7 to 1.5 are in use).
DRAG: Final = 1.2


@dataclass(frozen=True, slots=True)
class Species:
    """Wood of one species.

    Parameters
    ----------
    name
        Common name.
    specific_gravity_green, specific_gravity_dry
        Oven-dry mass over volume when green, and over volume at 12 % moisture; water is 1.
    moisture_pct
        When green, % of the oven-dry mass.
    """

    name: str
    specific_gravity_green: float
    specific_gravity_dry: float
    moisture_pct: float

    @property
    def density_kg_m3(self) -> float:
        """Density of a dry log, at 12 % moisture, kg/m3: what to count on against floating."""
        return WATER_KG_M3 * self.specific_gravity_dry * (1 + DRY_MOISTURE)

    @property
    def green_density_kg_m3(self) -> float:
        """Density of a freshly cut log, 1000 SG (1 + moisture / 100), kg/m3: what to carry."""
        return WATER_KG_M3 * self.specific_gravity_green * (1 + self.moisture_pct / 100)


@functools.cache
def species() -> Mapping[str, Species]:
    """Every species of ``wood.toml`` by its name.

    Source: U.S. Forest Service, Forest Inventory and Analysis, REF_SPECIES, after Miles and Smith
    2009, Research Note NRS-RN-38.
    """
    return MappingProxyType(
        {
            name: Species(
                name,
                *(
                    number(entry, key, f"{WOOD_FILE}: {name}")
                    for key in ("specific_gravity_green", "specific_gravity_dry", "moisture_pct")
                ),
            )
            for name, entry in own_file(WOOD_FILE)["species"].items()
        }
    )


def wood(name: str) -> Species:
    """One species by its name, in capitals or not.

    Raises
    ------
    ParameterError
        The name is not in ``wood.toml``.
    """
    by_name = {known.lower(): one for known, one in species().items()}
    if name.strip().lower() not in by_name:
        raise ParameterError(f"wood '{name}'", expected="one of " + ", ".join(species()))
    return by_name[name.strip().lower()]


@dataclass(frozen=True, slots=True)
class LogRow:
    """Logs of one size, side by side on the bed.

    Parameters
    ----------
    diameter_m, length_m, count
        Of each log, and how many.
    density_kg_m3
        Of the wood; `Species.density_kg_m3` for the worst case.
    lie
        ``along`` the flow (their ends face the water, as one row) or ``across`` it (their sides do,
        each for itself).
    drag
        Drag coefficient of the front.
    friction
        Of the logs on the bed, share of the force that presses them down.

    Raises
    ------
    ParameterError
        A value outside its range.
    """

    diameter_m: float
    length_m: float
    count: int
    density_kg_m3: float
    lie: Literal["along", "across"] = "along"
    drag: float = DRAG
    friction: float = FRICTION

    def __post_init__(self) -> None:
        values = (
            self.diameter_m,
            self.length_m,
            self.count,
            self.density_kg_m3,
            self.friction,
            self.drag,
        )
        if not all(0 < v < math.inf for v in values):
            raise ParameterError(
                f"logs with the values {values}", expected="sizes and coefficients above zero"
            )
        if self.lie not in ("along", "across"):
            raise ParameterError(f"logs that lie '{self.lie}'", expected="'along' or 'across'")


@dataclass(frozen=True, slots=True)
class HoldDown:
    """What lifts and pushes logs at a flood, and what it takes to hold them.

    Parameters
    ----------
    uplift_n
        Buoyancy less the weight of the logs, N; 0 where they do not float.
    drag_n
        Push of the current on their exposed front, N.
    resisting_n
        What holds them down already, N: weight under water of fill on top, and anchors given.
    ballast_kg
        Mass of stone to add on top, weighed dry; its weight under water is what counts.
    factor
        Least of hold over uplift and friction over drag, with the ballast; infinite without load.
    factor_wanted
        Factor asked for.
    notes
        Sentences: what was assumed, and which of the two rules.
    """

    uplift_n: float
    drag_n: float
    resisting_n: float
    ballast_kg: float
    factor: float
    factor_wanted: float
    notes: tuple[str, ...]


def hold_down(
    logs: LogRow,
    *,
    depth_m: float,
    velocity_mps: float,
    fill_n: float = 0.0,
    stone_density: float = STONE_KG_M3,
    factor: float = HOLD_FACTOR,
    anchor_n: float = 0.0,
) -> HoldDown:
    """Stone that keeps logs on the bed from floating and from sliding.

    Parameters
    ----------
    logs
        The logs.
    depth_m, velocity_mps
        Water above the underside of the logs, and its mean velocity, at the design flow.
    fill_n
        Weight under water of fill that lies on the logs (`submerged_n`), N.
    stone_density
        Of the ballast, solid, kg/m3.
    factor
        Hold over load that is wanted, 1 or more.
    anchor_n
        Tested hold of posts and wire all together, N; it counts against floating, and as pressing
        the logs down. Without a test it is 0: posts and wire get no credit.

    Raises
    ------
    ParameterError
        A value outside its range.

    Notes
    -----
    Floating: factor (buoyancy - weight of the logs) <= fill + anchors + ballast. Sliding: factor
    drag <= friction (fill + anchors + ballast + weight - buoyancy), drag = Cd rho A V^2 / 2. Both
    from the balance of forces; the factor is common practice, no published source.
    """
    loads = (depth_m, velocity_mps, fill_n, anchor_n)
    if not all(0 <= v < math.inf for v in loads):
        raise ParameterError(
            f"depth, velocity, fill and anchors of {loads}", expected="numbers of zero or more"
        )
    if not factor >= 1 or not math.isfinite(factor):
        raise ParameterError(f"a hold-down factor of {factor:g}", expected="1 or more")
    wet, friction = min(depth_m, logs.diameter_m), logs.friction
    buoyancy = logs.count * WATER_N_M3 * _disc_m2(logs.diameter_m, wet) * logs.length_m
    whole = math.pi / 4 * logs.diameter_m**2 * logs.length_m
    lifting = buoyancy - logs.count * logs.density_kg_m3 * GRAVITY_MPS2 * whole
    front = logs.count * wet * (logs.diameter_m if logs.lie == "along" else logs.length_m)
    push = logs.drag * WATER_KG_M3 * front * velocity_mps**2 / 2
    resisting = fill_n + anchor_n
    afloat = factor * max(lifting, 0.0) - resisting
    sliding = factor * push / friction + lifting - resisting
    ballast_n = max(afloat, sliding, 0.0)
    hold = resisting + ballast_n
    factors = (
        hold / lifting if lifting > 0 else math.inf,
        friction * (hold - lifting) / push if push > 0 else math.inf,
    )
    return HoldDown(
        uplift_n=max(lifting, 0.0),
        drag_n=push,
        resisting_n=resisting,
        ballast_kg=ballast_n / submerged_n(1.0, stone_density) * stone_density,
        factor=min(factors),
        factor_wanted=float(factor),
        notes=_notes(logs, factor, anchor_n, afloat, sliding),
    )


def submerged_n(volume_m3: float, density_kg_m3: float) -> float:
    """Weight under water of a solid volume, N; stone or grains without the gaps between them.

    Raises
    ------
    ParameterError
        A volume below 0, or a density not above that of water.
    """
    if not (0 <= volume_m3 < math.inf and WATER_KG_M3 < density_kg_m3 < 10_000):
        raise ParameterError(
            f"{volume_m3:g} m3 of {density_kg_m3:g} kg/m3 as weight under water",
            expected="a volume of zero or more, denser than water",
        )
    return volume_m3 * (density_kg_m3 - WATER_KG_M3) * GRAVITY_MPS2


def _disc_m2(diameter_m: float, depth_m: float) -> float:
    """Part of a log's end that lies under water, m2."""
    radius = diameter_m / 2
    angle = math.acos(max(min(1 - depth_m / radius, 1.0), -1.0))
    return radius**2 * (angle - math.sin(angle) * math.cos(angle))


def _notes(
    logs: LogRow, factor: float, anchor: float, afloat: float, sliding: float
) -> tuple[str, ...]:
    if max(afloat, sliding) <= 0:
        rules = "No stone beyond what is given is needed to hold the logs."
    else:
        rules = f"{'Floating' if afloat >= sliding else 'Sliding'} decides how much stone it takes."
    anchors = (
        f"Posts and wire count with {quantity(anchor, 'N')}, as tested."
        if anchor > 0
        else "Posts and wire get no credit, since no tested hold is given."
    )
    return (
        f"Logs at {quantity(logs.density_kg_m3, 'kg/m3', digits=3)}; a dry log floats harder "
        "than a green one.",
        rules,
        anchors,
        f"Hold over load at least {factor:g}, friction on the bed {logs.friction:g}: common "
        "practice, no published source.",
    )
