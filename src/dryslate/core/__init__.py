"""The computation: numpy in; numpy or frozen dataclasses out; no file, clock, log or network."""
