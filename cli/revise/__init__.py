"""Reading what comes back from the field, and writing the revised plan."""
