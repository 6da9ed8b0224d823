-- Tagged colonies: one coral, one identity for life, followed from visit to visit.

-- Tagged colonies; a changed label or place changes the row (the change log keeps what was), never the identity.
CREATE TABLE colonies (
    organism_id TEXT PRIMARY KEY,          -- Its identity for life, made once; the label can change, this never.
    site TEXT NOT NULL REFERENCES sites,   -- The site it stands on.
    label TEXT NOT NULL,                   -- What its tag says now.
    first_visit_id TEXT NOT NULL REFERENCES visits,  -- The visit on which it was first tagged.
    why_tagged TEXT NOT NULL CHECK (why_tagged IN ('random', 'place', 'stressed')),  -- random (drawn by chance), place (all of a plot, or the nearest to a mark), stressed (because it looked unwell: it then never enters prevalence or means of a site).
    place TEXT NOT NULL DEFAULT '',        -- How to find it again, in words.
    depth_m REAL CHECK (depth_m >= 0),     -- Its depth in metres; empty is not stated.
    from_what TEXT NOT NULL DEFAULT '',    -- What bearing and distance are taken from: a unit's mark or a neighbour.
    bearing_deg REAL CHECK (bearing_deg >= 0 AND bearing_deg < 360),  -- Bearing from there, degrees from north.
    distance_m REAL CHECK (distance_m > 0),  -- Distance from there in metres.
    neighbours TEXT NOT NULL DEFAULT '[]', -- What stands beside it, JSON list: what, bearing_deg, distance_m from the colony.
    sketch_sha256 TEXT REFERENCES originals,  -- A picture of the map sketch, kept like any original.
    note TEXT NOT NULL DEFAULT '',         -- Anything worth knowing.
    observer TEXT NOT NULL REFERENCES observers,  -- Who tagged it, or last changed these words.
    tagged_at TEXT NOT NULL,               -- When it was entered, ISO 8601 with its offset from UTC (Z: UTC).
    UNIQUE (site, label)
) STRICT;
CREATE TRIGGER colonies_keep_identity BEFORE UPDATE OF organism_id, site, first_visit_id ON colonies BEGIN
    SELECT RAISE(ABORT, 'a colony keeps its identity, site and first visit')
    WHERE OLD.organism_id <> NEW.organism_id OR OLD.site <> NEW.site OR OLD.first_visit_id <> NEW.first_visit_id;
END;
CREATE TRIGGER colonies_keep_rows BEFORE DELETE ON colonies BEGIN
    SELECT RAISE(ABORT, 'a tagged colony stays on record for life');
END;

-- What became of a tagged colony on each visit; a visit without a row is not known.
CREATE TABLE colony_sightings (
    organism_id TEXT NOT NULL REFERENCES colonies,  -- The colony.
    visit_id TEXT NOT NULL REFERENCES visits,  -- The visit.
    state TEXT NOT NULL CHECK (state IN ('seen', 'not_found', 'dead', 'tag_lost', 'not_looked_for')),  -- seen; not_found (looked for; lost is not dead); dead (found, no living tissue); tag_lost (found by its place, without its tag); not_looked_for.
    record_id TEXT REFERENCES records,     -- The coral noted on this visit that it is; its names are the colony's.
    note TEXT NOT NULL DEFAULT '',         -- Anything worth knowing.
    observer TEXT NOT NULL REFERENCES observers,  -- Who says so.
    noted_at TEXT NOT NULL,                -- When, ISO 8601 with its offset from UTC (Z: UTC).
    PRIMARY KEY (organism_id, visit_id)
) STRICT;

