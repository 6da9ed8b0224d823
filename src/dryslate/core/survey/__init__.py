"""Cover, abundance, diversity, intervals, comparison (a later room)."""
