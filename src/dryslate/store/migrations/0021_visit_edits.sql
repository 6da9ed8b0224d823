-- Visits begun by mistake: taken out, corrected, or their photos put to another.

-- What was done to visits as a whole; rows are only ever added.
CREATE TABLE visit_edits (
    edit_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up.
    what TEXT NOT NULL CHECK (what IN ('withdrawn', 'corrected', 'moved', 'undone')),  -- withdrawn (an empty visit taken out), corrected (site, date or observer), moved (photos put to another visit), undone (an earlier edit taken back).
    visit_id TEXT NOT NULL,                -- The visit as it was called before.
    to_visit_id TEXT NOT NULL DEFAULT '',  -- What it is called since, or the visit that the photos went to; empty where withdrawn.
    n_photos INTEGER NOT NULL CHECK (n_photos >= 0),  -- Photos that went along.
    undoes INTEGER REFERENCES visit_edits, -- The edit that it took back.
    first_change INTEGER NOT NULL,         -- First line of change_log that belongs to it.
    last_change INTEGER NOT NULL,          -- Last line of change_log that belongs to it.
    reason TEXT NOT NULL,                  -- Why, in words.
    observer TEXT NOT NULL REFERENCES observers,  -- Who did it.
    edited_at TEXT NOT NULL                -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
CREATE TRIGGER visit_edits_keep_rows BEFORE DELETE ON visit_edits BEGIN
    SELECT RAISE(ABORT, 'edits of visits are only added: no row may be taken out');
END;
CREATE TRIGGER visit_edits_keep_words BEFORE UPDATE ON visit_edits BEGIN
    SELECT RAISE(ABORT, 'edits of visits are only added: no row may be changed');
END;

-- A colony keeps its identity; site and first visit change only where the visit's site or date was wrong.
DROP TRIGGER colonies_keep_identity;
CREATE TRIGGER colonies_keep_identity BEFORE UPDATE OF organism_id, site, first_visit_id ON colonies BEGIN
    SELECT RAISE(ABORT, 'a colony keeps its identity, and stands at the site of its first visit')
    WHERE OLD.organism_id <> NEW.organism_id
    OR (OLD.site <> NEW.site OR OLD.first_visit_id <> NEW.first_visit_id)
    AND NOT EXISTS (SELECT 1 FROM visits WHERE visit_id = NEW.first_visit_id AND site = NEW.site);
END;
DROP TRIGGER colony_fractions_keep_words;
CREATE TRIGGER colony_fractions_keep_words BEFORE UPDATE ON colony_fractions BEGIN
    SELECT RAISE(ABORT, 'judgements of colonies only grow: nothing but their visit may be put right')
    WHERE OLD.judgement_no <> NEW.judgement_no OR OLD.organism_id <> NEW.organism_id
    OR OLD.normal_pct IS NOT NEW.normal_pct OR OLD.pale_pct IS NOT NEW.pale_pct
    OR OLD.bleached_pct IS NOT NEW.bleached_pct
    OR OLD.recently_dead_pct IS NOT NEW.recently_dead_pct
    OR OLD.old_dead_pct IS NOT NEW.old_dead_pct OR OLD.lesion <> NEW.lesion
    OR OLD.observer <> NEW.observer OR OLD.noted_at <> NEW.noted_at;
END;
