"""The air and how the car meets it: density, wind and slope, the wake of a car ahead."""
