-- How much of a site each of its zones (strata) is, for the site's own figures.

-- Weight of a zone within its site; only their proportions count.
CREATE TABLE zone_weights (
    site TEXT NOT NULL,                    -- The site.
    zone TEXT NOT NULL,                    -- The zone.
    weight REAL NOT NULL CHECK (weight >= 0),  -- Its area, or its share of the site.
    measure TEXT NOT NULL CHECK (measure IN ('m2', 'ha', 'share')),  -- What the weight is: m2, ha or share; one for all zones of a site.
    source TEXT NOT NULL CHECK (source <> ''),  -- Where the weights come from, in words: a map, a count of tows.
    observer TEXT NOT NULL REFERENCES observers,  -- Who stated it.
    stated_at TEXT NOT NULL,               -- When, ISO 8601 with its offset from UTC (Z: UTC).
    PRIMARY KEY (site, zone),
    FOREIGN KEY (site, zone) REFERENCES zones
) STRICT;
