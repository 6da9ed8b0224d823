"""Errors, problems, quality flags and provenance: the words every other layer uses."""
