"""Many nights ahead under a chance of clear sky."""
