-- Records of corals, who called them what, and the second observer.

-- Things noted, one row each; the wording before a change is in change_log.
CREATE TABLE records (
    record_id TEXT PRIMARY KEY,            -- Hash of visit, photo, colony and kind.
    kind TEXT NOT NULL,                    -- What was noted: colony.
    colony TEXT NOT NULL,                  -- Which coral, as the team labels it.
    visit_id TEXT NOT NULL REFERENCES visits,  -- The visit.
    photo_id TEXT REFERENCES photos,       -- The photo it is seen in; empty where it was noted without one.
    growth_form TEXT,                      -- Growth form as seen, never taken from the name; empty where not noted.
    is_juvenile INTEGER CHECK (is_juvenile IN (0, 1)),  -- 1 under 5 cm, 0 not; empty where not noted.
    measurement_ids TEXT NOT NULL,         -- Its measurements, JSON list of measurement_id.
    note TEXT NOT NULL DEFAULT '',         -- Anything worth knowing.
    observer TEXT NOT NULL REFERENCES observers,  -- Who noted it.
    noted_at TEXT NOT NULL                 -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
CREATE INDEX records_by_visit ON records (visit_id, colony);

-- Who called a record what; rows are only ever added, a later one follows an earlier one.
CREATE TABLE identifications (
    identification_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up.
    identification_id TEXT NOT NULL UNIQUE,  -- Hash of the whole row.
    record_id TEXT NOT NULL REFERENCES records,  -- The record.
    role TEXT NOT NULL CHECK (role IN ('first', 'second', 'third')),  -- first, second (blind) or third (decides).
    name_as_recorded TEXT NOT NULL,        -- The name as written; first letters are written out in full.
    current_names TEXT NOT NULL,           -- Current genera it can stand for, JSON list.
    name TEXT NOT NULL,                    -- The current name; empty where the data do not list the name.
    rank TEXT NOT NULL,                    -- genus, family, order, informal group or none.
    qualifier TEXT NOT NULL DEFAULT '',    -- Such as cf., apart from the name; empty: none.
    confidence INTEGER CHECK (confidence BETWEEN 1 AND 5),  -- Key 1 to 5; empty where not stated.
    p_stated REAL,                         -- Probability that key stood for when it was given.
    probability REAL,                      -- The model's probability of the name on the evidence; empty where not weighed.
    evidence TEXT NOT NULL,                -- What was seen, not seen, unclear and measured, JSON.
    conflicts TEXT NOT NULL,               -- What spoke against the name: size, region; JSON list.
    region TEXT,                           -- Region the name was looked up in; empty: none stated.
    photo_regions TEXT NOT NULL,           -- Parts of photos looked at, JSON list of photo_id, x0, y0, x1, y1 in pixels of the upright original.
    observer TEXT NOT NULL REFERENCES observers,  -- Who said so.
    identified_at TEXT NOT NULL,           -- When, ISO 8601 with its offset from UTC (Z: UTC).
    data_version TEXT NOT NULL             -- Version of the genus data.
) STRICT;
CREATE INDEX identifications_by_record ON identifications (record_id, identification_no);
CREATE TRIGGER identifications_keep_rows BEFORE DELETE ON identifications BEGIN
    SELECT RAISE(ABORT, 'identifications only grow: no row may be taken out');
END;
CREATE TRIGGER identifications_keep_words BEFORE UPDATE ON identifications BEGIN
    SELECT RAISE(ABORT, 'identifications only grow: no row may be changed');
END;

-- Draws of what a second observer looks at.
CREATE TABLE review_draws (
    draw_id TEXT PRIMARY KEY,              -- Hash of seed, settings and what could be drawn.
    seed INTEGER NOT NULL,                 -- Seed of the random share.
    random_frac REAL NOT NULL,             -- Share drawn at random of those without a reason, 0 to 1.
    least_probability REAL NOT NULL,       -- A probability or stated confidence below it is low.
    observer TEXT NOT NULL REFERENCES observers,  -- Who drew.
    drawn_at TEXT NOT NULL                 -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;

-- The chance of each identification to be drawn, once for each, drawn or not.
CREATE TABLE review_chances (
    identification_id TEXT PRIMARY KEY REFERENCES identifications (identification_id),  -- The first observer's.
    record_id TEXT NOT NULL REFERENCES records,  -- Its record.
    draw_id TEXT NOT NULL REFERENCES review_draws,  -- The draw.
    p_drawn REAL NOT NULL,                 -- Chance of being drawn, 0 to 1.
    is_drawn INTEGER NOT NULL CHECK (is_drawn IN (0, 1)),  -- 1 drawn, 0 not.
    reasons TEXT NOT NULL                  -- Why: probability, confidence, size, region, not_stated or random; JSON list.
) STRICT;
CREATE TRIGGER review_chances_keep_rows BEFORE DELETE ON review_chances BEGIN
    SELECT RAISE(ABORT, 'chances of being drawn only grow: no row may be taken out');
END;
CREATE TRIGGER review_chances_keep_words BEFORE UPDATE ON review_chances BEGIN
    SELECT RAISE(ABORT, 'chances of being drawn only grow: no row may be changed');
END;

-- What came of a second look and of a third; rows are only ever added.
CREATE TABLE review_outcomes (
    outcome_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up; the highest of a record holds.
    outcome_id TEXT NOT NULL UNIQUE,       -- Hash of the identifications it rests on.
    record_id TEXT NOT NULL REFERENCES records,  -- The record.
    first_id TEXT NOT NULL REFERENCES identifications (identification_id),  -- The first observer's.
    second_id TEXT NOT NULL REFERENCES identifications (identification_id),  -- The second observer's.
    third_id TEXT REFERENCES identifications (identification_id),  -- Who decided; empty where nobody did.
    rank_shared TEXT NOT NULL,             -- Lowest rank at which first and second name are one taxon each; empty: none.
    is_agreed INTEGER CHECK (is_agreed IN (0, 1)),  -- 1 the same at that rank, 0 not; empty where no rank is shared.
    agreed_at TEXT NOT NULL,               -- Lowest rank at which they are the same; empty: none.
    settled_name TEXT NOT NULL,            -- The settled name; empty while it is open.
    settled_names TEXT NOT NULL,           -- Current genera it stands for, JSON list.
    settled_rank TEXT NOT NULL,            -- Its rank; empty while it is open.
    observer TEXT NOT NULL REFERENCES observers,  -- Whose look brought it.
    decided_at TEXT NOT NULL               -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
CREATE INDEX review_outcomes_by_record ON review_outcomes (record_id, outcome_no);
CREATE TRIGGER review_outcomes_keep_rows BEFORE DELETE ON review_outcomes BEGIN
    SELECT RAISE(ABORT, 'outcomes only grow: no row may be taken out');
END;
CREATE TRIGGER review_outcomes_keep_words BEFORE UPDATE ON review_outcomes BEGIN
    SELECT RAISE(ABORT, 'outcomes only grow: no row may be changed');
END;
