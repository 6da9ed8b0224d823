"""The pages in the browser: they call the use cases and compute nothing themselves."""
