-- What several studios tell of a clay that they all buy is used without their collector, for ever, and goes with
-- the copies.

CREATE TABLE clay_body (
  clay     TEXT PRIMARY KEY, -- id of a clay of this studio
  body     TEXT NOT NULL, -- of the collector's catalogue, as its owner picked it: JSON
  yes_life TEXT NOT NULL, -- life of the record in which its owner said yes to telling of it; '' no
  sent     TEXT NOT NULL, -- the last body that was sent, as it went; '' none is there
  told     TEXT -- what other studios tell: JSON; NULL nothing
) STRICT, WITHOUT ROWID;
