-- Suppliers change recipes: what studios say of a body is compared by the year in which their bags arrived.

ALTER TABLE summary ADD COLUMN year int NOT NULL DEFAULT 0; -- of the newest bag; 0: not said

-- pool_year is what a body loses where it matures, as the studios of one year say together; of five studios up.
CREATE TABLE pool_year (
  body    uuid NOT NULL,
  model   text NOT NULL,
  made    timestamptz NOT NULL,
  year    int NOT NULL,
  studios int NOT NULL,
  mean    float8 NOT NULL, -- log-percent
  sd      float8 NOT NULL, -- of the mean
  PRIMARY KEY (body, model, made, year)
);
