"""What reading a damaged or foreign vector file may raise."""

from __future__ import annotations

import pyogrio.errors
import shapely.errors

#: A file that GDAL cannot open, a layer or a shape in it that cannot be read.
UNREADABLE = (
    pyogrio.errors.DataSourceError,
    pyogrio.errors.DataLayerError,
    pyogrio.errors.FeatureError,
    pyogrio.errors.GeometryError,
    shapely.errors.GEOSException,
)
