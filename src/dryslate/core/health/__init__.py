"""Health of corals: bleaching indices and heat stress."""
