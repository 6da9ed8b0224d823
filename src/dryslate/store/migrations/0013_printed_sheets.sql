-- Sheets that were printed, so that a photo of one can be matched.

-- Printed pages; rows are only ever added.
CREATE TABLE printed_sheets (
    sheet_id TEXT PRIMARY KEY CHECK (length(sheet_id) = 12),  -- The twelve digits on the page, in markers and in print.
    kind TEXT NOT NULL,                    -- What it is for: a design, permanent_plot or tagged_colony.
    layout_version INTEGER NOT NULL CHECK (layout_version > 0),  -- Version of the geometry of its cells.
    unit TEXT NOT NULL DEFAULT '',         -- Unit or tag printed on it; empty where it was left blank.
    language TEXT NOT NULL,                -- Language of its words, such as en or fr.
    content TEXT NOT NULL,                 -- JSON: paper, page and what was printed on it beforehand; its geometry is made from this.
    observer TEXT NOT NULL REFERENCES observers,  -- Who printed it.
    printed_at TEXT NOT NULL               -- When, ISO 8601 with its offset from UTC (Z: UTC).
) STRICT;
CREATE TRIGGER printed_sheets_keep_rows BEFORE DELETE ON printed_sheets BEGIN
    SELECT RAISE(ABORT, 'printed sheets are only added: no row may be taken out');
END;
CREATE TRIGGER printed_sheets_keep_words BEFORE UPDATE ON printed_sheets BEGIN
    SELECT RAISE(ABORT, 'printed sheets are only added: no row may be changed');
END;
