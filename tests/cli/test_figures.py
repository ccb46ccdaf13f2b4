from __future__ import annotations

import time
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
import shapely
from affine import Affine
from matplotlib.image import imread

from cli import palette
from cli.figures import ranch_map
from cli.figures.drawing import downhill_turn, headcut_shape, site_shape
from cli.figures.label_placing import Wanted, place_labels
from cli.figures.map_features import _labels
from cli.file_errors import OutputError
from cli.plan.layers import Layer
from cli.plan.relief import (
    DARKEST,
    contour_interval,
    hillshade,
    relief_of,
    round_length,
    smooth,
)
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.example_plan import UTM, example_layers, example_raster, texts

RASTER = example_raster(rows=250, cols=300, cell_m=2.0)
LAYERS = example_layers(RASTER)


def draw(
    path: Path, raster: Raster = RASTER, layers: dict | None = None, **options: object
) -> Path:
    given = {"title": "Invented Ranch", "source_line": "Invented slope, cells of 2 m."} | options
    return ranch_map(raster, LAYERS if layers is None else layers, path=path, **given)  # type: ignore[arg-type]


def share_of(image: np.ndarray, colour: str) -> float:
    wanted = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])
    return float((np.abs(image[..., :3] * 255 - wanted).max(axis=-1) < 2).mean())


def test_the_map_shows_every_layer_in_its_colour(tmp_path: Path) -> None:
    image = imread(draw(tmp_path / "map.png"))
    assert image.shape[0] > 1000
    for symbol in palette.SITE_SYMBOLS:
        assert share_of(image, symbol.colour) > 1e-4, symbol.control
    assert share_of(image, palette.CHANNEL) > 1e-3
    assert share_of(image, palette.RANCH) > 1e-3
    bare = imread(draw(tmp_path / "bare.png", layers={}))
    for colour in (palette.BRICK, palette.GREEN, palette.CHANNEL):
        assert share_of(bare, colour) < 1e-5


