-- How the lids of a board sat is a lid result, here as in what people read.

CREATE TABLE change_now (
  seq     INTEGER PRIMARY KEY AUTOINCREMENT,
  kind    TEXT    NOT NULL CHECK (kind IN ('kiln', 'probe', 'mark', 'firing', 'cone', 'note', 'tick', 'load', 'bar', 'reading', 'clay', 'batch', 'pot', 'lid_result', 'move', 'boot')),
  op      TEXT    NOT NULL CHECK (op IN ('put', 'strike', 'restore', 'supersede', 'confirm', 'count', 'close', 'forget', 'begin', 'end', 'correct')),
  id      TEXT    NOT NULL, -- UUID of the fact; the name of a clay, tern/B of a batch, the code of a bar
  at_ms   INTEGER NOT NULL, -- wall clock, ms since 1970 UTC; for a reading, less the time it waited in a phone
  trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)), -- that clock could be trusted
  boot    TEXT    NOT NULL, -- the running of the machine, whose clock may be put right later
  body    TEXT    NOT NULL CHECK (json_valid(body)) -- what was said, or what was found, as JSON
) STRICT;
INSERT INTO change_now SELECT seq, iif(kind = 'verdict', 'lid_result', kind), op, id, at_ms, trusted, boot, body FROM change;
UPDATE sqlite_sequence SET seq = (SELECT seq FROM sqlite_sequence WHERE name = 'change') WHERE name = 'change_now';
DROP TABLE change;
ALTER TABLE change_now RENAME TO change;
CREATE INDEX change_of_fact ON change (id, kind, op);

CREATE TABLE act_now (
  kind TEXT    NOT NULL CHECK (kind IN ('reading', 'lid_result', 'cone', 'note')),
  id   TEXT    NOT NULL, -- of the fact
  op   TEXT    NOT NULL CHECK (op IN ('strike', 'confirm', 'count')),
  by   TEXT    NOT NULL,
  why  TEXT    NOT NULL,
  seq  INTEGER NOT NULL REFERENCES change (seq),
  PRIMARY KEY (kind, id, op)
) STRICT, WITHOUT ROWID;
INSERT INTO act_now SELECT iif(kind = 'verdict', 'lid_result', kind), id, op, by, why, seq FROM act;
DROP TABLE act;
ALTER TABLE act_now RENAME TO act;

ALTER TABLE verdict RENAME TO lid_result;
DROP INDEX verdict_of_form;
CREATE INDEX lid_result_of_form ON lid_result (form, seq);
