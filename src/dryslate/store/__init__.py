"""The survey store behind its port: SQLite."""
