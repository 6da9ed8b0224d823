-- What an archive brings of corals and colonies whose photos are not here: sizes, and which file shows a sketch.

-- Measurements of corals in photos that are not here, as they stood in the archive.
CREATE TABLE archived_measurements (
    measurement_id TEXT PRIMARY KEY,       -- As in measurements.
    record_id TEXT NOT NULL REFERENCES records,  -- The coral.
    photo_id TEXT NOT NULL,                -- SHA-256 of the photo, as the archive names it.
    colony TEXT NOT NULL,                  -- Which coral, as the team labels it.
    kind TEXT NOT NULL,                    -- As in measurements.
    points_px TEXT NOT NULL,               -- Points in pixels of the upright original, JSON list of x and y.
    "values" TEXT NOT NULL,                -- Values with standard uncertainty and interval, JSON.
    correction_key TEXT NOT NULL,          -- The correction it rested on; it is not here.
    observer TEXT NOT NULL REFERENCES observers  -- Who set the points.
) STRICT;
CREATE INDEX archived_measurements_by_coral ON archived_measurements (record_id);

-- Pictures of sketches of where tagged colonies stand, where the file is not here.
CREATE TABLE archived_sketches (
    organism_id TEXT PRIMARY KEY REFERENCES colonies,  -- The colony.
    sha256 TEXT NOT NULL                   -- SHA-256 of the file, as the archive names it.
) STRICT;
