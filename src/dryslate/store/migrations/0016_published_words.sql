-- What a site is called where it leaves the project.

ALTER TABLE site_places ADD COLUMN published_locality TEXT NOT NULL DEFAULT '';  -- Words published in place of the site's own; empty: of a sensitive site its wider area only, of any other its own words.
