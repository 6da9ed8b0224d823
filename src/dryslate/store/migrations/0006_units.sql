-- What was sampled within a visit, which photos belong to it, and photos that were set aside.

-- Units: what was sampled within a visit.
CREATE TABLE units (
    unit_id TEXT PRIMARY KEY,              -- Hash of the visit and of what first told of the unit.
    visit_id TEXT NOT NULL REFERENCES visits,  -- The visit.
    kind TEXT CHECK (kind IN ('transect', 'quadrat', 'photo_station', 'timed_swim', 'permanent_plot')),  -- transect, quadrat, photo_station, timed_swim or permanent_plot; empty where not said yet.
    name TEXT,                             -- Name or number as written on its slate; empty where not read yet.
    zone TEXT,                             -- Zone of the site it lies in; empty where not stated.
    depth_m REAL CHECK (depth_m >= 0),     -- Depth below the surface in metres; empty where not stated.
    depth_m_u REAL CHECK (depth_m_u IS NULL OR (depth_m_u >= 0 AND depth_m IS NOT NULL)),  -- Standard uncertainty of the depth in metres; empty where not stated, never zero by silence.
    note TEXT NOT NULL DEFAULT '',         -- Anything worth knowing.
    observer TEXT NOT NULL REFERENCES observers,  -- Who surveyed it.
    UNIQUE (visit_id, name)
) STRICT;

-- Which unit a photo belongs to: one at most.
CREATE TABLE unit_photos (
    photo_id TEXT PRIMARY KEY REFERENCES photos,  -- The photo.
    unit_id TEXT REFERENCES units,         -- Its unit; empty where somebody said that it belongs to none.
    how TEXT NOT NULL CHECK (how IN ('slate', 'time', 'hand')),  -- slate (it shows the slate that starts the unit), time (it follows a slate) or hand.
    gap_min REAL,                          -- Longest gap in minutes that joining by time went over; empty where it was not joined by time.
    CHECK (how = 'hand' OR unit_id IS NOT NULL),
    CHECK ((how = 'time') = (gap_min IS NOT NULL))
) STRICT;
CREATE INDEX unit_photos_by_unit ON unit_photos (unit_id);

-- Photos that somebody set aside: kept, but not worked on and not in results.
CREATE TABLE photos_set_aside (
    photo_id TEXT PRIMARY KEY REFERENCES photos,  -- The photo.
    reason TEXT NOT NULL CHECK (reason IN ('blurred', 'not_reef', 'double', 'not_to_use', 'other')),  -- blurred, not_reef (deck, hands, open water), double (taken twice), not_to_use or other.
    note TEXT NOT NULL DEFAULT '',         -- The reason in words; never empty where it is other.
    observer TEXT NOT NULL REFERENCES observers,  -- Who set it aside.
    set_at TEXT NOT NULL                   -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
