"""Coordinate systems: feet to metres, degrees to a local metric one, always the same datum."""

from __future__ import annotations

import pytest
from pyproj import CRS, Transformer

from terrain.reading.crs import (
    area_stretch,
    datum_name,
    horizontal_part,
    is_usable,
    linear_factor,
    local_metric_crs,
    metric_equivalent,
    parse_crs,
    place_of,
    same_crs,
    vertical_axis_unit,
)
from terrain.values.errors import CrsError


@pytest.mark.parametrize("code", [2232, 6428, 2225, 3435, 2256, 2913, 2264])
def test_feet_become_metres_without_moving_a_point(code: int) -> None:
    feet = CRS.from_epsg(code)
    metres = metric_equivalent(feet)
    assert linear_factor(metres) == 1.0
    assert datum_name(metres) == datum_name(feet)
    west, south, east, north = feet.area_of_use.bounds
    lon, lat = west + 0.3 * (east - west), south + 0.6 * (north - south)
    geodetic = feet.geodetic_crs
    xf, yf = Transformer.from_crs(geodetic, feet, always_xy=True).transform(lon, lat)
    xm, ym = Transformer.from_crs(geodetic, metres, always_xy=True).transform(lon, lat)
    factor = linear_factor(feet)
    assert (xf * factor, yf * factor) == pytest.approx((xm, ym), abs=1e-3)


def test_feet_without_a_published_twin_are_built() -> None:
    feet = CRS.from_proj4(
        "+proj=tmerc +lat_0=38.5 +lon_0=-104.7 +k=1.0003 +x_0=30480 +y_0=15240 "
        "+datum=NAD83 +units=us-ft +no_defs"
    )
    metres = metric_equivalent(feet)
    assert metres.to_epsg() is None
    x, y = Transformer.from_crs("EPSG:4269", metres, always_xy=True).transform(-104.7, 38.5)
    assert (x, y) == pytest.approx((30480, 15240), abs=1e-3)


def test_metres_stay_as_they_are() -> None:
    utm = CRS.from_epsg(26913)
    assert metric_equivalent(utm) is utm


@pytest.mark.parametrize(
    ("code", "place", "name"),
    [
        (4269, (-120.3, 39.4), "NAD83 / UTM zone 10N"),
        (6318, (-110.3, 39.4), "NAD83(2011) / UTM zone 12N"),
        (4267, (-105.5, 39.4), "NAD27 / UTM zone 13N"),
        (4326, (20.0, -33.0), "WGS 84 / UTM zone 34S"),
        (4258, (10.0, 50.0), "ETRS89 / UTM zone 32N"),
    ],
)
def test_degrees_go_to_the_utm_zone_of_their_datum(
    code: int, place: tuple[float, float], name: str
) -> None:
    local = local_metric_crs(CRS.from_epsg(code), place)
    assert local.name == name
    assert datum_name(local) == datum_name(CRS.from_epsg(code))


def test_without_a_published_zone_a_projection_is_centred_on_the_data() -> None:
    gda = CRS.from_epsg(7844)
    local = local_metric_crs(gda, (145.123, -30.0))
    assert datum_name(local) == datum_name(gda)
    x, y = Transformer.from_crs(gda, local, always_xy=True).transform(145.12, -30.0)
    assert (x, y) == pytest.approx((0, 0), abs=1e-6)
    assert abs(area_stretch(local, (145.123, -30.0))) < 1e-6


def test_units_of_the_height_axis() -> None:
    assert vertical_axis_unit(CRS("EPSG:6428+6360")) == "us-ft"
    assert vertical_axis_unit(CRS("EPSG:26913+5703")) == "m"
    assert vertical_axis_unit(CRS("EPSG:26913+8228")) == "ft"
    assert vertical_axis_unit(CRS.from_epsg(4979)) == "m"
    assert vertical_axis_unit(CRS.from_epsg(26913)) is None


def test_heights_in_another_unit_are_refused() -> None:
    wkt = (
        CRS("EPSG:26913+5703")
        .to_wkt()
        .replace(
            'AXIS["gravity-related height (H)",up,LENGTHUNIT["metre",1]]',
            'AXIS["gravity-related height (H)",up,LENGTHUNIT["centimetre",0.01]]',
        )
    )
    assert "centimetre" in wkt
    with pytest.raises(CrsError, match="heights in 'centimetre'"):
        vertical_axis_unit(CRS.from_wkt(wkt))


def test_the_flat_part() -> None:
    assert horizontal_part(CRS("EPSG:26913+5703")).to_epsg() == 26913
    assert horizontal_part(CRS.from_epsg(4979)).to_epsg() == 4326
    assert horizontal_part(CRS.from_epsg(26913)).to_epsg() == 26913


def test_what_is_usable() -> None:
    assert is_usable(CRS.from_epsg(4269))
    assert is_usable(CRS("EPSG:26913+5703"))
    assert not is_usable(None)
    assert not is_usable(CRS.from_wkt('LOCAL_CS["unnamed",UNIT["metre",1]]'))
    assert not is_usable(CRS.from_epsg(4978))


def test_same_places_under_other_names() -> None:
    utm = CRS.from_epsg(26913)
    assert same_crs(utm, CRS.from_wkt(utm.to_wkt("WKT1_GDAL")))
    assert same_crs(utm, CRS.from_wkt(utm.to_wkt("WKT1_ESRI")))
    assert not same_crs(utm, CRS.from_epsg(26912))
    assert not same_crs(utm, CRS.from_epsg(32613))


def test_places() -> None:
    place = place_of(CRS.from_epsg(26913), 559_705, 4_380_220)
    assert place == pytest.approx((-104.305, 39.570), abs=2e-3)
    assert place_of(CRS.from_epsg(4326), 255.5, 39.0) == pytest.approx((-104.5, 39.0))
    assert place_of(CRS.from_epsg(26913), 0, 0) is None
    assert place_of(CRS.from_epsg(26913), 1e12, 1e12) is None


def test_area_stretch_of_web_mercator() -> None:
    # 1 / cos(39 degrees) squared, on the sphere; the ellipsoid adds a little.
    assert area_stretch(CRS.from_epsg(3857), (-105, 39)) == pytest.approx(0.656, abs=0.01)
    assert abs(area_stretch(CRS.from_epsg(26913), (-105, 39))) < 0.001


def test_unknown_text() -> None:
    with pytest.raises(CrsError, match="--crs 'UTM thirteen' is not a known coordinate system"):
        parse_crs("UTM thirteen", what="--crs")
