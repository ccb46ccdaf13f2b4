"""A plan as one HTML page that opens from disk: map, list and a sheet for every site."""
