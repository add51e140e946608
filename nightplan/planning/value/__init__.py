"""What equivalent hours are worth: curves per row of progress."""
