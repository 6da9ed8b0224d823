-- The first schema. Every table and column carries a note; `dryslate.store.migrate` reads the
-- notes into `column_notes`, and docs/database.md is made from there.

-- Facts about the project as a whole.
CREATE TABLE project (
    name TEXT PRIMARY KEY,                 -- Which fact: project_id, made_utc, made_by.
    value TEXT NOT NULL                    -- The fact as text.
) STRICT;

-- Places that are surveyed again and again.
CREATE TABLE sites (
    site TEXT PRIMARY KEY,                 -- Name of the site, as the team writes it.
    note TEXT NOT NULL DEFAULT ''          -- Anything worth knowing about it.
) STRICT;

-- Reef zones or depth bands within a site; results are given by zone.
CREATE TABLE zones (
    site TEXT NOT NULL REFERENCES sites,   -- The site it belongs to.
    zone TEXT NOT NULL,                    -- Name of the zone.
    depth_min_m REAL,                      -- Upper limit in metres below the surface; empty where not stated.
    depth_max_m REAL,                      -- Lower limit in metres below the surface; empty where not stated.
    note TEXT NOT NULL DEFAULT '',         -- Anything worth knowing about it.
    PRIMARY KEY (site, zone)
) STRICT;

-- People who survey.
CREATE TABLE observers (
    observer TEXT PRIMARY KEY,             -- Name of the person, as the team writes it.
    note TEXT NOT NULL DEFAULT ''          -- Anything worth knowing.
) STRICT;

-- One site on one date.
CREATE TABLE visits (
    visit_id TEXT PRIMARY KEY,             -- The site, a space and the date.
    site TEXT NOT NULL REFERENCES sites,   -- The site.
    date TEXT NOT NULL,                    -- Local date of the visit, YYYY-MM-DD.
    observer TEXT NOT NULL REFERENCES observers,  -- Who first took in photos of this visit.
    UNIQUE (site, date)
) STRICT;

-- How wrong a camera's clock was on one visit; the times in photos stay as the camera wrote them.
CREATE TABLE clock_offsets (
    visit_id TEXT NOT NULL REFERENCES visits,  -- The visit.
    camera TEXT NOT NULL,                  -- Make, model and serial number of the camera.
    offset_s REAL NOT NULL,                -- Seconds to add to the camera's clock.
    utc_offset TEXT,                       -- Offset from UTC of the true local time, +HH:MM; empty where not stated.
    photo_id TEXT,                         -- Photo of a clock the offset was read from, if any.
    shown TEXT,                            -- Time that clock showed, as given.
    PRIMARY KEY (visit_id, camera)
) STRICT;

-- Every file that was taken in, of whatever kind, by its content.
CREATE TABLE originals (
    sha256 TEXT PRIMARY KEY,               -- SHA-256 of the content, 64 hexadecimal digits.
    size_bytes INTEGER NOT NULL,           -- Size in bytes.
    kind TEXT NOT NULL,                    -- jpeg, heic, png, tiff, raw or other, told by the content.
    kept_path TEXT NOT NULL                -- Where it lies below the project folder; read-only, never changed.
) STRICT;

-- Where each file lay on its memory card.
CREATE TABLE card_files (
    visit_id TEXT NOT NULL REFERENCES visits,    -- The visit it was taken in for.
    card_path TEXT NOT NULL,               -- Path below the source, parts joined by /.
    sha256 TEXT NOT NULL REFERENCES originals,   -- Its content.
    original_name TEXT NOT NULL,           -- The file's own name.
    size_bytes INTEGER NOT NULL,           -- Size on the memory card, in bytes.
    modified_ns INTEGER NOT NULL,          -- Time of last change on the memory card, nanoseconds since 1970.
    observer TEXT NOT NULL REFERENCES observers,  -- Whose memory card it was.
    PRIMARY KEY (visit_id, card_path, sha256)
) STRICT;

