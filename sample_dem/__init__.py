"""An invented ranch: seeded land, its channels and the planted truth. All made up."""
