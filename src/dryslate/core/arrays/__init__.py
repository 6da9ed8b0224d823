"""Shape and value checks, robust fits, resampling."""
