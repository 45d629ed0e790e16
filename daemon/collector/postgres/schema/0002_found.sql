-- What the studio's program found of a fact when it came, which is no part of what was said. NULL: nothing.
ALTER TABLE fact ADD COLUMN found jsonb;
