"""Frame, styles and scripts of the page, as they are put together on writing."""
