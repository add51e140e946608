"""What each train does to the light: scale, image circle, clear aperture, shadow."""
