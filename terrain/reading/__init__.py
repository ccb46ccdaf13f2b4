"""Files to numbers: what an elevation raster is, and its cells in metres on one grid."""
