-- Temperature loggers of sites: the file as it was given, and what was stated of it.

-- Files of loggers, word for word; a file never changes.
CREATE TABLE logger_files (
    sha256 TEXT PRIMARY KEY,               -- Hash of the file.
    size_bytes INTEGER NOT NULL CHECK (size_bytes > 0),  -- Its size.
    content TEXT NOT NULL                  -- The whole file (CSV in UTF-8): written out again, it is the file to the byte.
) STRICT;
CREATE TRIGGER logger_files_keep_words BEFORE UPDATE ON logger_files BEGIN
    SELECT RAISE(ABORT, 'the file of a logger never changes');
END;
CREATE TRIGGER logger_files_keep_rows BEFORE DELETE ON logger_files BEGIN
    SELECT RAISE(ABORT, 'the file of a logger stays on record');
END;

-- Which logger lay at which site, and what its heat stress is worked out with.
CREATE TABLE site_loggers (
    site TEXT NOT NULL REFERENCES sites,   -- The site it lay at.
    sha256 TEXT NOT NULL REFERENCES logger_files,  -- Its file.
    file_name TEXT NOT NULL,               -- What the file was called.
    warmest_c REAL NOT NULL,               -- Long-term mean of the warmest month, in degrees Celsius.
    warmest_source TEXT NOT NULL CHECK (warmest_source <> ''),  -- Where that mean comes from.
    deployed_from TEXT NOT NULL DEFAULT '', -- When the logger was put out, as stated; empty is not stated.
    deployed_to TEXT NOT NULL DEFAULT '' CHECK ((deployed_from = '') = (deployed_to = '')),  -- When it was taken in.
    offset_c REAL,                         -- Logger minus the source of the mean, taken off; empty is not stated.
    zone TEXT NOT NULL DEFAULT '',         -- Zone of times that carry none, such as +10:00.
    time_column TEXT NOT NULL,             -- Heading of the column of times.
    temperature_column TEXT NOT NULL,      -- Heading of the column of temperatures in degrees Celsius.
    is_taken_back INTEGER NOT NULL DEFAULT 0 CHECK (is_taken_back IN (0, 1)),  -- 1: it counts no longer.
    observer TEXT NOT NULL REFERENCES observers,  -- Who stated it.
    stated_at TEXT NOT NULL,               -- When, ISO 8601 with its offset from UTC (Z: UTC).
    PRIMARY KEY (site, sha256)
) STRICT;
