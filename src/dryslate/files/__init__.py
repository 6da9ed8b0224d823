"""Decode photos and EXIF, originals by content hash, reference tables, clock."""
