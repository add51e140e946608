"""The page to turn the camera on, and the files that HTML pages are made of."""
