"""Frames owed and when to shoot them."""
