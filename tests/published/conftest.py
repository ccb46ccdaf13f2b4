"""Rainfall replies as the NOAA Precipitation Frequency Data Server gave them."""

import pytest

FORT_MYERS = """Point precipitation frequency estimates (inches)
NOAA Atlas 14 Volume 9 Version 2
Data type: Precipitation depth
Time series type: Partial duration
Project area: Southeastern States
Location name (ESRI Maps): None
Station Name: None
Latitude: 26.6 Degree
Longitude: -81.9 Degree
Elevation (USGS): None None


PRECIPITATION FREQUENCY ESTIMATES
by duration for ARI (years):, 1,2,5,10,25,50,100,200,500,1000
5-min:, 0.553,0.620,0.731,0.822,0.950,1.05,1.15,1.25,1.38,1.48
10-min:, 0.810,0.908,1.07,1.20,1.39,1.54,1.68,1.83,2.02,2.17
15-min:, 0.988,1.11,1.30,1.47,1.70,1.87,2.05,2.23,2.47,2.65
30-min:, 1.60,1.79,2.11,2.37,2.74,3.02,3.31,3.60,3.99,4.28
60-min:, 2.14,2.38,2.79,3.13,3.62,4.00,4.38,4.78,5.32,5.74
2-hr:, 2.69,2.98,3.47,3.90,4.49,4.97,5.46,5.97,6.66,7.20
3-hr:, 2.92,3.25,3.81,4.30,4.99,5.54,6.11,6.71,7.53,8.17
6-hr:, 3.23,3.70,4.50,5.18,6.16,6.94,7.75,8.60,9.76,10.7
12-hr:, 3.49,4.18,5.35,6.36,7.79,8.94,10.1,11.3,13.0,14.3
24-hr:, 4.01,4.76,6.09,7.28,9.05,10.5,12.1,13.7,16.1,18.0
2-day:, 4.94,5.57,6.77,7.94,9.80,11.4,13.3,15.3,18.2,20.7
3-day:, 5.43,6.22,7.68,9.02,11.1,12.9,14.8,16.9,19.8,22.3
4-day:, 5.83,6.78,8.43,9.92,12.1,14.0,15.9,18.0,20.9,23.3
7-day:, 7.08,8.10,9.87,11.4,13.7,15.5,17.5,19.5,22.4,24.6
60-day:, 21.0,23.3,26.6,29.2,32.4,34.6,36.6,38.3,40.3,41.5

Date/time (GMT):  Sun Jun  7 07:54:20 2026
"""

IRVING = """Point precipitation frequency estimates (inches)
NOAA Atlas 14 Volume 11 Version 2
Data type: Precipitation depth
Time series type: Partial duration
Project area: Texas
Location name (ESRI Maps): Irving, Texas, USA
Station Name: -
Latitude: 32.8687 Degree
Longitude: -96.9737 Degree
Elevation (USGS): 497 ft


PRECIPITATION FREQUENCY ESTIMATES
by duration for ARI (years):, 1,2,5,10,25,50,100,200,500,1000
5-min:, 0.421,0.489,0.601,0.693,0.818,0.912,1.01,1.10,1.24,1.34
10-min:, 0.674,0.783,0.964,1.11,1.31,1.47,1.62,1.77,1.96,2.11
15-min:, 0.840,0.975,1.20,1.38,1.63,1.82,2.00,2.20,2.45,2.64
30-min:, 1.17,1.35,1.66,1.91,2.25,2.50,2.76,3.03,3.38,3.66
60-min:, 1.52,1.76,2.17,2.50,2.95,3.29,3.63,4.00,4.50,4.90
2-hr:, 1.85,2.18,2.70,3.14,3.76,4.23,4.71,5.24,5.96,6.54
3-hr:, 2.05,2.43,3.03,3.55,4.27,4.83,5.42,6.06,6.95,7.66
6-hr:, 2.41,2.89,3.63,4.27,5.18,5.91,6.68,7.51,8.67,9.60
12-hr:, 2.82,3.39,4.28,5.05,6.14,7.01,7.93,8.93,10.3,11.5
24-hr:, 3.29,3.95,5.00,5.89,7.17,8.19,9.27,10.4,12.1,13.5
"""