def test_same_input_same_bytes_and_no_word_of_when_or_with_what(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = draw(tmp_path / "one.png").read_bytes()
    time.sleep(1.1)
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    with mpl.rc_context({"font.size": 25, "axes.facecolor": "red", "lines.linewidth": 9}):
        assert draw(tmp_path / "two.png").read_bytes() == first
    assert b"tEXt" not in first
    assert b"tIME" not in first


def test_settings_of_the_drawing_library_are_left_alone(tmp_path: Path) -> None:
    with mpl.rc_context({"font.size": 25}):
        draw(tmp_path / "map.png")
        assert mpl.rcParams["font.size"] == 25


def test_an_existing_picture_is_kept_without_overwrite(tmp_path: Path) -> None:
    path = draw(tmp_path / "map.png")
    before = path.read_bytes()
    with pytest.raises(OutputError, match=r"map\.png exists already"):
        draw(path, title="Another")
    assert path.read_bytes() == before
    draw(path, title="Another", overwrite=True)
    assert path.read_bytes() != before
    assert [p.name for p in tmp_path.iterdir()] == ["map.png"]


@pytest.mark.parametrize(
    "raster",
    [
        Raster.from_array(np.full((30, 40), 5.0), cell_m=3.0),
        Raster.from_array(np.full((30, 40), np.nan)),
        Raster.from_array(np.array([[1.0]])),
        Raster.from_array(np.where(np.arange(1200).reshape(30, 40) % 7, 1.0, np.nan)),
    ],
    ids=["flat", "nothing known", "one cell", "holes"],
)
def test_ground_with_nothing_to_draw_still_gives_a_sheet(tmp_path: Path, raster: Raster) -> None:
    assert imread(draw(tmp_path / "map.png", raster, layers={})).size > 0


def test_names_in_other_scripts_and_signs_do_not_stop_it(tmp_path: Path) -> None:
    draw(tmp_path / "map.png", title="$100 مزرعة 🐄 שלום _{x}^", source_line="100 % $ y $")


def test_a_long_and_narrow_ranch_fits_the_sheet(tmp_path: Path) -> None:
    west, south, _, _ = RASTER.grid.bounds
    strip = shapely.box(west + 5, south + 200, west + 595, south + 215)
    ranch = Layer("ranch", np.array([strip]), {"area_ha": np.array([0.9])}, UTM)
    image = imread(draw(tmp_path / "map.png", layers={"ranch": ranch}))
    rows, cols = image.shape[:2]
    assert rows < cols < 2.2 * rows


def test_shade_is_never_dark_and_warm() -> None:
    rng = np.random.default_rng(3)
    rough = Raster.from_array(rng.normal(0, 5, (80, 90)))
    shade = hillshade(relief_of(rough, rough.grid.bounds))
    assert shade.min(axis=(0, 1))[:3].min() >= 255 * 0.45
    assert shade[..., 0].min() >= 255 * DARKEST - 1
    assert (shade[..., 0] >= shade[..., 2]).all()
    assert np.ptp(shade[..., 0]) > 40


def test_shade_comes_from_the_north_west_and_does_not_care_for_units() -> None:
    y, x = np.mgrid[0:60, 0:60].astype(float)
    toward = hillshade(relief_of(r := Raster.from_array(x + y), r.grid.bounds))
    away = hillshade(relief_of(r := Raster.from_array(-x - y), r.grid.bounds))
    # x + y falls toward the upper left, where the main light stands.
    assert toward[30, 30, 0] > away[30, 30, 0] + 20
    steep = hillshade(relief_of(r := Raster.from_array(20 * (x + y)), r.grid.bounds))
    np.testing.assert_allclose(steep[..., 0], toward[..., 0], atol=1)


def test_unknown_ground_is_clear_and_does_not_colour_its_neighbours() -> None:
    z = np.tile(np.arange(40.0), (40, 1))
    z[10:20, 10:20] = np.nan
    raster = Raster.from_array(z)
    shade = hillshade(relief_of(raster, raster.grid.bounds))
    assert (shade[10:20, 10:20, 3] == 0).all()
    assert (shade[:10, :, 3] == 255).all()
    levelled = smooth(relief_of(raster, raster.grid.bounds))
    assert np.isnan(levelled[10:20, 10:20]).all()
    # Ground beside the hole keeps its height to within the reach of the average.
    assert np.nanmax(np.abs(levelled - z)[:, 2:-2]) < 1.5


def test_averaging_down_keeps_the_mean_and_the_place() -> None:
    z = np.arange(100.0 * 130).reshape(100, 130)
    raster = Raster.from_array(z, cell_m=2.0)
    small = relief_of(raster, raster.grid.bounds, most_cells=13)
    assert small.grid.shape == (10, 13)
    np.testing.assert_allclose(small.elevation_m[0, 0], z[:10, :10].mean())
    assert small.grid.bounds == raster.grid.bounds
    part = relief_of(raster, (20.0, 100.0, 60.0, 160.0))
    assert part.elevation_m[0, 0] == z[20, 10]
    assert part.grid.bounds[0] == 20.0
    assert part.grid.bounds[3] == 160.0


@pytest.mark.parametrize(
    ("relief", "interval"), [(24.0, 2.0), (60.0, 5.0), (1.3, 0.1), (900.0, 100.0), (0.0, 1.0)]
)
def test_contour_interval_is_round_and_fits_the_relief(relief: float, interval: float) -> None:
    assert contour_interval(relief) == pytest.approx(interval)


def test_scale_bar_is_the_longest_round_length_that_fits() -> None:
    assert [round_length(v) for v in (1.0, 199.0, 200.0, 0.7, 6543.0)] == [1, 100, 200, 0.5, 5000]


def boxes(labels: list[Wanted], centres: list) -> list[tuple]:
    return [
        (x - w.width / 2, y - w.height / 2, x + w.width / 2, y + w.height / 2)
        for w, centre in zip(labels, centres, strict=True)
        if centre
        for x, y in [centre]
    ]


def test_labels_never_overlap_and_the_lower_rank_gives_way() -> None:
    rng = np.random.default_rng(5)
    labels = [Wanted(*xy, 6, 6, 18, 10) for xy in rng.uniform(20, 380, (150, 2)).tolist()]  # type: ignore[call-arg]
    centres = place_labels(labels, frame=(0, 0, 400, 400))
    placed = [shapely.box(*b) for b in boxes(labels, centres)]
    assert 20 < len(placed) < 150
    area = shapely.union_all(placed).area
    assert area == pytest.approx(sum(p.area for p in placed))
    shapes = [shapely.box(w.x - 6, w.y - 6, w.x + 6, w.y + 6) for w in labels]
    assert all(not p.intersects(s) or p.touches(s) for p in placed for s in shapes)
    assert centres[0] is not None
    together = [Wanted(50, 50, 6, 6, 30, 30), *[Wanted(50, 50, 6, 6, 30, 30)] * 20]
    kept = [c is not None for c in place_labels(together, frame=(0, 0, 100, 100))]
    assert kept == sorted(kept, reverse=True)
    assert not all(kept)


def test_labels_stay_within_the_frame_and_off_what_is_kept_clear() -> None:
    corner = Wanted(95, 95, 4, 4, 20, 10)
    (centre,) = place_labels([corner], frame=(0, 0, 100, 100))
    assert centre is not None
    assert centre[0] < 90
    free = place_labels([Wanted(50, 50, 4, 4, 20, 10)], frame=(0, 0, 100, 100))
    kept_clear = place_labels(
        [Wanted(50, 50, 4, 4, 20, 10)], frame=(0, 0, 100, 100), keep_clear=[(56, 45, 80, 100)]
    )
    assert kept_clear[0] != free[0]


def test_shapes_turn_downhill() -> None:
    assert downhill_turn(180.0) == 0.0
    assert downhill_turn(float("nan")) == 0.0
    teeth_east, _, _ = headcut_shape(0.9, 90.0)
    # Drawn with its teeth to the south, it is longest east-west; turned, north-south.
    extent = np.ptp(np.asarray(teeth_east.vertices), axis=0)
    assert extent[1] > extent[0]
    low = np.asarray(headcut_shape(0.9, 90.0)[0].vertices)
    assert low[:, 0].max() > -low[:, 0].min()
    grade = palette.site_symbol("grade")
    _, fill, edge = site_shape(grade, 0.4, 10.0)
    assert (fill, edge) == (palette.WHITE, palette.OCHRE)
    assert site_shape(grade, 0.5, 10.0)[1] == palette.OCHRE


@pytest.mark.slow
def test_twenty_five_million_cells_in_ten_seconds(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    coarse = np.cumsum(np.cumsum(rng.normal(0, 0.02, (501, 501)), axis=0), axis=1)
    z = np.kron(coarse[:500, :500], np.ones((10, 10))).astype(np.float32)
    grid = Grid(5000, 5000, Affine(1, 0, 500_000, 0, -1, 4_000_000), UTM)
    raster = Raster.from_array(z, grid=grid)
    n = 2000
    xy = rng.uniform(100, 4900, (n, 2)) + np.array([500_000, 3_995_000])
    columns = {k: np.resize(v, n) for k, v in LAYERS["sites"].columns.items()}
    columns |= {"site_id": np.arange(n), "rank": np.arange(1, n + 1)}
    columns["structure"] = texts(*["Low rock structure"] * n)
    sites = Layer("sites", shapely.points(xy), columns, UTM)
    start = time.process_time()  # of all threads, so that other work on the machine does not count
    draw(tmp_path / "map.png", raster, layers={"sites": sites})
    assert time.process_time() - start < 10.0


def test_labels_are_the_names_of_the_lists() -> None:
    """Ranks of works at their first site, E for an engineer, L for what is looked at first."""
    labels = _labels(LAYERS["sites"], LAYERS["referred"], LAYERS["look_first"])
    ranks = sorted(int(r) for r in LAYERS["sites"].columns["rank"] if r)
    referred = LAYERS["referred"].columns
    assert [text for text, _ in labels] == [
        *(str(r) for r in ranks),
        *(f"E{place}" for place in referred["risk_rank"]),
        *(f"L{number}" for number in LAYERS["look_first"].columns["look_id"]),
    ]
    places = dict(labels)
    at = shapely.get_coordinates(LAYERS["sites"].geometry)
    row = LAYERS["sites"].columns["site_id"].tolist().index(int(referred["site_id"][0]))
    assert places["E1"] == at[row].tolist()
