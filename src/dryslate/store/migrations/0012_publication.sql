-- Where sites and units lie, and what a published archive says of the project, its people and names.

-- Where a site lies and the words for it; empty is not stated.
CREATE TABLE site_places (
    site TEXT PRIMARY KEY REFERENCES sites,  -- The site.
    latitude_deg REAL CHECK (latitude_deg BETWEEN -90 AND 90),  -- Latitude in degrees, north positive (WGS 84).
    longitude_deg REAL CHECK (longitude_deg BETWEEN -180 AND 180),  -- Longitude in degrees, east positive (WGS 84).
    position_text TEXT NOT NULL DEFAULT '',  -- The position as it was typed, with the digits it was typed with.
    precision_deg REAL CHECK (precision_deg > 0),  -- What one step of the last digit typed stands for, in degrees.
    uncertainty_m REAL CHECK (uncertainty_m > 0),  -- Radius in metres that holds the whole site, doubt of the position included; empty where not stated, never zero.
    grid_deg REAL CHECK (grid_deg > 0 AND grid_deg <= 10),  -- Sensitive: everything exported gives the position only to this grid, in degrees; empty: not sensitive.
    country TEXT NOT NULL DEFAULT '',      -- Country, as the team writes it.
    country_code TEXT NOT NULL DEFAULT '', -- Its two letters (ISO 3166-1).
    water_body TEXT NOT NULL DEFAULT '',   -- Sea, bay or lagoon, as the team writes it.
    locality TEXT NOT NULL DEFAULT '',     -- Where it lies in words.
    observer TEXT NOT NULL REFERENCES observers,  -- Who stated it last.
    stated_at TEXT NOT NULL,               -- When, ISO 8601 with its offset from UTC (Z: UTC).
    CHECK ((latitude_deg IS NULL) = (longitude_deg IS NULL))
) STRICT;

-- Where a unit lies, where that is known apart from its site.
CREATE TABLE unit_places (
    unit_id TEXT PRIMARY KEY REFERENCES units ON DELETE CASCADE,  -- The unit.
    latitude_deg REAL NOT NULL CHECK (latitude_deg BETWEEN -90 AND 90),  -- Latitude in degrees, north positive (WGS 84).
    longitude_deg REAL NOT NULL CHECK (longitude_deg BETWEEN -180 AND 180),  -- Longitude in degrees, east positive (WGS 84).
    position_text TEXT NOT NULL DEFAULT '',  -- The position as it was typed, with the digits it was typed with.
    precision_deg REAL CHECK (precision_deg > 0),  -- What one step of the last digit typed stands for, in degrees.
    uncertainty_m REAL CHECK (uncertainty_m > 0),  -- Radius in metres that holds the whole unit, doubt of the position included; empty where not stated, never zero.
    observer TEXT NOT NULL REFERENCES observers,  -- Who stated it last.
    stated_at TEXT NOT NULL                -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;

-- People who stand for the project, each with what they did.
CREATE TABLE project_people (
    person TEXT NOT NULL,                  -- Name, as it is to be printed.
    role TEXT NOT NULL CHECK (role IN ('creator', 'contact', 'metadataProvider', 'surveyor', 'identifier', 'photographer', 'data entry', 'principalInvestigator')),  -- creator, contact, metadataProvider, surveyor, identifier, photographer, data entry or principalInvestigator.
    organisation TEXT NOT NULL DEFAULT '', -- Whom they belong to.
    email TEXT NOT NULL DEFAULT '',        -- Address for questions; it is published.
    PRIMARY KEY (person, role)
) STRICT;

-- What a name is called in a register of names, as the team supplied it.
CREATE TABLE name_ids (
    name TEXT PRIMARY KEY,                 -- Genus, family or benthic category as it stands in the records.
    scientific_name TEXT NOT NULL,         -- Scientific name without its author.
    rank TEXT NOT NULL DEFAULT '',         -- Its rank.
    kingdom TEXT NOT NULL DEFAULT '',      -- Its kingdom.
    name_id TEXT NOT NULL DEFAULT '',      -- Its identifier in the register; empty where it has none.
    register TEXT NOT NULL DEFAULT '',     -- Which register.
    matched_on TEXT NOT NULL DEFAULT ''    -- Date on which it was looked up, YYYY-MM-DD.
) STRICT;
