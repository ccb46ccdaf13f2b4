"""Sites and ways as files for phones, receivers and globes: GPX, KML and KMZ."""
