-- How much of a coral looks healthy, pale, bleached or dead.

-- Shares of a coral's surface by how they look; rows are only ever added, the latest of a record holds.
CREATE TABLE coral_health (
    health_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up; the highest of a record holds.
    record_id TEXT NOT NULL REFERENCES records,  -- The coral.
    normal_pct REAL CHECK (normal_pct BETWEEN 0 AND 100),  -- Per cent that looks normal; empty where not judged.
    pale_pct REAL CHECK (pale_pct BETWEEN 0 AND 100),  -- Per cent that is pale; empty where not judged.
    bleached_pct REAL CHECK (bleached_pct BETWEEN 0 AND 100),  -- Per cent that is white with living tissue; empty where not judged.
    recently_dead_pct REAL CHECK (recently_dead_pct BETWEEN 0 AND 100),  -- Per cent that died recently: white skeleton, its fine structure still sharp; empty where not judged.
    old_dead_pct REAL CHECK (old_dead_pct BETWEEN 0 AND 100),  -- Per cent that is long dead: worn or overgrown skeleton; empty where not judged.
    observer TEXT NOT NULL REFERENCES observers,  -- Who judged it.
    noted_at TEXT NOT NULL                 -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
CREATE INDEX coral_health_by_record ON coral_health (record_id, health_no);
CREATE TRIGGER coral_health_keeps_rows BEFORE DELETE ON coral_health BEGIN
    SELECT RAISE(ABORT, 'judgements of health only grow: no row may be taken out');
END;
CREATE TRIGGER coral_health_keeps_words BEFORE UPDATE ON coral_health BEGIN
    SELECT RAISE(ABORT, 'judgements of health only grow: no row may be changed');
END;
