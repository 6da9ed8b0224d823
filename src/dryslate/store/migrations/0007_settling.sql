-- How a second name stands to the first, and settling by the two who looked.

ALTER TABLE identifications ADD COLUMN with_observer TEXT REFERENCES observers;  -- Who decided it too, at the same screen; empty: one person said it.
ALTER TABLE review_outcomes ADD COLUMN relation TEXT NOT NULL DEFAULT '' CHECK (relation IN ('', 'same', 'coarser', 'finer', 'differs'));  -- The second name beside the first: same, coarser (fits it, confirms nothing), finer (fits it) or differs; empty: of before this was kept.
ALTER TABLE review_outcomes ADD COLUMN settled_how TEXT NOT NULL DEFAULT '' CHECK (settled_how IN ('', 'agreed', 'third', 'together', 'reopened'));  -- agreed (both said the same), third (an independent third decided), together (the two who looked decided, not independent), reopened (open again); empty: open, or of before this was kept.
ALTER TABLE records ADD COLUMN place TEXT NOT NULL DEFAULT '';  -- Where within the visit, as written (tape mark, plot, depth); empty where not noted.
ALTER TABLE records ADD COLUMN sizes_noted TEXT NOT NULL DEFAULT '{}';  -- Sizes that no photo was measured for, JSON: by measure value_mm, u_mm (one standard uncertainty) and how (eye or ruler).
