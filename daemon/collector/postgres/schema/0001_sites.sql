-- Records of studios as they arrive. PostgreSQL 15 and up. No sequences, triggers, advisory locks, LISTEN, and no
-- foreign keys across partitions: the tables of a site may be distributed by site.

CREATE TABLE site (
  site       uuid PRIMARY KEY, -- UUID of the studio's record
  name       text NOT NULL, -- as the collector's owner calls it
  token      bytea NOT NULL, -- SHA-256 of its key; empty: the first key that comes until open_until is taken
  open_until timestamptz,
  life       uuid NOT NULL, -- of the record: all that is shown is of this life
  have       bigint NOT NULL CHECK (have >= 0), -- every change up to this number is there
  next_life  uuid, -- the record went back and is sent anew; it takes the place of life when it has caught up
  next_have  bigint NOT NULL DEFAULT 0,
  past       uuid[] NOT NULL DEFAULT '{}', -- lives that are over
  forked     timestamptz, -- two machines said that they are this studio
  revoked    timestamptz,
  seen       timestamptz, -- when it was heard last
  last       bigint NOT NULL DEFAULT 0, -- its newest change, as it said
  form       int NOT NULL DEFAULT 0, -- of its messages
  version    text NOT NULL DEFAULT '' -- of its program
);
CREATE INDEX site_of_token ON site (token);

CREATE TABLE invite (
  code  bytea PRIMARY KEY, -- SHA-256
  name  text NOT NULL,
  site  uuid, -- NULL: a studio that is not there yet
  until timestamptz NOT NULL
);

CREATE TABLE fact (
  site    uuid NOT NULL,
  life    uuid NOT NULL,
  seq     bigint NOT NULL,
  kind    text NOT NULL,
  op      text NOT NULL,
  id      text NOT NULL,
  at      timestamptz NOT NULL, -- by the studio's clock
  trusted bool NOT NULL, -- that clock could be trusted
  boot    text NOT NULL, -- the running of its machine
  body    jsonb NOT NULL,
  PRIMARY KEY (site, life, seq)
) PARTITION BY HASH (site);
CREATE TABLE fact_00 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 0);
CREATE TABLE fact_01 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 1);
CREATE TABLE fact_02 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 2);
CREATE TABLE fact_03 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 3);
CREATE TABLE fact_04 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 4);
CREATE TABLE fact_05 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 5);
CREATE TABLE fact_06 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 6);
CREATE TABLE fact_07 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 7);
CREATE TABLE fact_08 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 8);
CREATE TABLE fact_09 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 9);
CREATE TABLE fact_10 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 10);
CREATE TABLE fact_11 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 11);
CREATE TABLE fact_12 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 12);
CREATE TABLE fact_13 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 13);
CREATE TABLE fact_14 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 14);
CREATE TABLE fact_15 PARTITION OF fact FOR VALUES WITH (MODULUS 16, REMAINDER 15);
CREATE INDEX fact_of ON fact (site, kind, id);

CREATE TABLE boot (
  site      uuid NOT NULL,
  life      uuid NOT NULL,
  boot      text NOT NULL,
  offset_ms bigint NOT NULL, -- wall clock less time since the start, ms since 1970 UTC
  PRIMARY KEY (site, life, boot)
) PARTITION BY HASH (site);
CREATE TABLE boot_00 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 0);
CREATE TABLE boot_01 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 1);
CREATE TABLE boot_02 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 2);
CREATE TABLE boot_03 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 3);
CREATE TABLE boot_04 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 4);
CREATE TABLE boot_05 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 5);
CREATE TABLE boot_06 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 6);
CREATE TABLE boot_07 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 7);
CREATE TABLE boot_08 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 8);
CREATE TABLE boot_09 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 9);
CREATE TABLE boot_10 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 10);
CREATE TABLE boot_11 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 11);
CREATE TABLE boot_12 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 12);
CREATE TABLE boot_13 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 13);
CREATE TABLE boot_14 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 14);
CREATE TABLE boot_15 PARTITION OF boot FOR VALUES WITH (MODULUS 16, REMAINDER 15);

CREATE TABLE firing (
  site     uuid NOT NULL,
  life     uuid NOT NULL,
  firing   uuid NOT NULL,
  revision bigint NOT NULL, -- rises only
  kiln     text NOT NULL,
  began    timestamptz NOT NULL,
  over     timestamptz,
  summary  jsonb NOT NULL, -- as it was sent
  PRIMARY KEY (site, life, firing)
) PARTITION BY HASH (site);
CREATE TABLE firing_00 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 0);
CREATE TABLE firing_01 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 1);
CREATE TABLE firing_02 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 2);
CREATE TABLE firing_03 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 3);
CREATE TABLE firing_04 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 4);
CREATE TABLE firing_05 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 5);
CREATE TABLE firing_06 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 6);
CREATE TABLE firing_07 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 7);
CREATE TABLE firing_08 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 8);
CREATE TABLE firing_09 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 9);
CREATE TABLE firing_10 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 10);
CREATE TABLE firing_11 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 11);
CREATE TABLE firing_12 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 12);
CREATE TABLE firing_13 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 13);
CREATE TABLE firing_14 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 14);
CREATE TABLE firing_15 PARTITION OF firing FOR VALUES WITH (MODULUS 16, REMAINDER 15);
CREATE INDEX firing_by_time ON firing (site, began);

CREATE TABLE curve (
  site     uuid NOT NULL,
  life     uuid NOT NULL,
  firing   uuid NOT NULL,
  revision bigint NOT NULL,
  sum      bigint NOT NULL, -- CRC-32C of data
  data     bytea NOT NULL, -- sealed blocks one after another, the length before each
  PRIMARY KEY (site, life, firing)
) PARTITION BY HASH (site);
ALTER TABLE curve ALTER COLUMN data SET STORAGE EXTERNAL;
CREATE TABLE curve_00 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 0);
CREATE TABLE curve_01 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 1);
CREATE TABLE curve_02 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 2);
CREATE TABLE curve_03 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 3);
CREATE TABLE curve_04 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 4);
CREATE TABLE curve_05 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 5);
CREATE TABLE curve_06 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 6);
CREATE TABLE curve_07 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 7);
CREATE TABLE curve_08 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 8);
CREATE TABLE curve_09 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 9);
CREATE TABLE curve_10 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 10);
CREATE TABLE curve_11 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 11);
CREATE TABLE curve_12 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 12);
CREATE TABLE curve_13 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 13);
CREATE TABLE curve_14 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 14);
CREATE TABLE curve_15 PARTITION OF curve FOR VALUES WITH (MODULUS 16, REMAINDER 15);

CREATE TABLE live (
  site uuid NOT NULL,
  kiln text NOT NULL,
  at   timestamptz NOT NULL, -- when it arrived
  said jsonb NOT NULL,
  PRIMARY KEY (site, kiln)
) WITH (fillfactor = 50);

CREATE TABLE gone (mark bytea PRIMARY KEY, at timestamptz NOT NULL); -- SHA-256 of the keys of forgotten sites

CREATE TABLE session (cookie bytea PRIMARY KEY, mark text NOT NULL, until timestamptz NOT NULL); -- of the owner's browsers, by SHA-256
