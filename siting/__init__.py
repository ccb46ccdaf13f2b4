"""What to build where: headcuts, reach measures, floods, candidate sites, their rank."""