ANN_ARBOR = """Point precipitation frequency estimates (inches)
NOAA Atlas 14 Volume 8 Version 2
Data type: Precipitation depth
Time series type: Partial duration
Project area: Midwestern States
Location name (ESRI Maps): Ann Arbor, Michigan, USA
Station Name: ANN ARBOR U OF MICH
Latitude: 42.2919°
Longitude: -83.7218°
Elevation (USGS): 900 ft


PRECIPITATION FREQUENCY ESTIMATES
by duration for ARI (years):, 1,2,5,10,25,50,100,200,500,1000
5-min:, 0.321,0.378,0.473,0.553,0.666,0.755,0.845,0.939,1.07,1.16
10-min:, 0.470,0.553,0.692,0.810,0.975,1.11,1.24,1.38,1.56,1.70
15-min:, 0.573,0.675,0.844,0.988,1.19,1.35,1.51,1.68,1.90,2.08
30-min:, 0.767,0.906,1.14,1.33,1.61,1.83,2.05,2.29,2.60,2.84
60-min:, 0.969,1.14,1.44,1.70,2.08,2.38,2.69,3.02,3.48,3.84
2-hr:, 1.17,1.38,1.75,2.07,2.54,2.93,3.33,3.76,4.37,4.84
3-hr:, 1.30,1.53,1.93,2.29,2.82,3.27,3.74,4.25,4.97,5.55
6-hr:, 1.55,1.79,2.22,2.62,3.23,3.75,4.32,4.93,5.80,6.51
12-hr:, 1.82,2.06,2.49,2.90,3.54,4.09,4.69,5.34,6.29,7.06
24-hr:, 2.10,2.35,2.82,3.26,3.93,4.50,5.11,5.78,6.74,7.53
60-day:, 9.19,10.1,11.5,12.7,14.1,15.2,16.1,17.0,18.1,18.9

PRECIPITATION FREQUENCY ESTIMATES AT UPPER BOUND OF 90% CONFIDENCE INTERVAL
by duration for ARI (years):, 1,2,5,10,25,50,100,200,500,1000
5-min:, 0.370,0.436,0.546,0.642,0.795,0.911,1.04,1.18,1.37,1.52
10-min:, 0.541,0.638,0.800,0.939,1.16,1.34,1.53,1.73,2.01,2.22
15-min:, 0.660,0.778,0.976,1.15,1.42,1.63,1.86,2.11,2.45,2.71
30-min:, 0.884,1.04,1.31,1.55,1.92,2.21,2.53,2.88,3.36,3.72
60-min:, 1.12,1.32,1.67,1.97,2.49,2.88,3.33,3.83,4.51,5.02
2-hr:, 1.34,1.58,2.00,2.38,3.04,3.53,4.10,4.74,5.62,6.29
3-hr:, 1.48,1.74,2.20,2.63,3.37,3.94,4.60,5.34,6.38,7.17
6-hr:, 1.75,2.03,2.52,2.99,3.85,4.50,5.28,6.16,7.42,8.36
12-hr:, 2.05,2.32,2.81,3.29,4.19,4.87,5.70,6.64,7.98,9.00
24-hr:, 2.34,2.63,3.16,3.66,4.60,5.31,6.16,7.12,8.49,9.53
60-day:, 9.84,10.8,12.4,13.6,15.5,16.8,18.3,19.8,21.6,22.9

PRECIPITATION FREQUENCY ESTIMATES AT LOWER BOUND OF 90% CONFIDENCE INTERVAL
by duration for ARI (years):, 1,2,5,10,25,50,100,200,500,1000
5-min:, 0.282,0.331,0.413,0.481,0.561,0.621,0.673,0.718,0.784,0.833
10-min:, 0.412,0.485,0.605,0.704,0.821,0.910,0.985,1.05,1.15,1.22
15-min:, 0.503,0.592,0.738,0.859,1.00,1.11,1.20,1.28,1.40,1.49
30-min:, 0.674,0.795,0.994,1.16,1.36,1.51,1.64,1.75,1.91,2.04
60-min:, 0.851,1.00,1.26,1.48,1.75,1.96,2.15,2.32,2.57,2.76
2-hr:, 1.03,1.22,1.54,1.81,2.16,2.43,2.68,2.90,3.24,3.50
3-hr:, 1.15,1.35,1.70,2.01,2.42,2.73,3.02,3.30,3.71,4.02
6-hr:, 1.38,1.59,1.97,2.32,2.80,3.16,3.51,3.85,4.37,4.76
12-hr:, 1.64,1.84,2.23,2.58,3.09,3.47,3.84,4.21,4.77,5.19
24-hr:, 1.89,2.12,2.54,2.91,3.44,3.83,4.22,4.58,5.15,5.57
60-day:, 8.59,9.45,10.8,11.7,12.6,13.3,13.7,13.9,14.3,14.6

Date/time (GMT):  Thu Jul 11 21:12:30 2019
pyRunTime:  0.038889169693
"""

COLORADO_INTENSITY = """Point precipitation frequency estimates (inches/hour)
NOAA Atlas 14 Volume 8 Version 2
Data type: Precipitation intensity
Time series type: Partial duration
Project area: Midwestern States
Location name (ESRI Maps): None
Station Name: None
Latitude: 39.0 Degree
Longitude: -105.0 Degree
Elevation (USGS): None None


PRECIPITATION FREQUENCY ESTIMATES
by duration for ARI (years):, 1,2,5,10,25,50,100,200,500,1000
60-min:, 0.690,0.818,1.05,1.26,1.59,1.87,2.18,2.51,2.98,3.36
24-hr:, 0.077,0.090,0.113,0.136,0.171,0.202,0.236,0.273,0.327,0.371
"""


@pytest.fixture
def fort_myers() -> str:
    """A reply for 26.6 N 81.9 W, some long durations left out."""
    return FORT_MYERS


@pytest.fixture
def irving() -> str:
    """A reply for 32.87 N 96.97 W, durations up to a day."""
    return IRVING


@pytest.fixture
def colorado_intensity() -> str:
    """A reply for 39 N 105 W that holds intensities instead of depths; two rows of it."""
    return COLORADO_INTENSITY


@pytest.fixture
def ann_arbor() -> str:
    """A reply for a station in Michigan with both confidence bounds; some durations left out."""
    return ANN_ARBOR
