"""Card definitions, finding a card in pixels, patch statistics."""
