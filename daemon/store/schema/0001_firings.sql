-- Firings and their curves. Written by the recorder alone.

CREATE TABLE firing (
  row     INTEGER PRIMARY KEY,
  id      TEXT    NOT NULL UNIQUE, -- UUIDv7 made by the recorder
  kiln    TEXT    NOT NULL,
  number  INTEGER NOT NULL CHECK (number > 0), -- counts up for a kiln
  status  TEXT    NOT NULL CHECK (status IN ('running', 'ended', 'incomplete')),
  began_ms INTEGER NOT NULL, -- wall clock of the first rise, ms since 1970 UTC
  over_ms INTEGER, -- of the end; NULL while running
  summary TEXT    NOT NULL CHECK (json_valid(summary)), -- all that is known without the curve
  UNIQUE (kiln, number)
) STRICT;
CREATE UNIQUE INDEX one_running ON firing (kiln) WHERE status = 'running';
CREATE INDEX firing_by_time ON firing (began_ms);

-- run holds samples of one firing in order: a few seconds each while it goes on, then an
-- hour each (sealed). The form of data stands in block.go.
CREATE TABLE run (
  row     INTEGER PRIMARY KEY,
  firing  INTEGER NOT NULL REFERENCES firing (row),
  rows    INTEGER NOT NULL CHECK (rows > 0), -- samples in it
  sealed  INTEGER NOT NULL CHECK (sealed IN (0, 1)),
  first_boot TEXT NOT NULL, -- stamp of its first sample: the same batch said again is known by it
  first_ns INTEGER NOT NULL, -- ns since the start of that boot
  data    BLOB    NOT NULL,
  UNIQUE (firing, first_boot, first_ns)
) STRICT;

-- told holds what people said of a firing; the last word of each holds.
CREATE TABLE told (
  row        INTEGER PRIMARY KEY,
  firing     TEXT    NOT NULL,
  kind       TEXT    CHECK (kind IN ('bisque', 'glaze', 'once', 'other')), -- NULL: not said
  atmosphere TEXT    CHECK (atmosphere IN ('oxidation', 'reduction', 'unknown')),
  at_ms      INTEGER NOT NULL
) STRICT;
CREATE INDEX told_of_firing ON told (firing, row);
