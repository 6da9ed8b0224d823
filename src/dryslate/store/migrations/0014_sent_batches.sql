-- Batches of rows that browsers sent: what was stored already is not stored twice.

-- Batches of rows that were typed in a browser; one that is sent again after a lost answer changes nothing.
CREATE TABLE sent_batches (
    batch_id TEXT PRIMARY KEY,             -- Made in the browser before it was sent.
    unit_id TEXT NOT NULL REFERENCES units,  -- The unit its rows belong to.
    row_nos TEXT NOT NULL DEFAULT '{}',    -- JSON: the browser's mark of each line to the number of its row.
    observer TEXT NOT NULL REFERENCES observers,  -- Who sent it.
    stored_at TEXT NOT NULL                -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
