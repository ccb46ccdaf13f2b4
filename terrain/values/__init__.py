"""What everything else is made of: grids, rasters, units, errors, progress, plug-ins."""
