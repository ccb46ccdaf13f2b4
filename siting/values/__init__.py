"""What everything else is made of: arrays, settings files, limits, wording, errors."""
