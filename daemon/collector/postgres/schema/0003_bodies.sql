-- Bodies that several studios buy, what their own bars say of them, and what all say together.

CREATE TABLE body (
  body      uuid PRIMARY KEY,
  supplier  text NOT NULL,
  code      text NOT NULL, -- the supplier's number for it; '' none
  name      text NOT NULL,
  cone      text NOT NULL, -- it matures at
  matures_c float8 NOT NULL, -- the same as heat work; all summaries of it are told for this
  became    uuid -- it was merged into that one; no studio sends to it any more
);

-- A summary is what one studio's bars say of one body: numbers alone.
CREATE TABLE summary (
  body  uuid NOT NULL,
  model text NOT NULL, -- of the program that summed up
  site  uuid NOT NULL,
  bars  int NOT NULL,
  info  bytea NOT NULL, -- shrinkage.Summary
  at    timestamptz NOT NULL, -- when it arrived, or last came as another
  PRIMARY KEY (body, model, site)
);

-- A pool is what all summaries of a body said at one time; the last ten of each are kept.
CREATE TABLE pool (
  body    uuid NOT NULL,
  model   text NOT NULL,
  made    timestamptz NOT NULL,
  studios int NOT NULL,
  bars    int NOT NULL,
  back    bool NOT NULL DEFAULT false, -- its operator went back behind it
  PRIMARY KEY (body, model, made)
);

-- prior is a pool as one studio is told it, its own summary left out; of site 0 as one that sent none.
CREATE TABLE prior (
  body   uuid NOT NULL,
  model  text NOT NULL,
  made   timestamptz NOT NULL,
  site   uuid NOT NULL,
  prior  bytea NOT NULL, -- shrinkage.Prior
  unlike float8 NOT NULL, -- chance that its bars are of another kind than the others'
  PRIMARY KEY (body, model, made, site)
);
