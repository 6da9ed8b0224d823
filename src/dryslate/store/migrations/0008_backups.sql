-- Backups of the records.

-- Backups of this database and the team's own files; rows are only ever added.
CREATE TABLE backups (
    backup_no INTEGER PRIMARY KEY AUTOINCREMENT,  -- Counts up.
    folder TEXT NOT NULL,                  -- Whole path of the backup's own folder.
    drive TEXT NOT NULL,                   -- Disks below that folder, in words.
    is_proved INTEGER NOT NULL CHECK (is_proved IN (0, 1)),  -- 1 where all was read back from the drive itself, and it is another than the project's.
    n_files INTEGER NOT NULL CHECK (n_files > 0),  -- Files in it: the database and the team's own.
    size_bytes INTEGER NOT NULL CHECK (size_bytes > 0),  -- Size of all of them, in bytes.
    database_sha256 TEXT NOT NULL,         -- SHA-256 of the database in it.
    last_change_no INTEGER NOT NULL,       -- The newest line of the change log that is in it.
    observer TEXT NOT NULL REFERENCES observers,  -- Who made it.
    made_utc TEXT NOT NULL,                -- When, UTC.
    UNIQUE (folder, made_utc)
) STRICT;
CREATE TRIGGER backups_keep_rows BEFORE DELETE ON backups BEGIN
    SELECT RAISE(ABORT, 'backups are only added: no row may be taken out');
END;
CREATE TRIGGER backups_keep_words BEFORE UPDATE ON backups BEGIN
    SELECT RAISE(ABORT, 'backups are only added: no row may be changed');
END;
