"""Plots over time: the night, worth, the year, the campaign."""
