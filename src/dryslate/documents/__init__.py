"""Card, sheet and report documents."""
