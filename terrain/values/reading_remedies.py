"""What helps where a file cannot be read, or a result not be written."""

from __future__ import annotations

from terrain.values.errors import Remedy

#: What a coordinate system is called that was given beside the files.
GIVEN_CRS = "the coordinate system given"


class ReadingRemedy(Remedy):
    """Remedies of readers and writers."""

    GIVE_CRS = "give the coordinate system, such as EPSG:26913"
    GIVE_RIGHT_CRS = "give the right coordinate system"
    GIVE_CRS_IN_DEGREES = "give the right system, such as EPSG:4269"
    GIVE_CRS_OF_DEM = "give the coordinate system of the DEM"
    GIVE_VERTICAL_UNIT = "say which vertical unit it is: m, ft or us-ft"
    METRES_OR_VERTICAL_UNIT = "turn them into metres, or say which of m, ft or us-ft they are"
    TURN_AND_GIVE_VERTICAL_UNIT = "turn the heights into one of them, and say which"
    COARSER_OR_PART = "use a coarser DEM, or only the part around the ranch"
    NAME_BOUNDARY_LAYER = "name the layer of the boundary"
    LINE_OR_KEEP_CLEAR = "draw its middle line, or give the file as what is to be kept clear of"
    MAKE_FOLDER = "make the folder, or name another"
    ALLOW_REPLACING = "name another, or allow it to be replaced"
