"""The framing chart: fields over real stars."""
