-- Facts of the bench: clays, batches, bars, readings, loads, how lids sat, pot cards, and
-- what people saw of a firing. Facts are appended; striking, confirming and counting are
-- facts of their own (table act). Clays, batches, bars, loads and pot cards are edited:
-- their rows hold what was said last, and every saying stays in change.
-- Lengths are in millimetres, temperatures in °C, masses in grams; "by" and the other
-- columns of a maker hold a maker's mark of at most 8 characters, or ''.

-- change is the record of all that happened, in order. seq never falls and never repeats.
-- It alone knows when a fact came, so that a clock put right later is put right here.
CREATE TABLE change (
  seq     INTEGER PRIMARY KEY AUTOINCREMENT,
  kind    TEXT    NOT NULL CHECK (kind IN ('kiln', 'probe', 'mark', 'firing', 'cone', 'note', 'tick', 'load', 'bar', 'reading', 'clay', 'batch', 'pot', 'verdict', 'move')),
  op      TEXT    NOT NULL CHECK (op IN ('put', 'strike', 'supersede', 'confirm', 'count', 'close', 'forget')),
  id      TEXT    NOT NULL, -- UUID of the fact; the name of a clay, tern/B of a batch, the code of a bar
  at_ms   INTEGER NOT NULL, -- wall clock, ms since 1970 UTC; for a reading, less the time it waited in a phone
  trusted INTEGER NOT NULL CHECK (trusted IN (0, 1)), -- that clock could be trusted
  boot    TEXT    NOT NULL, -- the running of the machine, whose clock may be put right later
  body    TEXT    NOT NULL CHECK (json_valid(body)) -- what was said, as JSON
) STRICT;
CREATE INDEX change_of_fact ON change (id, kind, op);

CREATE TABLE clay (
  clay               TEXT PRIMARY KEY,
  name               TEXT NOT NULL,
  maker_code         TEXT NOT NULL, -- the supplier's own number
  matures_cone       TEXT NOT NULL, -- cone on the bag, or ''
  stated_total_ratio REAL NOT NULL CHECK (stated_total_ratio >= 0 AND stated_total_ratio < 1), -- share of the wet length; 0: not stated
  stated_cone        TEXT NOT NULL,
  grog               TEXT NOT NULL,
  note               TEXT NOT NULL,
  rev                INTEGER NOT NULL REFERENCES change (seq) -- last change of this row or of one of its batches
) STRICT, WITHOUT ROWID;

CREATE TABLE batch (
  clay       TEXT NOT NULL REFERENCES clay (clay),
  batch      TEXT NOT NULL,
  kind       TEXT NOT NULL CHECK (kind IN ('bought', 'reclaim', 'blend', 'repugged')),
  stamp      TEXT NOT NULL,
  arrived_on TEXT NOT NULL, -- date, or ''
  open       INTEGER NOT NULL CHECK (open IN (0, 1)),
  note       TEXT NOT NULL,
  made       INTEGER NOT NULL REFERENCES change (seq), -- when it was entered
  rev        INTEGER NOT NULL REFERENCES change (seq),
  PRIMARY KEY (clay, batch)
) STRICT, WITHOUT ROWID;

CREATE TABLE batch_parent (
  clay         TEXT NOT NULL,
  batch        TEXT NOT NULL,
  place        INTEGER NOT NULL, -- order in which they were named
  parent_clay  TEXT NOT NULL,
  parent_batch TEXT NOT NULL,
  PRIMARY KEY (clay, batch, place),
  FOREIGN KEY (clay, batch) REFERENCES batch (clay, batch),
  FOREIGN KEY (parent_clay, parent_batch) REFERENCES batch (clay, batch)
) STRICT, WITHOUT ROWID;

CREATE TABLE bar (
  code           TEXT PRIMARY KEY, -- never used twice on a site
  id             TEXT NOT NULL UNIQUE, -- UUID
  clay           TEXT NOT NULL,
  batch          TEXT NOT NULL,
  forming        TEXT NOT NULL CHECK (forming IN ('rolled', 'extruded', 'pulled', 'thrown_ring', 'cut_wall', 'cast', 'pressed')),
  mark_length_mm REAL NOT NULL CHECK (mark_length_mm > 0), -- distance of the marks as laid out
  marks          INTEGER NOT NULL CHECK (marks BETWEEN 1 AND 9), -- pairs of marks, or directions of a ring
  made_on        TEXT NOT NULL, -- date, or ''
  by             TEXT NOT NULL,
  practice       INTEGER NOT NULL CHECK (practice IN (0, 1)), -- a learner's bar, out of the fit
  flags          TEXT NOT NULL, -- bent, bloated, glazed_mark, broken, in this order, with blanks between; '' none
  note           TEXT NOT NULL,
  rev            INTEGER NOT NULL REFERENCES change (seq), -- last change of the bar, its readings or its loads
  FOREIGN KEY (clay, batch) REFERENCES batch (clay, batch)
) STRICT, WITHOUT ROWID;
CREATE INDEX bar_of_clay ON bar (clay, code);
CREATE INDEX bar_of_batch ON bar (clay, batch, code);

