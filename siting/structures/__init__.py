"""The structure types, one file each, and what they are chosen by."""
