"""Characters and the probabilistic key (a later room)."""
