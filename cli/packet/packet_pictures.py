"""Pictures of a site sheet as SVG: profile, section, and the code to scan."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterator
from typing import Any

import matplotlib as mpl
import segno
from matplotlib.figure import Figure

from cli import palette
from cli.figures.profile_drawing import LongProfile, profile_sketch
from cli.figures.section_drawing import SectionDrawing, section_sketch
from cli.figures.sketch import Frame, Sketch
from cli.packet.printable import raised
from cli.palette import SiteSymbol
from cli.plan.fields import Units

_SETTINGS: dict[Any, Any] = {
    "font.family": ["DejaVu Sans"],
    "axes.linewidth": 0.7,
    "axes.edgecolor": palette.INK,
    # Words stay words, so that the packet can be searched; ids do not change from run to run.
    "svg.fonttype": "none",
    "svg.hashsalt": "gullywalk",
    "path.simplify": True,
}
_NOTHING_OF_WHEN = {"Date": None, "Creator": None, "Format": None, "Type": None}


@contextlib.contextmanager
def drawing() -> Iterator[None]:
    """Settings of the drawing library while pictures are made; they are put back afterwards."""
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        yield


def svg_of(figure: Figure, *, image_dpi: int = 150) -> bytes:
    """Write a figure as SVG; the same figure gives the same bytes."""
    out = io.BytesIO()
    figure.savefig(out, format="svg", dpi=image_dpi, metadata=_NOTHING_OF_WHEN)
    return out.getvalue()


def _frame(width: float, height: float) -> Frame:
    return Frame(
        width=width,
        height=height,
        left=0.63,
        right=0.10,
        top=0.04,
        bottom=0.37,
        text_pt=7.2,
        axis_pt=7.2,
    )


def _finished(sketch: Sketch, x_label: str) -> tuple[bytes, str]:
    sketch.label_axes(x_label, "Elevation")
    sketch.axes.xaxis.labelpad = sketch.axes.yaxis.labelpad = 2.0
    sketch.axes.ticklabel_format(axis="y", style="plain", useOffset=False)
    for text in sketch.axes.texts:
        text.set_path_effects([])
        text.set_text(raised(text.get_text()))
    return svg_of(sketch.figure), sketch.scale_words()


def profile_svg(
    profile: LongProfile, *, units: Units, width: float, height: float, on_road: bool = False
) -> tuple[bytes, str]:
    """Draw a long profile; return it and the words about its scale. Inches."""
    sketch = profile_sketch(profile, units=units, frame=_frame(width, height))
    up = "uphill" if on_road else "upstream"
    return _finished(sketch, f"Distance from the site, {up} to the right")


def section_svg(
    section: SectionDrawing, *, units: Units, width: float, height: float
) -> tuple[bytes, str]:
    """Draw a cross-section; return it and the words about its scale. Inches."""
    sketch = section_sketch(section, units=units, frame=_frame(width, height))
    down = "downhill" if section.on_road else "downstream"
    return _finished(sketch, f"Looking {down}, from the middle")


def geo_address(lon: float, lat: float) -> str:
    """Address of a place that any phone's map opens (RFC 5870); six decimals are 0.1 m."""
    return f"geo:{lat:.6f},{lon:.6f}"


def code_svg(address: str) -> bytes:
    """Draw a code to scan, with the quiet margin that it needs."""
    out = io.BytesIO()
    code = segno.make_qr(address, error="m")
    code.save(out, kind="svg", border=3, xmldecl=False, dark=palette.HEADCUT, light=palette.WHITE)
    return out.getvalue()


def symbol_svg(symbol: SiteSymbol, *, sure: bool) -> bytes:
    """Draw the shape of a kind of site, as it stands on the maps."""
    fill = symbol.colour if sure else palette.WHITE
    path = palette.svg_path(symbol.rings, scale=10.0, centre=14.0)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="28" height="28" viewBox="0 0 28 28">'
        f'<path d="{path}" fill="{fill}" fill-rule="evenodd" stroke="{symbol.colour}" '
        'stroke-width="1.6"/></svg>'
    ).encode()


def headcut_svg() -> bytes:
    """Draw the shape of a headcut, as it stands on the maps."""
    path = palette.svg_path((palette.COMB,), scale=8.5, centre=14.0)
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" width="28" height="28" viewBox="0 0 28 28">'
        f'<path d="{path}" fill="{palette.HEADCUT}"/></svg>'
    ).encode()
