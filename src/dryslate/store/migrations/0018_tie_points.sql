-- Which points an outline was carried by, where a person picked them.
ALTER TABLE colony_frames ADD COLUMN tie_points_px TEXT NOT NULL DEFAULT '[]';  -- Pairs picked by hand, pixels of both upright originals: place in the photo it was carried from, and in this one, JSON list; empty: not carried by hand, or carried before pairs were kept.
