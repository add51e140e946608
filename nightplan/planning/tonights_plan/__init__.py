"""Tonight's plan: targets, train, camera angle and value of the night, and the schedule."""
