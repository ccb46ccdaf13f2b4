"""What the ground does: from an elevation raster to channels, drainage areas and sections."""