-- Kept copies of originals and whether each was read back from the drive itself.
CREATE TABLE copies (
    sha256 TEXT NOT NULL REFERENCES originals,   -- The content.
    folder TEXT NOT NULL,                  -- "." for the project, else the path of the second folder.
    drive TEXT NOT NULL,                   -- Names of the block devices below the folder, or what it is where it has none.
    is_proved INTEGER NOT NULL CHECK (is_proved IN (0, 1)),  -- 1 only where the bytes came back from the drive.
    how TEXT NOT NULL,                     -- direct (past the cache), dropped (cache emptied first) or cached (not proved).
    proved_utc TEXT NOT NULL,              -- When it was read back, UTC.
    PRIMARY KEY (sha256, folder)
) STRICT;

-- One row a shot: a photo may have a raw file and a JPEG.
CREATE TABLE photos (
    photo_id TEXT PRIMARY KEY,             -- Hash of the preferred file: the JPEG where there is one, else the raw.
    visit_id TEXT NOT NULL REFERENCES visits,    -- The visit.
    observer TEXT,                         -- Who took it; empty where not known.
    depth_m REAL,                          -- Depth below the surface in metres, where known.
    taken_local TEXT,                      -- Time by the camera's clock, as written; empty where unknown.
    utc_offset TEXT,                       -- Offset from UTC the file states for that time; empty: it states none.
    camera_make TEXT,                      -- Maker of the camera, as the file states it.
    camera_model TEXT,                     -- Model of the camera, as the file states it.
    camera_serial TEXT,                    -- Serial number of the camera, as the file states it.
    lens_model TEXT,                       -- Lens, as the file states it.
    focal_mm REAL,                         -- Focal length in millimetres.
    focal_35mm_mm REAL,                    -- Focal length that gives the same view on a 36 x 24 mm frame.
    exposure_s REAL,                       -- Exposure time in seconds.
    f_number REAL,                         -- Aperture as f-number.
    iso REAL,                              -- Sensitivity as ISO speed.
    flash_fired INTEGER,                   -- 1 flash, 0 none; empty where unknown.
    white_balance_fixed INTEGER,           -- 1 white balance set by hand, 0 automatic; empty where unknown.
    zoom_ratio REAL,                       -- Digital zoom; empty where unknown.
    latitude_deg REAL,                     -- Latitude in degrees, north positive (WGS 84).
    longitude_deg REAL,                    -- Longitude in degrees, east positive (WGS 84).
    water_depth_m REAL,                    -- Depth below the surface the file states, in metres.
    orientation INTEGER NOT NULL DEFAULT 1 -- How the picture is turned in its file, 1 to 8.
) STRICT;
CREATE INDEX photos_by_visit ON photos (visit_id);

-- The files of a photo.
CREATE TABLE photo_files (
    sha256 TEXT PRIMARY KEY REFERENCES originals,  -- The file.
    photo_id TEXT NOT NULL REFERENCES photos,      -- The photo it belongs to.
    original_name TEXT NOT NULL,           -- Its name on the memory card.
    position INTEGER NOT NULL              -- 0 for the preferred file.
) STRICT;
CREATE INDEX photo_files_by_photo ON photo_files (photo_id);

-- What the card told about each photo; later rows follow earlier ones, nothing is overwritten.
CREATE TABLE corrections (
    correction_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up; the highest of a photo holds.
    photo_id TEXT NOT NULL REFERENCES photos,  -- The photo.
    key TEXT NOT NULL,                     -- Hash of everything that could change the outcome.
    outcome TEXT NOT NULL,                 -- corrected, borrowed, refused, no_card or unreadable.
    result TEXT NOT NULL,                  -- What was printed about the photo, JSON.
    geometry TEXT NOT NULL,                -- What rebuilds the card's plane with its doubt, JSON.
    colour TEXT NOT NULL,                  -- What rebuilds the colour fit with its doubt, JSON.
    corrected_path TEXT                    -- The corrected picture, below the project folder; empty where none.
) STRICT;
CREATE INDEX corrections_by_photo ON corrections (photo_id, correction_no);

