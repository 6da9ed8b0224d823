-- Photos of printed sheets: which page each shows, how it lies in the photo, and which unit it is of.
CREATE TABLE sheet_photos (
    photo_id TEXT PRIMARY KEY REFERENCES photos,  -- The photo.
    sheet_id TEXT NOT NULL REFERENCES printed_sheets,  -- The page that it shows.
    unit_id TEXT REFERENCES units ON DELETE SET NULL,  -- The unit whose notes stand on it; empty where not said.
    to_px TEXT NOT NULL,                   -- JSON: 3 x 3 homography from millimetres on the page to pixels of the upright photo.
    observer TEXT NOT NULL REFERENCES observers,  -- Who joined it to its unit.
    joined_at TEXT NOT NULL                -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
CREATE INDEX sheet_photos_by_unit ON sheet_photos (unit_id);
