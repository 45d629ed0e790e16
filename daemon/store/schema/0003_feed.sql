-- Whoever follows the record learns of everything by a change with a number of its own: that a firing
-- began, ended or was corrected, that a clock was put right, that a maker was forgotten.

CREATE TABLE change_now (
  seq     INTEGER PRIMARY KEY AUTOINCREMENT,
  kind    TEXT    NOT NULL CHECK (kind IN ('kiln', 'probe', 'mark', 'firing', 'cone', 'note', 'tick', 'load', 'bar', 'reading', 'clay', 'batch', 'pot', 'verdict', 'move', 'boot')),
  op      TEXT    NOT NULL CHECK (op IN ('put', 'strike', 'supersede', 'confirm', 'count', 'close', 'forget', 'begin', 'end', 'correct')),
  id      TEXT    NOT NULL, -- UUID of the fact; the name of a clay, tern/B of a batch, the code of a bar
  at_ms   INTEGER NOT NULL, -- wall clock, ms since 1970 UTC; for a reading, less the time it waited in a phone
  trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)), -- that clock could be trusted
  boot    TEXT    NOT NULL, -- the running of the machine, whose clock may be put right later
  body    TEXT    NOT NULL CHECK (json_valid(body)) -- what was said, or what was found, as JSON
) STRICT;
INSERT INTO change_now SELECT seq, kind, op, id, at_ms, trusted, boot, body FROM change;
DROP TABLE change;
ALTER TABLE change_now RENAME TO change;
CREATE INDEX change_of_fact ON change (id, kind, op);

-- A record that goes back to an earlier moment begins another life: its numbers come again, for other
-- facts. Whoever follows takes a new life from its beginning.
ALTER TABLE site ADD COLUMN life TEXT NOT NULL DEFAULT ''; -- UUIDv7
