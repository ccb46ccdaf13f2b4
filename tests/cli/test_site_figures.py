"""Pictures of a site from close up, of a profile and of a section."""

from __future__ import annotations

import re
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.text import Text

from cli import palette
from cli.figures.ground_drawing import draw_ground
from cli.figures.label_placing import Wanted, place_apart
from cli.figures.profile_drawing import Level, LongProfile, ProfileStructure, profile_sketch
from cli.figures.section_drawing import SectionDrawing, SectionStructure, section_sketch
from cli.figures.site_map import site_bounds, site_map
from cli.figures.sketch import Sketch
from cli.file_errors import OutputError
from cli.packet import packet_pictures
from cli.plan.fields import Units
from cli.plan.layers import Layer
from cli.plan.relief import Bounds
from tests.example_stretch import stretch_layers, stretch_raster

LAYERS = stretch_layers()
RASTER = stretch_raster()
SITES = (1, 2)


class InventedGround:
    source_line = "Invented."

    def draw(self, axes: Axes, bounds: Bounds, units: Units) -> tuple[str, list[Text]]:
        return draw_ground(axes, RASTER, bounds, units, soft=True)


def share_of(image: np.ndarray, colour: str) -> float:
    wanted = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])
    return float((np.abs(image[..., :3] * 255 - wanted).max(axis=-1) < 3).mean())


def draw(
    path: Path, layers: dict | None = None, ids: tuple[int, ...] = SITES, **more: object
) -> Path:
    given = {"title": "Site 1", "source_line": "Invented.", "behind": InventedGround()} | more
    return site_map(LAYERS if layers is None else layers, ids, path=path, **given)  # type: ignore[arg-type]


@pytest.fixture
def words(monkeypatch: pytest.MonkeyPatch) -> list[Text]:
    """Every text written on axes while the test draws."""
    found: list[Text] = []
    write = Axes.text

    def text(axes: Axes, *arguments: object, **options: object) -> Text:
        one = write(axes, *arguments, **options)
        found.append(one)
        return one

    monkeypatch.setattr(Axes, "text", text)
    return found


def test_the_close_up_shows_what_is_built_and_its_sizes(tmp_path: Path, words: list[Text]) -> None:
    image = imread(draw(tmp_path / "site.png"))
    for colour in (palette.CHANNEL, palette.BRICK, palette.OCHRE, palette.HEADCUT):
        assert share_of(image, colour) > 1e-4, colour
    written = [text.get_text() for text in words]
    assert "Site 1: rock bowl\n0.90 m drop, 1.8 m along\n3.8 m across" in written
    assert "Site 2: one-rock dam\n0.16 m high, 1.5 m along\n3.4 m across" in written
    # The next dam lies outside.
    assert not any("Site 3" in text for text in written)


def test_sizes_in_feet(tmp_path: Path, words: list[Text]) -> None:
    draw(tmp_path / "site.png", units="us")
    assert any("6.5 in high, 4.9 ft along\n11 ft across" in text.get_text() for text in words)


def test_bounds_hold_the_pair_with_its_pool() -> None:
    west, south, east, north = site_bounds(LAYERS, SITES)
    assert east - west == pytest.approx(north - south)
    assert east - west >= 24.0
    box = shapely.box(west, south, east, north)
    for name in ("structures", "pools", "sites"):
        layer = LAYERS[name]
        assert layer.geometry is not None
        mine = layer.geometry[np.isin(layer.columns["site_id"], SITES)]
        assert len(mine)
        assert shapely.covers(box, mine).all()


def test_a_stretch_with_a_site_that_has_no_footprint(tmp_path: Path, words: list[Text]) -> None:
    image = imread(draw(tmp_path / "stretch.png", ids=(1, 2, 3, 4)))
    assert share_of(image, palette.CHARCOAL) > 1e-4
    written = [text.get_text() for text in words]
    assert "Site 4: refer\n2.4 m drop" in written
    assert "Refer to an engineer" in written


def test_labels_of_the_close_up_touch_nothing(tmp_path: Path, words: list[Text]) -> None:
    draw(tmp_path / "stretch.png", ids=(1, 2, 3, 4))
    labels = [text for text in words if text.get_text().startswith("Site ")]
    assert len(labels) == 4
    axes = labels[0].axes
    boxes = [shapely.box(*text.get_window_extent().extents) for text in labels]
    for i, box in enumerate(boxes):
        assert not any(box.intersects(other) for other in boxes[i + 1 :])
    for name in ("structures", "pools", "channels"):
        for shape in LAYERS[name].geometry:  # type: ignore[union-attr]
            on_sheet = shapely.transform(shape, axes.transData.transform)
            assert not any(box.intersects(on_sheet) for box in boxes), name
    frame = shapely.box(*axes.get_window_extent().extents)
    assert all(frame.covers(box) for box in boxes)


def test_without_ground_and_with_little_on_it(tmp_path: Path) -> None:
    bare = imread(draw(tmp_path / "bare.png", behind=None))
    assert share_of(bare, palette.PAPER) > 0.3
    only = {"sites": LAYERS["sites"]}
    assert imread(draw(tmp_path / "only.png", only, ids=(4,), behind=None)).size > 0


