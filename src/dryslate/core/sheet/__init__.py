"""Printed field sheets: their geometry, and finding their cells in a photo."""
