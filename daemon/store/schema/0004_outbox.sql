-- What a collector has of this record. It is no part of the record: losing it costs a repeat.

-- outbox holds one cursor for each collector: every change of that life up to have is there.
CREATE TABLE outbox (
  collector TEXT    PRIMARY KEY, -- its address
  life      TEXT    NOT NULL, -- UUIDv7 of the record that have belongs to
  have      INTEGER NOT NULL CHECK (have >= 0),
  at_ms     INTEGER NOT NULL -- wall clock when this was written, ms since 1970 UTC
) STRICT, WITHOUT ROWID;

-- outbox_firing holds what of each firing is there.
CREATE TABLE outbox_firing (
  collector TEXT    NOT NULL,
  firing    TEXT    NOT NULL, -- its id
  revision  INTEGER NOT NULL, -- that was sent
  curve     INTEGER NOT NULL, -- CRC-32C of the curve that was sent; 0: none
  PRIMARY KEY (collector, firing)
) STRICT, WITHOUT ROWID;
