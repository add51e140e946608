"""Across nights: earlier framings, the camera angle again, and was it good enough."""
