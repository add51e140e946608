"""The night itself: its window, what is up in it, and when work must end."""