def test_same_input_same_bytes_and_settings_left_alone(tmp_path: Path) -> None:
    first = draw(tmp_path / "one.png").read_bytes()
    with mpl.rc_context({"font.size": 25, "axes.facecolor": "red"}):
        assert draw(tmp_path / "two.png").read_bytes() == first
        assert mpl.rcParams["font.size"] == 25
    with pytest.raises(OutputError, match=r"one\.png exists already"):
        draw(tmp_path / "one.png")


def test_sediment_is_drawn_beyond_the_pool_only(tmp_path: Path) -> None:
    pools = LAYERS["pools"]
    water = pools.columns["kind"] == "pool"
    assert pools.geometry is not None
    # With a pool as large as its wedge nothing of the wedge is left to draw.
    same = Layer("pools", np.where(water, pools.geometry, pools.geometry[[1, 1, 3, 3]]),
                 pools.columns, pools.crs)  # fmt: skip
    mixed = imread(
        draw(tmp_path / "mixed.png", {"sites": LAYERS["sites"], "pools": pools}, behind=None)
    )
    plain = imread(
        draw(tmp_path / "plain.png", {"sites": LAYERS["sites"], "pools": same}, behind=None)
    )
    sand = blended(palette.OCHRE)
    assert share_of(mixed, sand) > 10 * share_of(plain, sand)


