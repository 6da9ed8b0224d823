"""Colour scores and change of tagged colonies (a later room)."""