CREATE TABLE reading (
  id           TEXT PRIMARY KEY, -- UUID made by the client
  bar          TEXT NOT NULL REFERENCES bar (code),
  seq          INTEGER NOT NULL UNIQUE REFERENCES change (seq), -- order of entry, and when
  mark         INTEGER NOT NULL CHECK (mark BETWEEN 0 AND 9), -- 0 for masses
  stage        TEXT NOT NULL CHECK (stage IN ('wet', 'soft', 'leather', 'dry', 'bisque', 'fired')),
  length_mm    REAL CHECK (length_mm > 0), -- mark to mark, on the cold bar; NULL for masses
  as_typed     TEXT NOT NULL, -- what stands for the exact length, in unit
  unit         TEXT NOT NULL CHECK (unit IN ('mm', 'cm', 'in', '32nds', '')),
  instrument   TEXT NOT NULL,
  step_mm      REAL NOT NULL CHECK (step_mm >= 0), -- smallest step of the instrument; 0: not said
  dry_g        REAL CHECK (dry_g > 0), -- the fired piece, dried; NULL for lengths
  saturated_g  REAL CHECK (saturated_g > 0),
  suspended_g  REAL CHECK (suspended_g > 0), -- in water; NULL: not weighed
  step_g       REAL,
  by           TEXT NOT NULL,
  queued_s     REAL NOT NULL CHECK (queued_s >= 0), -- time the entry waited in an open page
  unusual      INTEGER NOT NULL CHECK (unusual IN (0, 1)), -- outside belief when it came
  outside      INTEGER NOT NULL CHECK (outside IN (0, 1)), -- outside 0.72 to 1.01 of the wet length when it came
  slip         TEXT NOT NULL, -- the mistake that it looks like, or ''
  question     TEXT NOT NULL, -- what was asked about it, or ''
  supersedes   TEXT REFERENCES reading (id),
  struck       INTEGER NOT NULL DEFAULT 0 CHECK (struck IN (0, 1)), -- there is an act of striking it
  CHECK ((length_mm IS NULL) = (dry_g IS NOT NULL))
) STRICT, WITHOUT ROWID;
CREATE INDEX reading_of_bar ON reading (bar, seq);

-- act is what somebody did to a fact: struck it, confirmed it, counted it. Each once.
CREATE TABLE act (
  kind TEXT    NOT NULL CHECK (kind IN ('reading', 'verdict', 'cone', 'note')),
  id   TEXT    NOT NULL, -- of the fact
  op   TEXT    NOT NULL CHECK (op IN ('strike', 'confirm', 'count')),
  by   TEXT    NOT NULL,
  why  TEXT    NOT NULL,
  seq  INTEGER NOT NULL REFERENCES change (seq),
  PRIMARY KEY (kind, id, op)
) STRICT, WITHOUT ROWID;

