"""Floods at a place: rainfall, runoff, travel time, and one module for each published method.

Read in this order: `rainfall` and `rainfall_reading` (what falls), `curve_numbers` and `runoff`
(what runs off), `travel_time` (how fast), `base` (what a method is given and gives), the methods
`graphical`, `unit_hydrograph` (with `storm`), `rational` and `regional` (with
`regional_equations`), `compare` (methods side by side), and `bankfull` (the channel itself).
"""
