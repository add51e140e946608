"""Positional astronomy on bare float arrays; units are in the names, axes are (target, time)."""
