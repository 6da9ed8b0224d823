"""Page squaring, boxes and readings of field sheets (a later room)."""
