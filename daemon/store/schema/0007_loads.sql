-- A load goes through several firings: one that broke off, a candling, a reheat. And one that nobody fired
-- can be called off.

CREATE TABLE load_firing (
  firing TEXT PRIMARY KEY, -- id; a firing has one load. It may not be known here yet
  load   TEXT NOT NULL REFERENCES load (id)
) STRICT, WITHOUT ROWID;
CREATE INDEX firing_of_load ON load_firing (load, firing);
INSERT INTO load_firing SELECT firing, id FROM load WHERE firing IS NOT NULL;

CREATE TABLE load_now (
  id          TEXT PRIMARY KEY, -- UUID
  number      INTEGER NOT NULL UNIQUE, -- of the site: Load 14
  kiln        TEXT NOT NULL, -- '' for loads of long ago, taken in from a table, and of heat that was told
  kind        TEXT NOT NULL CHECK (kind IN ('bisque', 'glaze', 'once', 'other')),
  atmosphere  TEXT NOT NULL CHECK (atmosphere IN ('oxidation', 'reduction', 'unknown')),
  packed_by   TEXT NOT NULL,
  note        TEXT NOT NULL,
  heat_work_c REAL, -- stated by hand where there is no firing
  opened      INTEGER NOT NULL REFERENCES change (seq), -- when it was entered
  unpacked_ms INTEGER, -- ms since 1970 UTC; NULL: not unpacked
  closed_by   TEXT NOT NULL DEFAULT '', -- who unpacked it, or called it off
  called_off_ms INTEGER, -- ms since 1970 UTC; NULL: it was not
  rev         INTEGER NOT NULL REFERENCES change (seq)
) STRICT, WITHOUT ROWID;
INSERT INTO load_now SELECT id, number, kiln, kind, atmosphere, packed_by, note, heat_work_c, opened, unpacked_ms, closed_by, NULL, rev FROM load;
DROP TABLE load;
ALTER TABLE load_now RENAME TO load;
CREATE INDEX load_not_out ON load (kiln, number) WHERE unpacked_ms IS NULL AND called_off_ms IS NULL;

-- Below 550 °C no ware is fired: the load stays as it was packed.
ALTER TABLE firing ADD COLUMN peak_c REAL; -- of the control channel, °C; NULL: not known
