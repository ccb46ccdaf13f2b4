"""What profile and section share: a sheet with one pair of axes in a person's units."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from cli import palette
from cli.figures.label_placing import Box, Wanted, place_apart
from cli.plan.fields import FOOT_M, Units, check_units
from terrain.values.arrays import FloatArray

_DPI = 160
_GROUND, _GROUND_FILL = "#5B4F42", "#DCD3C4"
_REACHES_PT = (6.0, 14.0, 24.0, 36.0, 52.0, 70.0, 92.0, 116.0, 142.0)


@dataclass(frozen=True, slots=True)
class Frame:
    """Size of a drawing and the margins about its axes, inches; size of its words, points."""

    width: float = 9.0
    height: float = 4.9
    left: float = 0.78
    right: float = 0.25
    top: float = 0.72
    bottom: float = 0.95
    text_pt: float = 8.0
    axis_pt: float = 8.5


@dataclass(frozen=True, slots=True)
class Note:
    """Words with a line to the place they are about: distance and height, m."""

    text: str
    x_m: float
    height_m: float


class Sketch:
    """A drawing with distances to the right and heights upward, both given in m.

    Parameters
    ----------
    x_m
        Left and right end of what is shown.
    height_m
        Lowest and highest thing to show.
    units
        ``si`` or ``us``.
    frame
        How large the drawing is.
    """

    def __init__(
        self,
        x_m: tuple[float, float],
        height_m: tuple[float, float],
        units: Units,
        *,
        frame: Frame | None = None,
    ) -> None:
        self.frame = frame = Frame() if frame is None else frame
        self.unit, self.factor = ("ft", 1.0 / FOOT_M) if check_units(units) == "us" else ("m", 1.0)
        self.figure = Figure(figsize=(frame.width, frame.height), dpi=_DPI, facecolor=palette.WHITE)
        FigureCanvasAgg(self.figure)
        wide = frame.width - frame.left - frame.right
        high = frame.height - frame.top - frame.bottom
        self.axes: Axes = self.figure.add_axes(
            (
                frame.left / frame.width,
                frame.bottom / frame.height,
                wide / frame.width,
                high / frame.height,
            )
        )
        low, top = height_m
        room = max(top - low, 0.2)
        # Room for words above, and for the fill of the ground below.
        bottom, roof = low - 0.22 * room, top + 0.55 * room
        per_inch = (x_m[1] - x_m[0]) / wide
        # Heights are never drawn smaller than distances.
        if (roof - bottom) / high > per_inch:
            more = (roof - bottom) / high * wide - (x_m[1] - x_m[0])
            x_m = (x_m[0] - more / 2, x_m[1] + more / 2)
            per_inch = (x_m[1] - x_m[0]) / wide
        self.exaggeration = per_inch / ((roof - bottom) / high)
        self.left_m, self.right_m, self.bottom_m, self.top_m = *x_m, bottom, roof
        self.axes.set(
            xlim=(x_m[0] * self.factor, x_m[1] * self.factor),
            ylim=(bottom * self.factor, roof * self.factor),
        )
        self.axes.tick_params(labelsize=frame.axis_pt - 0.5, colors=palette.INK)
        for side in ("top", "right"):
            self.axes.spines[side].set_visible(False)
        self._keep_clear: list[tuple[FloatArray, FloatArray]] = []

    def ground(self, x_m: FloatArray, height_m: FloatArray) -> None:
        """Draw the ground as a solid line with a light fill below."""
        x, y = x_m * self.factor, height_m * self.factor
        self.axes.fill_between(
            x, y, self.bottom_m * self.factor, color=_GROUND_FILL, linewidth=0, zorder=2.0
        )
        self.axes.plot(x, y, color=_GROUND, linewidth=1.5, zorder=4.0)
        self._keep_clear.append((x, y))

    def area(
        self,
        x_m: FloatArray,
        low_m: FloatArray,
        high_m: FloatArray,
        colour: str,
        *,
        hatch: str = "",
    ) -> None:
        """Fill between two heights, where the second is the higher one, at 35 %."""
        self.axes.fill_between(
            x_m * self.factor,
            low_m * self.factor,
            high_m * self.factor,
            where=(high_m > low_m).tolist(),
            interpolate=True,
            facecolor=colour,
            alpha=palette.WEDGE_OPACITY,
            hatch=hatch or None,
            linewidth=0,
            zorder=2.5,
        )

    def line(
        self,
        x_m: FloatArray,
        height_m: FloatArray,
        colour: str,
        *,
        dashed: bool = False,
        before: bool = False,
    ) -> None:
        """Draw a line, such as the level of the water; with ``before`` it stands before bodies."""
        x, y = x_m * self.factor, height_m * self.factor
        style = (0, (4.0, 2.5)) if dashed else "solid"
        drawn = self.axes.plot(x, y, color=colour, linewidth=1.4, linestyle=style, zorder=4.5)[0]
        if before:
            drawn.set_zorder(5.5)
            drawn.set_path_effects([withStroke(linewidth=3.0, foreground=palette.WHITE)])
        self._keep_clear.append((x, y))

    def body(self, x_m: FloatArray, height_m: FloatArray, colour: str) -> None:
        """Draw a structure to scale."""
        x, y = x_m * self.factor, height_m * self.factor
        self.axes.fill(x, y, facecolor=colour, edgecolor=palette.INK, linewidth=0.7, zorder=5.0)
        ring = np.append(x, x[0]), np.append(y, y[0])
        # Words keep off its inside as well.
        self._keep_clear += [ring, *(_shrunk(*ring, share) for share in (0.75, 0.5, 0.25))]

    def notes(self, notes: list[Note]) -> None:
        """Write words where they touch nothing, each with a line to its place."""
        pixel = _DPI / 72.0
        texts = [
            self.axes.text(
                0, 0, note.text, fontsize=self.frame.text_pt, color=palette.INK, ha="center",
                va="center", linespacing=1.2, zorder=7.0, parse_math=False,
            )
            for note in notes
        ]  # fmt: skip
        wanted = []
        for note, text in zip(notes, texts, strict=True):
            text.set_path_effects([withStroke(linewidth=2.0, foreground=palette.WHITE)])
            size = text.get_window_extent()
            at = (note.x_m * self.factor, note.height_m * self.factor)
            x, y = self.axes.transData.transform(at)
            pad = 0.5 * self.frame.text_pt * pixel
            wanted.append(
                Wanted(
                    float(x), float(y), 2 * pixel, 2 * pixel, size.width + pad, size.height + pad
                )
            )
        frame = self.axes.get_window_extent()
        centres = place_apart(
            wanted,
            frame=(frame.x0 + 2, frame.y0 + 2, frame.x1 - 2, frame.y1 - 2),
            keep_clear=self._boxes(),
            reaches=[reach * pixel for reach in _REACHES_PT],
            first_deg=90.0,
            spread_deg=75.0,
        )
        for text, want, centre in zip(texts, wanted, centres, strict=True):
            if centre is None:
                text.remove()
                continue
            end = (centre[0], centre[1] + (-1 if centre[1] > want.y else 1) * want.height / 2)
            if abs(centre[1] - want.y) < want.height / 2:
                end = (centre[0] + (-1 if centre[0] > want.x else 1) * want.width / 2, centre[1])
            back = self.axes.transData.inverted().transform([centre, end, (want.x, want.y)])
            text.set_position(tuple(back[0]))
            self.axes.plot(*back[1:].T, color=palette.INK, linewidth=0.6, zorder=6.0)

    def _boxes(self) -> list[Box]:
        """Small boxes along all lines, that words keep off."""
        boxes = []
        half = 3.0 * _DPI / 72.0
        for x, y in self._keep_clear:
            at = self.axes.transData.transform(np.column_stack([x, y]))
            at = at[np.isfinite(at).all(axis=1)]
            if len(at) < 2:
                continue
            along = np.append(0.0, np.cumsum(np.hypot(*np.diff(at, axis=0).T)))
            every = np.arange(0.0, along[-1] + half, half)
            for px, py in zip(*(np.interp(every, along, at[:, k]) for k in (0, 1)), strict=True):
                boxes.append((px - half, py - half, px + half, py + half))
        return boxes

    def label_axes(self, x_label: str, height_label: str) -> None:
        """Write what the axes measure, with the unit."""
        for write, words in ((self.axes.set_xlabel, x_label), (self.axes.set_ylabel, height_label)):
            write(f"{words}, {self.unit}", color=palette.INK, fontsize=self.frame.axis_pt)

    def scale_words(self) -> str:
        """Say how heights are drawn against distances."""
        if abs(self.exaggeration - 1) < 0.05:
            return "Heights and distances to the same scale."
        digits = 1 if self.exaggeration < 9.95 else 0
        return f"Heights are drawn {self.exaggeration:.{digits}f} times as large as distances."


def _shrunk(x: FloatArray, y: FloatArray, share: float) -> tuple[FloatArray, FloatArray]:
    """A ring drawn in towards its middle."""
    middle_x, middle_y = (x.min() + x.max()) / 2, (y.min() + y.max()) / 2
    return middle_x + share * (x - middle_x), middle_y + share * (y - middle_y)
