-- Kilns that people add and rename, what they say of usual firings, and shares of a mix.

-- kiln holds the kilns that a person added. The settings may have one of the same name: field by field
-- theirs holds then.
CREATE TABLE kiln (
  kiln TEXT PRIMARY KEY,
  fuel TEXT NOT NULL CHECK (fuel IN ('', 'electric', 'gas', 'wood', 'other')),
  rev  INTEGER NOT NULL REFERENCES change (seq)
) STRICT, WITHOUT ROWID;

-- kiln_was holds names that kilns had. No kiln of the record has one of them.
CREATE TABLE kiln_was (
  was  TEXT PRIMARY KEY,
  kiln TEXT NOT NULL, -- its name now
  rev  INTEGER NOT NULL REFERENCES change (seq)
) STRICT, WITHOUT ROWID;

-- usual holds what was said of the usual firings of a kiln; the last one of a sort and name holds.
CREATE TABLE usual (
  id          TEXT PRIMARY KEY, -- UUID made by the client
  seq         INTEGER NOT NULL UNIQUE REFERENCES change (seq),
  kiln        TEXT NOT NULL,
  kind        TEXT NOT NULL CHECK (kind IN ('bisque', 'glaze', 'once', 'other')),
  atmosphere  TEXT NOT NULL CHECK (atmosphere IN ('oxidation', 'reduction', 'unknown')),
  what        TEXT NOT NULL CHECK (what IN ('pin', 'release', 'new', 'second')),
  name        TEXT NOT NULL, -- of a second one; '' of the first
  heat_work_c REAL CHECK (heat_work_c BETWEEN 500 AND 1400), -- of pin and second; NULL of the others
  by          TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX usual_of_kiln ON usual (kiln, seq);

ALTER TABLE batch_parent ADD COLUMN share REAL NOT NULL DEFAULT 0 CHECK (share BETWEEN 0 AND 1); -- of the mix, all of a mix 1 together; 0: not said, equal shares
