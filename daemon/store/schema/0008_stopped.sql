-- A record that a person ended can be taken back for ten minutes, over a restart too.

-- stopped holds the firings whose record a person ended and which can still go on. What is heard meanwhile lies
-- in run.
CREATE TABLE stopped (
  firing   INTEGER PRIMARY KEY REFERENCES firing (row),
  boot     TEXT    NOT NULL, -- the running of the machine in which it was stopped
  since_ms INTEGER NOT NULL, -- when, since its start
  at_ms    INTEGER NOT NULL, -- and by the wall clock, ms since 1970 UTC
  trusted  INTEGER NOT NULL CHECK (trusted IN (0, 1)), -- that clock could be trusted
  instead  TEXT    NOT NULL, -- id of the firing that was begun in its place; '' none
  load     TEXT    NOT NULL, -- id of the load whose unpacking ended it; '' none
  summary  BLOB    NOT NULL -- of the firing while it went on, in the form of summary.go
) STRICT;
