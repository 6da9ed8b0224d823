"""Use cases, one module a verb, and the ports they speak through."""
