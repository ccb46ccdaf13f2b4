"""Colours and shapes of every picture and every default map symbol, defined once.

Shapes are closed rings in a unit box (x right, y up, about -1 to 1), so that the figures
and the map symbols draw exactly the same outline.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

BRICK = "#A63A2B"
OCHRE = "#B26C00"
GREEN = "#3E8E5A"
CHARCOAL = "#2B2B2B"
HEADCUT = "#111111"
CHANNEL = "#1F5F99"
RANCH = "#444444"
WHITE = "#FFFFFF"
PAPER = "#E9E4DA"
INK = "#2B2B2B"
CONTOUR = "#7A6A58"

DRAINAGE_AREA_OPACITY = 0.10
#: Pools and wedges.
WEDGE_OPACITY = 0.35
#: Gullies lie under everything else.
GULLY_OPACITY = 0.32
GULLY_LINE_MM = 0.15
#: Footprints of structures: the body, and aprons, keys and other parts.
BODY_OPACITY, PART_OPACITY = 0.80, 0.40
RANCH_WIDTH_MM = 1.2
#: A road is a grey line with a lighter one inside, so that two thin lines are seen.
ROAD = "#7C7C7C"
ROAD_WIDTH_MM, ROAD_INSIDE_MM = 0.80, 0.42
#: Line width of a channel that drains 1 ha, and what each tenfold adds.
CHANNEL_WIDTH_MM = 0.25
CHANNEL_WIDTH_STEP_MM = 0.28
#: Below this confidence a site is drawn as an outline only.
LOW_CONFIDENCE = 0.5

Ring = tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class SiteSymbol:
    """How a kind of site is drawn: what it is for, its words, colour and outline.

    A type of structure may have a shape of its own beside that of its control, with a key of its
    own.
    """

    control: str
    label: str
    colour: str
    rings: tuple[Ring, ...]
    #: Whether the shape turns with the slope of the ground (its drawn foot points downhill).
    turns: bool = False
    own_key: str = ""

    @property
    def key(self) -> str:
        """Name among all shapes of a picture: of its own, or its control."""
        return self.own_key or self.control


def _arc(radius: float, start_deg: float, stop_deg: float, *, y: float = 0.0, n: int = 24) -> Ring:
    """Points along a circle about (0, y)."""
    step = math.radians(stop_deg - start_deg) / n
    first = math.radians(start_deg)
    return tuple(
        (radius * math.cos(first + i * step), y + radius * math.sin(first + i * step))
        for i in range(n + 1)
    )


def _through(x: float, y: float, top: float) -> Ring:
    """Arc from (x, y) over (0, top) to (-x, y)."""
    rise = top - y
    radius = (x * x + rise * rise) / (2 * rise)
    middle = top - radius
    start = math.degrees(math.atan2(y - middle, x))
    return _arc(radius, start, 180.0 - start, y=middle)


def _crescent() -> Ring:
    """Draw a crescent with its horns downhill (down in the unit box)."""
    # Two circles through the same two horns; the inner one is flatter and lower.
    horn_x, horn_y, top, inner_top = 1.05, -0.75, 0.85, 0.0
    outer = _through(horn_x, horn_y, top)
    inner = tuple(reversed(_through(horn_x, horn_y, inner_top)))
    return outer + inner


def _struck_ring() -> tuple[Ring, ...]:
    """Draw a ring with a straight stroke through it from lower left to upper right."""
    outer_r, inner_r, half, reach = 0.88, 0.60, 0.14, 1.22
    turn = math.radians(45.0)

    def turned(ring: Ring) -> Ring:
        c, s = math.cos(turn), math.sin(turn)
        return tuple((x * c - y * s, x * s + y * c) for x, y in ring)

    lift = math.degrees(math.asin(half / outer_r))
    top = _arc(outer_r, lift, 180.0 - lift)
    bottom = _arc(outer_r, 180.0 + lift, 360.0 - lift)
    outline = (*top, (-reach, half), (-reach, -half), *bottom, (reach, -half), (reach, half))
    lift = math.degrees(math.asin(half / inner_r))
    # Holes run the other way round, so that both fill rules leave them open.
    upper_hole = tuple(reversed(_arc(inner_r, lift, 180.0 - lift)))
    lower_hole = tuple(reversed(_arc(inner_r, 180.0 + lift, 360.0 - lift)))
    return turned(outline), turned(upper_hole), turned(lower_hole)


def _octagon_with_bars() -> tuple[Ring, ...]:
    """Draw an octagon with two upright bars cut out of it: wait."""
    side = 1.0 / (1.0 + math.sqrt(2.0))
    octagon = ((side, 1.0), (1.0, side), (1.0, -side), (side, -1.0))
    half = tuple((-x, -y) for x, y in octagon)
    # Holes run the other way round, so that both fill rules leave them open.
    left = ((-0.45, -0.5), (-0.15, -0.5), (-0.15, 0.5), (-0.45, 0.5))
    return (*octagon, *half), left, tuple((x + 0.6, y) for x, y in left)


_STEPPED_SQUARE: Ring = (
    (-0.9, -0.9),
    (0.9, -0.9),
    (0.9, 0.1),
    (0.1, 0.1),
    (0.1, 0.9),
    (-0.9, 0.9),
)
_BAR: Ring = ((-1.2, -0.4), (1.2, -0.4), (1.2, 0.4), (-1.2, 0.4))

SITE_SYMBOLS: tuple[SiteSymbol, ...] = (
    SiteSymbol("vertical", "Vertical control (stop a drop)", BRICK, (_STEPPED_SQUARE,)),
    SiteSymbol("grade", "Grade control (hold the bed)", OCHRE, (_BAR,)),
    SiteSymbol("spread", "Spreading (slow and spread the flow)", GREEN, (_crescent(),), turns=True),
    SiteSymbol("hold", "Hold: measure again", CHARCOAL, _octagon_with_bars()),
    SiteSymbol("refer", "Refer to an engineer", CHARCOAL, _struck_ring()),
)


def _comb() -> Ring:
    """Draw a bar with teeth on its low side as one closed outline.

    It is wider than the site shapes, so that its ends show when a site lies on a headcut.
    """
    half, top, under, foot, tooth, teeth = 1.5, 0.45, 0.12, -0.6, 0.26, 5
    pitch = (2 * half - tooth) / (teeth - 1)
    points = [(-half, top), (half, top)]
    for i in reversed(range(teeth)):
        left = -half + i * pitch
        points += [(left + tooth, under), (left + tooth, foot), (left, foot), (left, under)]
    return tuple(points)


COMB: Ring = _comb()
#: A small disc, for the point that is moved to where somebody measured.
DISC: Ring = _arc(0.9, 0.0, 360.0)[:-1]


def site_symbol(control: str) -> SiteSymbol:
    """Symbol of a control; the unknown is drawn as "refer"."""
    return next((s for s in SITE_SYMBOLS if s.control == control), SITE_SYMBOLS[-1])


def channel_width_mm(drainage_area_ha: float) -> float:
    """Line width of a channel that drains so much, mm; grows with the logarithm of the area."""
    return CHANNEL_WIDTH_MM + CHANNEL_WIDTH_STEP_MM * math.log10(max(drainage_area_ha, 1.0))


def svg_path(rings: tuple[Ring, ...], *, scale: float, centre: float) -> str:
    """Path data for SVG (y down) of rings in the unit box."""
    parts = []
    for ring in rings:
        points = [f"{centre + scale * x:.3f},{centre - scale * y:.3f}" for x, y in ring]
        parts.append("M" + " L".join(points) + " Z")
    return " ".join(parts)
