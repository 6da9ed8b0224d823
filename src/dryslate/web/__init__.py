"""The pages in the browser (a later room)."""
