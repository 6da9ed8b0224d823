-- What an archive brings of photos that are not here, days instead of readings of a logger, and several files of one logger.

-- Photos that an archive names; the files themselves are not in this project.
CREATE TABLE archived_photos (
    photo_id TEXT PRIMARY KEY,             -- SHA-256 of the file, as the archive names it.
    visit_id TEXT NOT NULL REFERENCES visits,  -- The visit on which it was taken.
    file_name TEXT NOT NULL DEFAULT '',    -- What the file was called.
    media_type TEXT NOT NULL DEFAULT '',   -- Kind of file, such as image/jpeg.
    taken_at TEXT NOT NULL DEFAULT '',     -- When it was taken, ISO 8601, as the archive says.
    creator TEXT NOT NULL DEFAULT '',      -- Who took it.
    licence TEXT NOT NULL DEFAULT '',      -- Licence of the file: an address, or words.
    rights_holder TEXT NOT NULL DEFAULT '' -- Whom it belongs to.
) STRICT;

-- Photos of tagged colonies that are not here: outline, area and colour as they were measured before the archive was made.
CREATE TABLE archived_frames (
    organism_id TEXT NOT NULL REFERENCES colonies,  -- The colony.
    photo_id TEXT NOT NULL REFERENCES archived_photos,  -- The photo; its visit is the frame's.
    is_reference INTEGER NOT NULL CHECK (is_reference IN (0, 1)),  -- 1 for the photo on which the outline was drawn first.
    outline_px TEXT NOT NULL DEFAULT '[]', -- Corners of the outlined area, pixels of the upright original, JSON list; empty: not outlined.
    outline_how TEXT NOT NULL DEFAULT '' CHECK (outline_how IN ('', 'drawn', 'aligned', 'tie_points')),  -- As in colony_frames.
    is_confirmed INTEGER NOT NULL CHECK (is_confirmed IN (0, 1)),  -- 1 where a person saw the outline lie right in this photo.
    carried_from TEXT,                     -- Hash of the photo from which the outline was carried; empty where drawn.
    misfit_px REAL CHECK (misfit_px >= 0), -- Misfit of the alignment, pixels; empty where drawn.
    misfit_mm REAL CHECK (misfit_mm >= 0), -- The same in millimetres, where the photo had a scale.
    n_matches INTEGER CHECK (n_matches >= 0),  -- Pairs of points that the alignment rests on.
    area_cm2 REAL CHECK (area_cm2 > 0),    -- Area of the outline in square centimetres, where the photo had a scale.
    area_cm2_u REAL CHECK (area_cm2_u >= 0),  -- One standard uncertainty of the area.
    diameter_max_mm REAL CHECK (diameter_max_mm > 0),  -- Longest diameter of the outline in millimetres, where the photo had a scale.
    diameter_max_mm_u REAL CHECK (diameter_max_mm_u >= 0),  -- One standard uncertainty of the diameter.
    measured TEXT NOT NULL DEFAULT '{}',   -- Colour as in colony_colours, JSON; empty where none was measured.
    measured_at TEXT NOT NULL DEFAULT '',  -- When the colour was measured, ISO 8601 with its offset from UTC (Z: UTC).
    observer TEXT NOT NULL REFERENCES observers,  -- Who added or outlined it.
    noted_at TEXT NOT NULL,                -- When, ISO 8601 with its offset from UTC (Z: UTC).
    PRIMARY KEY (organism_id, photo_id)
) STRICT;

-- Several files of one logger, and files that hold days in place of readings.
ALTER TABLE site_loggers ADD COLUMN logger TEXT NOT NULL DEFAULT '';  -- Which logger the file is of, in the team's words; files of one logger at a site are joined by time. Empty: the file stands alone.
ALTER TABLE site_loggers ADD COLUMN count_column TEXT NOT NULL DEFAULT '';  -- Heading of the column that says of how many readings each row is the mean of a day; empty: a row is one reading.
ALTER TABLE site_loggers ADD COLUMN n_cut INTEGER NOT NULL DEFAULT 0 CHECK (n_cut >= 0);  -- Readings out of the water that were cut before the means of days were made.