def blended(colour: str) -> str:
    """A colour at 35 % over the paper of the map."""
    pair = [[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in (colour, palette.PAPER)]
    mix = [round(0.35 * a + 0.65 * b) for a, b in zip(*pair, strict=True)]
    return "#" + "".join(f"{v:02X}" for v in mix)


STATION = np.arange(20.0, 80.0, 0.5)
BED = 1697 + 0.025 * STATION + 0.9 / (1 + np.exp(-(STATION - 58) / 0.15))


def profile(**changes: object) -> LongProfile:
    given: dict = {
        "station_m": STATION,
        "bed_m": BED,
        "structures": (
            ProfileStructure(
                "one-rock dam\n0.16 m high",
                "grade",
                np.array([52.0, 52.0, 53.5, 53.5]),
                np.array([1698.2, 1698.45, 1698.5, 1698.3]),
            ),
        ),
        "water": Level(STATION, BED + 0.21),
        "pools": (Level(np.array([53.5, 57.0]), np.full(2, 1698.5)),),
        "wedges": (Level(np.array([40.0, 50.0]), np.array([1698.15, 1698.3])),),
        "headcuts": ((58.2, 1699.3, 1698.45),),
        "flood_words": "10-year flood, 0.42 m3/s",
    }
    return LongProfile(**given | changes)


def test_a_profile_says_what_it_shows(tmp_path: Path, words: list[Text]) -> None:
    drawn = profile_sketch(profile())
    drawn.label_axes("Station up the channel", "Elevation")
    image = _image(drawn, tmp_path / "p.png")
    for colour in (palette.CHANNEL, palette.OCHRE):
        assert share_of(image, colour) > 1e-4
    written = [text.get_text() for text in words]
    for text in ("one-rock dam\n0.16 m high", "still pool", "sediment that fills in", "headcut",
                 "water at the 10-year flood, 0.42 m3/s"):  # fmt: skip
        assert text in written
    assert drawn.axes.get_xlabel() == "Station up the channel, m"
    assert drawn.axes.get_xlim()[0] < drawn.axes.get_xlim()[1]
    assert drawn.axes.get_ylabel() == "Elevation, m"
    times = float(re.findall(r"[\d.]+", drawn.scale_words())[0])
    assert times == pytest.approx(_exaggeration(drawn), rel=0.02)


def _image(drawn: Sketch, path: Path) -> np.ndarray:
    drawn.figure.savefig(path)
    return imread(path)


def _exaggeration(drawn: Sketch) -> float:
    """How much larger heights are drawn than distances, from the axes themselves."""
    (x0, y0), (x1, y1) = drawn.axes.transData.transform([(0.0, 0.0), (1.0, 1.0)])
    return float((y1 - y0) / (x1 - x0))


def test_words_of_a_profile_touch_neither_each_other_nor_the_edge(words: list[Text]) -> None:
    profile_sketch(profile()).figure.draw_without_rendering()
    notes = [text for text in words if text.axes is not None]
    assert len(notes) == 5
    boxes = [shapely.box(*text.get_window_extent().extents) for text in notes]
    frame = shapely.box(*notes[0].axes.get_window_extent().extents)
    bed = shapely.LineString(notes[0].axes.transData.transform(np.column_stack([STATION, BED])))
    for i, box in enumerate(boxes):
        assert frame.covers(box)
        assert not box.intersects(bed)
        assert not any(box.intersects(other) for other in boxes[i + 1 :])


def test_a_profile_in_feet_and_one_with_a_bed_only(tmp_path: Path) -> None:
    drawn = profile_sketch(profile(), units="us")
    drawn.label_axes("Station", "Elevation")
    assert drawn.axes.get_xlabel() == "Station, ft"
    assert drawn.axes.get_xlim() == pytest.approx((20 / 0.3048, 79.5 / 0.3048))
    image = _image(profile_sketch(LongProfile(STATION, BED)), tmp_path / "bare.png")
    assert share_of(image, palette.OCHRE) == 0.0
    assert (image[..., :3] < 0.5).any()


OFFSET = np.arange(-6.0, 6.01, 0.25)
GROUND = 1697.9 + np.clip((np.abs(OFFSET) - 1.1) / 1.6, 0, 1) * 0.95


def test_a_section_says_what_it_shows(tmp_path: Path, words: list[Text]) -> None:
    crest = np.linspace(-1.9, 1.9, 21)
    drawing = SectionDrawing(
        OFFSET,
        GROUND,
        "grade",
        (
            SectionStructure(
                np.append(crest, [1.9, -1.9]),
                np.append(1698.0 + 0.1 * (crest / 1.9) ** 2, [1697.8, 1697.8]),
            ),
        ),
        label="one-rock dam\n0.16 m high",
        bank_tops=((-2.75, 1698.85), (2.75, 1698.85)),
        bankfull_m=1698.38,
        water_m=1698.12,
    )
    assert share_of(_image(section_sketch(drawing), tmp_path / "s.png"), palette.OCHRE) > 1e-3
    written = [text.get_text() for text in words]
    assert written.count("bank top") == 2
    for text in ("bankfull", "water at the design flood", "one-rock dam\n0.16 m high"):
        assert text in written


def test_water_ends_where_it_meets_the_banks() -> None:
    level = 1698.3
    drawn = section_sketch(SectionDrawing(OFFSET, GROUND, water_m=level))
    # The bank rises 0.95 m in 1.6 m from 1.1 m off the middle.
    end = 1.1 + (level - 1697.9) / 0.95 * 1.6
    lines = [line for line in drawn.axes.lines if np.allclose(line.get_ydata(), level)]
    assert any(np.allclose(line.get_xdata(), [-end, end], atol=0.02) for line in lines)


def test_a_wide_and_low_section_is_not_squeezed() -> None:
    """Heights are never drawn smaller than distances; the same scale is said."""
    deep = SectionDrawing(np.array([-1.0, 0.0, 1.0]), np.array([9.0, 0.0, 9.0]))
    drawn = section_sketch(deep)
    assert _exaggeration(drawn) == pytest.approx(1.0)
    assert drawn.scale_words() == "Heights and distances to the same scale."


def test_the_packet_says_which_way_one_looks(monkeypatch: pytest.MonkeyPatch) -> None:
    labels: list[str] = []

    def remember(figure: Figure) -> bytes:
        labels.append(figure.axes[0].get_xlabel())
        return b""

    monkeypatch.setattr(packet_pictures, "svg_of", remember)
    packet_pictures.profile_svg(profile(), units="us", width=6.0, height=2.0)
    packet_pictures.section_svg(SectionDrawing(OFFSET, GROUND), units="si", width=3.0, height=2.0)
    assert labels == [
        "Distance from the site, upstream to the right, ft",
        "Looking downstream, from the middle, m",
    ]


def test_labels_with_lines_keep_off_each_others_lines() -> None:
    rng = np.random.default_rng(8)
    labels = [Wanted(*xy, 4, 4, 70, 24) for xy in rng.uniform(60, 740, (25, 2)).tolist()]  # type: ignore[call-arg]
    centres = place_apart(labels, frame=(0, 0, 800, 800), reaches=(8, 20, 40, 80, 120))
    placed = [(w, c) for w, c in zip(labels, centres, strict=True) if c is not None]
    assert len(placed) > 20
    boxes = [shapely.box(c[0] - 35, c[1] - 12, c[0] + 35, c[1] + 12) for _, c in placed]
    lines = [shapely.LineString([c, (w.x, w.y)]) for w, c in placed]
    for i, box in enumerate(boxes):
        assert box.bounds[0] >= 0
        assert box.bounds[2] <= 800
        for j in range(len(boxes)):
            if i != j:
                assert box.intersection(boxes[j]).area == 0
                assert box.buffer(-4).intersection(lines[j]).length == 0


def test_the_first_direction_comes_first() -> None:
    label = Wanted(100, 100, 5, 5, 20, 10)
    frame = (0.0, 0.0, 200.0, 200.0)
    assert place_apart([label], frame=frame, reaches=(5,)) == [(120.0, 100.0)]
    (above,) = place_apart([label], frame=frame, reaches=(5,), first_deg=90.0)
    assert above == pytest.approx((100.0, 115.0))
    low = (0.0, 0.0, 200.0, 104.0)  # no room above
    (below,) = place_apart([label], frame=low, reaches=(5,), first_deg=90.0, spread_deg=75.0)
    assert below is not None
    assert below[1] < 100
    assert place_apart([label], frame=(90, 90, 110, 110), reaches=(5,)) == [None]
