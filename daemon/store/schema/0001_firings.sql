-- Firings and their curves. Written by the recorder, by whoever types a firing in, and by imports.

CREATE TABLE firing (
  row      INTEGER PRIMARY KEY,
  id       TEXT    NOT NULL UNIQUE, -- UUIDv7 made where the firing was first known
  kiln     TEXT    NOT NULL,
  number   INTEGER NOT NULL CHECK (number > 0), -- counts up for a kiln
  revision INTEGER NOT NULL CHECK (revision > 0), -- raised by whatever changes an answer about it
  status   TEXT    NOT NULL CHECK (status IN ('running', 'ended', 'incomplete')),
  source   TEXT    NOT NULL CHECK (source IN ('serial', 'hand', 'import')),
  began_ms INTEGER NOT NULL, -- wall clock of the first rise, ms since 1970 UTC
  over_ms  INTEGER, -- of the end; NULL while running
  trusted  INTEGER NOT NULL CHECK (trusted IN (0, 1)), -- the clock of all of that
  heat_model TEXT  NOT NULL, -- number of the model that worked its heat work out, '' if none did
  -- What a person said last, over what was heard or guessed; every saying stays in change.
  said_kind       TEXT CHECK (said_kind IN ('bisque', 'glaze', 'once', 'other')), -- NULL: not said
  said_atmosphere TEXT CHECK (said_atmosphere IN ('oxidation', 'reduction', 'unknown')),
  said_status     TEXT CHECK (said_status IN ('ended', 'incomplete')),
  said_note       TEXT,
  stands   TEXT GENERATED ALWAYS AS (CASE status WHEN 'running' THEN status ELSE coalesce(said_status, status) END) VIRTUAL, -- the status that holds
  -- All that is known without the curve, in the form of summary.go. One column, because a list
  -- of a thousand firings took three times as long with thirty.
  summary  BLOB    NOT NULL,
  UNIQUE (kiln, number)
) STRICT;
CREATE UNIQUE INDEX one_running ON firing (kiln) WHERE status = 'running';
CREATE INDEX firing_by_time ON firing (began_ms);
CREATE INDEX firing_of_kiln_by_time ON firing (kiln, began_ms);

-- run holds the samples of firings that go on, in order: a few seconds each as they come, then
-- blocks of an hour (sealed). It has no second index, so that a commit touches one page of it; it
-- never holds more than the firings under way. The form of data stands in block.go.
CREATE TABLE run (
  row     INTEGER PRIMARY KEY,
  firing  INTEGER NOT NULL REFERENCES firing (row),
  rows    INTEGER NOT NULL CHECK (rows > 0), -- samples in it
  sealed  INTEGER NOT NULL CHECK (sealed IN (0, 1)),
  data    BLOB    NOT NULL,
  line    TEXT -- first line of a reading in it that was not good, as it came; NULL: none, or sealed
) STRICT;

-- curve holds the samples of a firing that is over: its blocks one after another, the length
-- before each. Rowid tables: in one WITHOUT ROWID a long blob would spill at a quarter page.
CREATE TABLE curve (
  firing  INTEGER PRIMARY KEY REFERENCES firing (row),
  data    BLOB    NOT NULL
) STRICT;

-- envelope holds the lowest and highest reading of each minute of a firing that is over. It can
-- always be made again from the curve. The form of data stands in envelope.go.
CREATE TABLE envelope (
  firing  INTEGER PRIMARY KEY REFERENCES firing (row),
  data    BLOB    NOT NULL
) STRICT;

-- raw holds lines of readings that were not good, as they came, written when an hour is sealed and
-- kept for some weeks: at most 1 MB a day.
CREATE TABLE raw (
  row     INTEGER PRIMARY KEY,
  firing  INTEGER NOT NULL REFERENCES firing (row),
  at_ms   INTEGER NOT NULL, -- wall clock when they were put down, ms since 1970 UTC
  data    BLOB    NOT NULL -- text, deflated: each line after the time since the start of the machine, s, and a tab
) STRICT;

-- boot holds, for each running of the machine whose clock came to be trusted, how its wall clock
-- lay to the time since that start. Readings and firings of before that moment are put right by it.
CREATE TABLE boot (
  id        TEXT PRIMARY KEY,
  offset_ms INTEGER NOT NULL -- wall clock less time since the start, ms since 1970 UTC
) STRICT, WITHOUT ROWID;

-- notice is a message that went out or is to go; delivery is what came of it at one receiver.
-- Both are letters and no facts: the oldest go when there are a thousand.
CREATE TABLE notice (
  n       INTEGER PRIMARY KEY, -- order in which they were written
  id      TEXT    NOT NULL UNIQUE, -- UUID, the same at every try
  event   TEXT    NOT NULL,
  state   TEXT    NOT NULL CHECK (state IN ('began', 'cleared', 'once')),
  kiln    TEXT    NOT NULL, -- '' of the studio
  link    TEXT    NOT NULL, -- the page that it speaks of
  at_ms   INTEGER NOT NULL, -- wall clock, ms since 1970 UTC
  body    TEXT    NOT NULL CHECK (json_valid(body)) -- as sent
) STRICT;
CREATE INDEX notice_of_event ON notice (event, kiln, link, n);

CREATE TABLE delivery (
  n        INTEGER NOT NULL REFERENCES notice (n) ON DELETE CASCADE,
  receiver TEXT    NOT NULL,
  outcome  TEXT    NOT NULL CHECK (outcome IN ('waiting', 'sent', 'gave_up')),
  tries    INTEGER NOT NULL,
  answer   TEXT    NOT NULL, -- of the last try
  at_ms    INTEGER NOT NULL, -- of the last try, or of the message
  PRIMARY KEY (n, receiver)
) STRICT, WITHOUT ROWID;

-- program says which one brought the tables to where they are, for an older one to name.
CREATE TABLE program (
  one     INTEGER PRIMARY KEY CHECK (one = 1),
  version TEXT    NOT NULL
) STRICT;
