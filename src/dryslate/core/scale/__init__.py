"""The card's plane, its tilt, the lens."""
