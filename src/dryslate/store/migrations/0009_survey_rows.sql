-- How units were sampled, the benthic categories of a project, and what was noted in each unit.

-- Benthic categories; a changed list is a new version, and rows keep the version they were noted with.
CREATE TABLE categories (
    list_version INTEGER NOT NULL CHECK (list_version > 0),  -- Which version of the list, from 1.
    category TEXT NOT NULL,                -- The category in plain words.
    category_group TEXT NOT NULL,          -- The broader group it counts to.
    is_hard_coral INTEGER NOT NULL CHECK (is_hard_coral IN (0, 1)),  -- 1 where it is living stony coral.
    definition TEXT NOT NULL,              -- What counts to it and what does not.
    PRIMARY KEY (list_version, category)
) STRICT;

-- Which category of a later list stands for one of an earlier list.
CREATE TABLE category_mappings (
    from_version INTEGER NOT NULL,         -- The earlier version.
    category TEXT NOT NULL,                -- The category in it.
    to_version INTEGER NOT NULL,           -- The later version.
    to_category TEXT NOT NULL,             -- The category that stands for it there.
    PRIMARY KEY (from_version, category, to_version),
    FOREIGN KEY (from_version, category) REFERENCES categories (list_version, category),
    FOREIGN KEY (to_version, to_category) REFERENCES categories (list_version, category)
) STRICT;

-- How a unit was sampled; empty is not stated, never zero.
CREATE TABLE unit_designs (
    unit_id TEXT PRIMARY KEY REFERENCES units,  -- The unit.
    design TEXT NOT NULL CHECK (design IN ('line_intercept', 'point_intercept', 'belt', 'quadrat_counts', 'quadrat_cells', 'photo_points', 'timed_swim')),  -- line_intercept, point_intercept, belt, quadrat_counts, quadrat_cells, photo_points or timed_swim.
    is_permanent INTEGER NOT NULL CHECK (is_permanent IN (0, 1)),  -- 1 where the same place is sampled at each visit.
    length_m REAL CHECK (length_m > 0),    -- Length of the tape or belt in metres.
    width_m REAL CHECK (width_m > 0),      -- Width of the belt in metres.
    area_m2 REAL CHECK (area_m2 > 0),      -- Area of the quadrat or photos in square metres.
    spacing_m REAL CHECK (spacing_m > 0),  -- Distance between points along the tape in metres.
    n_cells INTEGER CHECK (n_cells > 0),   -- Cells of the quadrat.
    n_points INTEGER CHECK (n_points > 0), -- Points on each photo.
    point_rule TEXT CHECK (point_rule IN ('random', 'stratified_random', 'grid')),  -- How points on photos were placed: random, stratified_random or grid.
    seed INTEGER,                          -- Seed of the points on photos.
    minutes REAL CHECK (minutes > 0),      -- Length of a timed swim in minutes.
    edge_rule TEXT CHECK (edge_rule IN ('centre_inside', 'two_sides_in', 'any_touching', 'wholly_inside')),  -- Which colonies at the edge count: centre_inside, two_sides_in, any_touching or wholly_inside.
    searched TEXT NOT NULL DEFAULT '[]',   -- Names that were looked for on purpose, JSON list.
    list_version INTEGER,                  -- Version of the list of categories that its rows use; empty where it has none.
    observer TEXT NOT NULL REFERENCES observers,  -- Who stated it.
    stated_at TEXT NOT NULL                -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;

-- What was noted in units: stretches of tape, points, cells, counts and colonies.
CREATE TABLE survey_rows (
    row_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up.
    unit_id TEXT NOT NULL REFERENCES unit_designs,  -- The unit.
    kind TEXT NOT NULL CHECK (kind IN ('intercept', 'point', 'cell', 'count', 'colony', 'none_seen')),  -- intercept, point, cell, count, colony or none_seen.
    category TEXT NOT NULL DEFAULT '',     -- Benthic category; empty where only a name was noted, or it could not be read.
    name_as_recorded TEXT NOT NULL DEFAULT '',  -- Name as written; empty where the category says all.
    name TEXT NOT NULL DEFAULT '',         -- The current name; empty where the data do not list the name.
    current_names TEXT NOT NULL DEFAULT '[]',  -- Current genera it can stand for, JSON list.
    rank TEXT NOT NULL DEFAULT '',         -- genus, family, order, informal group; empty without a name.
    growth_form TEXT,                      -- Growth form as seen, never taken from the name.
    from_m REAL,                           -- Where on the tape a stretch begins, metres.
    to_m REAL,                             -- Where on the tape it ends, metres.
    at_m REAL,                             -- Where on the tape a point or colony lies, metres.
    photo_id TEXT REFERENCES photos,       -- The photo of a point.
    x_px REAL,                             -- Its place from the left, pixels of the upright original.
    y_px REAL,                             -- Its place from the top, pixels of the upright original.
    cell INTEGER,                          -- Cell of a quadrat, from 1.
    cover_pct REAL CHECK (cover_pct BETWEEN 0 AND 100),  -- Share of the cell, per cent; empty: the whole cell.
    n INTEGER CHECK (n >= 0),              -- How many; empty is not noted, never zero.
    longest_cm REAL CHECK (longest_cm > 0),  -- Longest diameter in centimetres.
    across_cm REAL CHECK (across_cm > 0),  -- Widest across it in centimetres.
    across_line_m REAL CHECK (across_line_m > 0),  -- How far a colony reaches across the tape's direction, metres.
    normal_pct REAL CHECK (normal_pct BETWEEN 0 AND 100),  -- Per cent of the colony that looks normal.
    pale_pct REAL CHECK (pale_pct BETWEEN 0 AND 100),  -- Per cent that is pale.
    bleached_pct REAL CHECK (bleached_pct BETWEEN 0 AND 100),  -- Per cent that is white with living tissue.
    recently_dead_pct REAL CHECK (recently_dead_pct BETWEEN 0 AND 100),  -- Per cent that died recently.
    old_dead_pct REAL CHECK (old_dead_pct BETWEEN 0 AND 100),  -- Per cent that is long dead.
    lesion TEXT NOT NULL DEFAULT '',       -- A lesion in plain words.
    unreadable TEXT NOT NULL DEFAULT '',   -- Why it could not be read; it then leaves the denominator.
    note TEXT NOT NULL DEFAULT '',         -- Anything worth knowing.
    place TEXT NOT NULL DEFAULT '',        -- Where it was written: a file and row, a sheet and cell.
    observer TEXT NOT NULL REFERENCES observers,  -- Who noted it.
    noted_at TEXT NOT NULL                 -- When it was entered, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
CREATE INDEX survey_rows_by_unit ON survey_rows (unit_id, row_no);
