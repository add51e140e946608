"""A year of nights for a target, and for the whole catalogue."""