-- Measurements of corals and of control objects; later rows follow earlier ones of the same id.
CREATE TABLE measurements (
    measurement_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up; the highest of one measurement_id holds.
    measurement_id TEXT NOT NULL,          -- Hash of photo, colony, kind and points.
    photo_id TEXT NOT NULL REFERENCES photos,  -- The photo.
    colony TEXT NOT NULL,                  -- Which coral, or the name of a control object.
    kind TEXT NOT NULL,                    -- length, polyline, outline, corallites or colour.
    points_px TEXT NOT NULL,               -- Points in pixels of the upright original, JSON list of x and y.
    "values" TEXT NOT NULL,                -- Values with standard uncertainty, interval and budget, JSON.
    correction_key TEXT NOT NULL,          -- The correction it rests on.
    observer TEXT NOT NULL                 -- Who set the points.
) STRICT;
CREATE INDEX measurements_by_id ON measurements (measurement_id, measurement_no);

-- How far each patch of a card was off in each corrected photo.
CREATE TABLE patch_residuals (
    residual_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up in the order saved.
    photo_id TEXT NOT NULL REFERENCES photos,  -- The photo.
    correction_key TEXT NOT NULL,          -- The correction.
    card TEXT NOT NULL,                    -- Name of the card.
    card_key TEXT NOT NULL,                -- Hash of the card's definition, serial and medium: one printed card.
    patch_id TEXT NOT NULL,                -- The patch.
    residual_de00 REAL,                    -- CIEDE2000 between stated and corrected; empty where dropped.
    residual_lab TEXT,                     -- Corrected minus stated L*, a*, b*, JSON list; empty where not known.
    dropped TEXT NOT NULL DEFAULT '',      -- Why the patch was not used; empty where it was.
    UNIQUE (photo_id, correction_key, card_key, patch_id)
) STRICT;
CREATE INDEX patch_residuals_by_card ON patch_residuals (card_key, patch_id);

-- Things of known length or grey that the project photographs to prove itself.
CREATE TABLE control_objects (
    name TEXT PRIMARY KEY,                 -- Name used in place of a colony when it is measured.
    kind TEXT NOT NULL,                    -- length or grey.
    value TEXT NOT NULL,                   -- Known value, JSON list: length in mm, or L*, a*, b*.
    value_u TEXT NOT NULL                  -- Standard uncertainties of the value, JSON list.
) STRICT;

-- Files below derived/ that can be thrown away and made again.
CREATE TABLE derived_files (
    path TEXT PRIMARY KEY,                 -- Below the project folder.
    photo_id TEXT NOT NULL REFERENCES photos,  -- The photo it was made from.
    key TEXT NOT NULL,                     -- Hash of photo, card, lens, settings and versions.
    kind TEXT NOT NULL,                    -- corrected, preview and the like.
    sha256 TEXT NOT NULL,                  -- SHA-256 of the file as written.
    size_bytes INTEGER NOT NULL,           -- Size in bytes.
    steps TEXT NOT NULL                    -- The settings and versions behind the key, JSON.
) STRICT;

-- Who changed what and when; rows are only ever added.
CREATE TABLE change_log (
    change_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up.
    changed_utc TEXT NOT NULL,             -- When, UTC.
    who TEXT NOT NULL,                     -- The observer, or the account on the computer.
    what TEXT NOT NULL,                    -- insert, update or delete.
    table_name TEXT NOT NULL,              -- The table.
    row_key TEXT NOT NULL,                 -- Primary key of the row, JSON list.
    old TEXT,                              -- The row before, JSON; empty for an insert.
    new TEXT                               -- The row after, JSON; empty for a delete.
) STRICT;
CREATE TRIGGER change_log_keeps_rows BEFORE DELETE ON change_log BEGIN
    SELECT RAISE(ABORT, 'the change log only grows: no row may be taken out');
END;
CREATE TRIGGER change_log_keeps_words BEFORE UPDATE ON change_log BEGIN
    SELECT RAISE(ABORT, 'the change log only grows: no row may be changed');
END;
CREATE TRIGGER change_log_keeps_places BEFORE INSERT ON change_log
WHEN EXISTS (SELECT 1 FROM change_log WHERE change_no = NEW.change_no) BEGIN
    SELECT RAISE(ABORT, 'the change log only grows: no row may be replaced');
END;