CREATE TABLE load (
  id          TEXT PRIMARY KEY, -- UUID
  number      INTEGER NOT NULL UNIQUE, -- of the site: Load 14
  kiln        TEXT NOT NULL, -- '' for loads of long ago, taken in from a table
  kind        TEXT NOT NULL CHECK (kind IN ('bisque', 'glaze', 'once', 'other')),
  atmosphere  TEXT NOT NULL CHECK (atmosphere IN ('oxidation', 'reduction', 'unknown')),
  firing      TEXT UNIQUE, -- id of the firing; NULL: none yet. It may not be known here yet
  packed_by   TEXT NOT NULL,
  note        TEXT NOT NULL,
  heat_work_c REAL, -- stated by hand where there is no firing
  opened      INTEGER NOT NULL REFERENCES change (seq), -- when it was entered
  unpacked_ms INTEGER, -- ms since 1970 UTC; NULL: not unpacked
  closed_by   TEXT NOT NULL DEFAULT '',
  rev         INTEGER NOT NULL REFERENCES change (seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX load_waiting_for_heat ON load (kiln, number) WHERE firing IS NULL AND unpacked_ms IS NULL;

CREATE TABLE load_bar (
  load     TEXT    NOT NULL REFERENCES load (id),
  bar      TEXT    NOT NULL REFERENCES bar (code),
  shelf    TEXT    NOT NULL,
  seq      INTEGER NOT NULL REFERENCES change (seq), -- when it was first placed there
  measured INTEGER NOT NULL CHECK (measured IN (0, 1)), -- a length of the stage after this load is there, or none is wanted
  PRIMARY KEY (load, bar)
) STRICT, WITHOUT ROWID;
CREATE INDEX load_of_bar ON load_bar (bar, load);
CREATE INDEX load_bar_waiting ON load_bar (load, bar) WHERE measured = 0;

CREATE TABLE verdict (
  id            TEXT PRIMARY KEY, -- UUID made by the client: one board of lids
  seq           INTEGER NOT NULL UNIQUE REFERENCES change (seq),
  load          TEXT REFERENCES load (id),
  pots          TEXT NOT NULL CHECK (json_valid(pots)), -- list of ids of the pot cards whose lids these are
  form          TEXT NOT NULL,
  maker         TEXT NOT NULL,
  seat          TEXT NOT NULL CHECK (seat IN ('inset', 'flange', 'cap', 'drop_in', 'over', 'stopper')),
  seat_glazed   INTEGER NOT NULL CHECK (seat_glazed IN (0, 1)),
  body_clay     TEXT NOT NULL,
  body_batch    TEXT NOT NULL,
  lid_clay      TEXT NOT NULL,
  lid_batch     TEXT NOT NULL,
  too_big       INTEGER NOT NULL CHECK (too_big >= 0),
  tight         INTEGER NOT NULL CHECK (tight >= 0),
  good          INTEGER NOT NULL CHECK (good >= 0),
  loose         INTEGER NOT NULL CHECK (loose >= 0),
  drops_in      INTEGER NOT NULL CHECK (drops_in >= 0),
  not_looked_at INTEGER NOT NULL CHECK (not_looked_at >= 0),
  glued         INTEGER NOT NULL CHECK (glued >= 0),
  rocks         INTEGER NOT NULL CHECK (rocks >= 0),
  chipped       INTEGER NOT NULL CHECK (chipped >= 0),
  dropped       INTEGER NOT NULL CHECK (dropped >= 0),
  plays_mm      TEXT NOT NULL CHECK (json_valid(plays_mm)), -- list of fired plays, across
  thrown_mm     TEXT NOT NULL CHECK (json_valid(thrown_mm)), -- list of widths as thrown
  least_play_mm REAL, -- limits in force when it was judged
  most_play_mm  REAL,
  bearing_mm    REAL,
  by            TEXT NOT NULL,
  FOREIGN KEY (body_clay, body_batch) REFERENCES batch (clay, batch),
  FOREIGN KEY (lid_clay, lid_batch) REFERENCES batch (clay, batch)
) STRICT, WITHOUT ROWID;
CREATE INDEX verdict_of_form ON verdict (form, seq);

CREATE TABLE pot (
  id           TEXT PRIMARY KEY, -- UUID
  mark         TEXT NOT NULL, -- maker's mark
  number       TEXT NOT NULL,
  form         TEXT NOT NULL,
  seat         TEXT NOT NULL CHECK (seat IN ('inset', 'flange', 'cap', 'drop_in', 'over', 'stopper')),
  seat_glazed  INTEGER NOT NULL CHECK (seat_glazed IN (0, 1)),
  together     TEXT NOT NULL CHECK (together IN ('in_place', 'same_load', 'apart', '')),
  collar_mm    TEXT NOT NULL CHECK (json_valid(collar_mm)), -- list, one a direction
  collar_stage TEXT NOT NULL CHECK (collar_stage IN ('wet', 'soft', 'leather', 'dry', 'bisque', 'fired')),
  opening_mm   REAL, -- of the ledge; NULL: not measured
  body_clay    TEXT NOT NULL,
  body_batch   TEXT NOT NULL,
  lid_clay     TEXT, -- NULL: not thrown yet
  lid_batch    TEXT,
  set_mm       REAL, -- width told for the lid
  lid_mm       REAL, -- the lid as measured once after throwing
  made_on      TEXT NOT NULL,
  note         TEXT NOT NULL,
  words        TEXT NOT NULL, -- what it is found by, in small letters
  rev          INTEGER NOT NULL REFERENCES change (seq),
  FOREIGN KEY (body_clay, body_batch) REFERENCES batch (clay, batch),
  FOREIGN KEY (lid_clay, lid_batch) REFERENCES batch (clay, batch)
) STRICT;
CREATE INDEX pot_found ON pot (rev, words, id); -- holds all that a search looks at

-- What people saw of a firing, or wrote beside it. The firing may be known here only later.
CREATE TABLE cone (
  id       TEXT PRIMARY KEY,
  seq      INTEGER NOT NULL UNIQUE REFERENCES change (seq),
  firing   TEXT NOT NULL,
  cone     TEXT NOT NULL,
  series   TEXT NOT NULL,
  shelf    TEXT NOT NULL,
  seen     TEXT NOT NULL CHECK (seen IN ('upright', 'leaning', 'down')),
  tilt_deg REAL CHECK (tilt_deg BETWEEN 0 AND 180), -- from upright; NULL: not said
  by       TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX cone_of_firing ON cone (firing, seq);

CREATE TABLE note (
  id       TEXT PRIMARY KEY,
  seq      INTEGER NOT NULL UNIQUE REFERENCES change (seq),
  firing   TEXT NOT NULL,
  text     TEXT NOT NULL,
  happened TEXT NOT NULL, -- RFC 3339 time that it speaks of, or ''
  incident INTEGER NOT NULL CHECK (incident IN (0, 1)),
  by       TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX note_of_firing ON note (firing, seq);

-- tick is one line of the check list at the start of a firing; the last of an item holds.
CREATE TABLE tick (
  id      TEXT PRIMARY KEY,
  seq     INTEGER NOT NULL UNIQUE REFERENCES change (seq),
  subject TEXT NOT NULL, -- id of the load or of the firing
  item    TEXT NOT NULL, -- id of the caution
  done    INTEGER NOT NULL CHECK (done IN (0, 1)),
  by      TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX tick_of_subject ON tick (subject, seq);

CREATE TABLE probe (
  id         TEXT PRIMARY KEY,
  kiln       TEXT NOT NULL,
  channel    TEXT NOT NULL,
  type       TEXT NOT NULL CHECK (type IN ('B', 'E', 'J', 'K', 'N', 'R', 'S', 'T')),
  class      INTEGER NOT NULL CHECK (class IN (1, 2)),
  fitted_on  TEXT NOT NULL, -- date
  removed_on TEXT NOT NULL, -- date, or '': still there
  note       TEXT NOT NULL,
  rev        INTEGER NOT NULL REFERENCES change (seq)
) STRICT, WITHOUT ROWID;
CREATE INDEX probe_of_kiln ON probe (kiln, channel, fitted_on);

CREATE TABLE unpacking_mark (
  id     TEXT PRIMARY KEY,
  seq    INTEGER NOT NULL UNIQUE REFERENCES change (seq),
  kiln   TEXT NOT NULL,
  mark_c REAL NOT NULL,
  reason TEXT NOT NULL, -- '' up to 50 °C
  by     TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX unpacking_mark_of_kiln ON unpacking_mark (kiln, seq);

-- session holds the phones that have shown the bench code.
CREATE TABLE session (
  key      BLOB    PRIMARY KEY, -- SHA-256 of the cookie
  mark     TEXT    NOT NULL, -- which code it was: a renewed code ends its sessions
  until_ms INTEGER NOT NULL -- wall clock, ms since 1970 UTC
) STRICT, WITHOUT ROWID;

-- site names this record, so that who reads several tells them apart.
CREATE TABLE site (
  one INTEGER PRIMARY KEY CHECK (one = 1),
  id  TEXT NOT NULL -- UUIDv7
) STRICT;

-- carried says what names of another site became here when its carry file was taken in, and how
-- far its record of changes was taken (kind change).
CREATE TABLE carried (
  site TEXT NOT NULL, -- id of the other site
  kind TEXT NOT NULL CHECK (kind IN ('clay', 'bar', 'kiln', 'change')),
  was  TEXT NOT NULL, -- name there; '' for change
  now  TEXT NOT NULL, -- name here; for change the number of the last one that was taken
  PRIMARY KEY (site, kind, was)
) STRICT, WITHOUT ROWID;