-- How much of a tagged colony looks normal, pale, bleached or dead; rows are only ever added, the latest of colony, visit and observer holds.
CREATE TABLE colony_fractions (
    judgement_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up.
    organism_id TEXT NOT NULL REFERENCES colonies,  -- The colony.
    visit_id TEXT NOT NULL REFERENCES visits,  -- The visit.
    normal_pct REAL CHECK (normal_pct BETWEEN 0 AND 100),  -- Per cent that looks normal; empty where not judged.
    pale_pct REAL CHECK (pale_pct BETWEEN 0 AND 100),  -- Per cent that is pale; empty where not judged.
    bleached_pct REAL CHECK (bleached_pct BETWEEN 0 AND 100),  -- Per cent that is white with living tissue; empty where not judged.
    recently_dead_pct REAL CHECK (recently_dead_pct BETWEEN 0 AND 100),  -- Per cent that died recently; empty where not judged.
    old_dead_pct REAL CHECK (old_dead_pct BETWEEN 0 AND 100),  -- Per cent that is long dead; empty where not judged.
    lesion TEXT NOT NULL DEFAULT '',       -- Lesions in plain words.
    observer TEXT NOT NULL REFERENCES observers,  -- Who judged it.
    noted_at TEXT NOT NULL                 -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
CREATE INDEX colony_fractions_by_colony ON colony_fractions (organism_id, visit_id, judgement_no);
CREATE TRIGGER colony_fractions_keep_rows BEFORE DELETE ON colony_fractions BEGIN
    SELECT RAISE(ABORT, 'judgements of colonies only grow: no row may be taken out');
END;
CREATE TRIGGER colony_fractions_keep_words BEFORE UPDATE ON colony_fractions BEGIN
    SELECT RAISE(ABORT, 'judgements of colonies only grow: no row may be changed');
END;

-- Photos of a tagged colony, with its outline in each.
CREATE TABLE colony_frames (
    organism_id TEXT NOT NULL REFERENCES colonies,  -- The colony.
    photo_id TEXT NOT NULL REFERENCES photos,  -- The photo; its visit is the frame's.
    is_reference INTEGER NOT NULL CHECK (is_reference IN (0, 1)),  -- 1 for the photo on which the outline was drawn first.
    outline_px TEXT NOT NULL DEFAULT '[]', -- Corners of the outlined area, pixels of the upright original, JSON list; empty: not outlined.
    outline_how TEXT NOT NULL DEFAULT '' CHECK (outline_how IN ('', 'drawn', 'aligned', 'tie_points')),  -- drawn by hand, aligned (carried by matching the photos), tie_points (carried by points picked by hand), or empty.
    is_confirmed INTEGER NOT NULL CHECK (is_confirmed IN (0, 1)),  -- 1 where a person saw the outline lie right in this photo.
    carried_from TEXT REFERENCES photos,   -- The photo from which the outline was carried.
    misfit_px REAL CHECK (misfit_px >= 0), -- Misfit of the alignment, pixels; empty where drawn.
    misfit_mm REAL CHECK (misfit_mm >= 0), -- The same in millimetres, where the photo has a scale.
    n_matches INTEGER CHECK (n_matches >= 0),  -- Pairs of points that the alignment rests on.
    observer TEXT NOT NULL REFERENCES observers,  -- Who added or outlined it.
    noted_at TEXT NOT NULL,                -- When, ISO 8601 with its offset from UTC (Z: UTC).
    PRIMARY KEY (organism_id, photo_id)
) STRICT;

-- The colour of the outlined area in each frame; measured again whenever outline or correction change.
CREATE TABLE colony_colours (
    organism_id TEXT NOT NULL REFERENCES colonies,  -- The colony.
    photo_id TEXT NOT NULL REFERENCES photos,  -- The photo.
    outline_key TEXT NOT NULL,             -- Hash of the outline it was measured in.
    correction_key TEXT NOT NULL,          -- The correction it rests on; empty where the photo has none.
    measured TEXT NOT NULL,                -- Corrected L*, a*, b*, its doubt by part, the distance from the card's white in the uncorrected photo, or why there is none; JSON.
    measured_at TEXT NOT NULL,             -- When, ISO 8601 with its offset from UTC (Z: UTC).
    PRIMARY KEY (organism_id, photo_id)
) STRICT;

-- When stress set in, typed by a person with the reason; due dates are counted from it.
CREATE TABLE stress_onsets (
    onset_id TEXT PRIMARY KEY,             -- Hash of site, colony and date.
    site TEXT NOT NULL REFERENCES sites,   -- The site.
    organism_id TEXT REFERENCES colonies,  -- One colony only; empty: every tagged colony of the site.
    onset_date TEXT NOT NULL,              -- The date, year-month-day.
    reason TEXT NOT NULL,                  -- Why this date.
    is_taken_back INTEGER NOT NULL CHECK (is_taken_back IN (0, 1)),  -- 1 where it no longer holds.
    observer TEXT NOT NULL REFERENCES observers,  -- Who says so.
    stated_at TEXT NOT NULL                -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;

-- The tag of a colony that was met in a unit.
ALTER TABLE survey_rows ADD COLUMN tag TEXT NOT NULL DEFAULT '';  -- What the tag of a tagged colony says; empty where it bears none.
CREATE INDEX survey_rows_by_tag ON survey_rows (unit_id) WHERE tag <> '';
