-- Conditions of the dives of a visit, which whoever weighs the figures asks for.

-- What sea and weather were like on a visit; what nobody stated is not there.
CREATE TABLE visit_conditions (
    visit_id TEXT PRIMARY KEY REFERENCES visits,  -- The visit.
    tide TEXT NOT NULL DEFAULT '',         -- The tide, in the team's words: rising, low at 09:40.
    visibility_m REAL CHECK (visibility_m >= 0),  -- How far one saw under water, in metres.
    water_c REAL CHECK (water_c BETWEEN -3 AND 45),  -- Temperature of the water, in degrees Celsius.
    weather TEXT NOT NULL DEFAULT '',      -- The weather, in words.
    sea TEXT NOT NULL DEFAULT '',          -- Swell, waves and current, in words.
    observer TEXT NOT NULL REFERENCES observers,  -- Who stated it.
    stated_at TEXT NOT NULL                -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
