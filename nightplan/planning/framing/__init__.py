"""Angle, offset and panels of a target in a train, and the guide star that comes with them."""
