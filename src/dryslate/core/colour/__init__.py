"""Correction fit and apply, colour spaces, colour differences."""
