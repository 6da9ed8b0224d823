"""The renderer and the made-up trip."""
