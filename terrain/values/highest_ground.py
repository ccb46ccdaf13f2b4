"""How high ground can be at a place: tells feet from metres when a raster does not say.

Heights of the highest points, m, rounded up, and the boxes (west, south, east, north, degrees)
are from memory of common gazetteers; they only decide when to stop and ask, never a result.
"""

from __future__ import annotations

#: Above the highest mountain on Earth, m.
HIGHEST_ON_EARTH_M = 8849.0

#: Ground above this lies only in the ranges listed below, m.
HIGHEST_ELSEWHERE_M = 4500.0

_Box = tuple[float, float, float, float, float]

# west, south, east, north, highest ground in m
_STATES: tuple[_Box, ...] = (
    (-88.6, 30.1, -84.8, 35.1, 735),  # Alabama
    (-114.9, 31.3, -109.0, 37.1, 3852),  # Arizona
    (-94.7, 33.0, -89.6, 36.6, 840),  # Arkansas
    (-124.6, 32.5, -114.1, 42.1, 4422),  # California
    (-109.1, 36.9, -102.0, 41.1, 4402),  # Colorado
    (-73.8, 40.9, -71.7, 42.1, 726),  # Connecticut
    (-75.9, 38.4, -75.0, 39.9, 138),  # Delaware
    (-87.7, 24.4, -79.9, 31.1, 106),  # Florida
    (-85.7, 30.3, -80.8, 35.1, 1459),  # Georgia
    (-117.3, 41.9, -111.0, 49.1, 3862),  # Idaho
    (-91.6, 36.9, -87.4, 42.6, 377),  # Illinois
    (-88.2, 37.7, -84.7, 41.9, 384),  # Indiana
    (-96.7, 40.3, -90.1, 43.6, 510),  # Iowa
    (-102.0, 36.9, -94.5, 40.1, 1232),  # Kansas
    (-89.7, 36.4, -81.9, 39.2, 1264),  # Kentucky
    (-94.1, 28.8, -88.7, 33.1, 164),  # Louisiana
    (-71.2, 42.9, -66.8, 47.6, 1607),  # Maine
    (-79.5, 37.8, -75.0, 39.8, 1025),  # Maryland
    (-73.6, 41.2, -69.8, 42.9, 1065),  # Massachusetts
    (-90.5, 41.6, -82.3, 48.4, 704),  # Michigan, with the shore across the lakes
    (-97.3, 43.4, -89.4, 49.5, 702),  # Minnesota
    (-91.7, 30.1, -88.0, 35.1, 247),  # Mississippi
    (-95.8, 35.9, -89.0, 40.7, 541),  # Missouri
    (-116.1, 44.3, -104.0, 49.1, 3905),  # Montana
    (-104.1, 39.9, -95.2, 43.1, 1655),  # Nebraska
    (-120.1, 34.9, -114.0, 42.1, 4008),  # Nevada
    (-72.6, 42.6, -70.6, 45.4, 1918),  # New Hampshire
    (-75.6, 38.9, -73.8, 41.4, 551),  # New Jersey
    (-109.1, 31.3, -102.9, 37.1, 4014),  # New Mexico
    (-79.8, 40.4, -71.8, 45.1, 1630),  # New York
    (-84.4, 33.8, -75.4, 36.6, 2038),  # North Carolina
    (-104.1, 45.9, -96.5, 49.1, 1070),  # North Dakota
    (-84.9, 38.4, -80.5, 42.0, 473),  # Ohio
    (-103.1, 33.6, -94.4, 37.1, 1516),  # Oklahoma
    (-124.7, 41.9, -116.4, 46.4, 3430),  # Oregon
    (-80.6, 39.7, -74.6, 42.4, 980),  # Pennsylvania
    (-71.9, 41.1, -71.1, 42.1, 248),  # Rhode Island
    (-83.4, 32.0, -78.5, 35.3, 1086),  # South Carolina
    (-104.1, 42.4, -96.4, 46.0, 2209),  # South Dakota
    (-90.4, 34.9, -81.6, 36.8, 2026),  # Tennessee
    (-106.7, 25.8, -93.5, 36.6, 2668),  # Texas
    (-114.1, 36.9, -109.0, 42.1, 4124),  # Utah
    (-73.5, 42.7, -71.4, 45.1, 1340),  # Vermont
    (-83.7, 36.5, -75.2, 39.5, 1747),  # Virginia
    (-124.9, 45.5, -116.9, 49.1, 4393),  # Washington
    (-82.7, 37.2, -77.7, 40.7, 1483),  # West Virginia
    (-92.9, 42.4, -86.8, 47.2, 596),  # Wisconsin
    (-111.1, 40.9, -104.0, 45.1, 4210),  # Wyoming
    (-160.4, 18.8, -154.7, 22.4, 4208),  # Hawaii
    (-117.2, 22.0, -97.0, 31.8, 3720),  # northern Mexico, under the Texas and Arizona boxes
)

# Ranges outside those boxes that rise above HIGHEST_ELSEWHERE_M.
_HIGH_RANGES: tuple[_Box, ...] = (
    (-156.0, 58.0, -136.0, 65.5, 6195),  # Alaska Range, Saint Elias
    (-105.5, 18.0, -96.0, 21.0, 5640),  # Mexican volcanoes
    (-80.0, -40.0, -62.0, 12.0, 6965),  # Andes
    (5.5, 44.0, 14.0, 47.8, 4810),  # Alps
    (38.0, 40.5, 49.5, 44.5, 5645),  # Caucasus
    (42.0, 35.0, 55.0, 41.0, 5675),  # Ararat, Sabalan, Damavand
    (28.0, -5.0, 40.5, 15.0, 5900),  # East Africa and Ethiopia
    (60.0, 26.0, 106.0, 52.0, 8849),  # high Asia, Altai
    (95.0, 21.0, 106.0, 35.0, 7560),  # eastern Tibet, Sichuan
    (134.0, -6.5, 148.0, -2.0, 4890),  # New Guinea
    (-180.0, -90.0, 180.0, -65.0, 4900),  # Antarctica
)


def highest_ground_m(place: tuple[float, float] | None) -> float:
    """Height that no ground near a place exceeds, m.

    Parameters
    ----------
    place
        Longitude and latitude, degrees; None when it is not known.

    Returns
    -------
    float
        The largest limit of the boxes that hold the place: within the United States the high
        points of the states there, elsewhere 4500 m outside the few ranges that rise above it.
    """
    if place is None:
        return HIGHEST_ON_EARTH_M
    lon, lat = place
    for boxes in (_STATES, _HIGH_RANGES):
        found = [box[4] for box in boxes if box[0] <= lon <= box[2] and box[1] <= lat <= box[3]]
        if found:
            return float(max(found))
    return HIGHEST_ELSEWHERE_M
