"""The command line: read, call, render."""
