-- What a pot card knows of its lid beside the width it was thrown to, and of the fired pot.
ALTER TABLE pot ADD COLUMN bowl_mm REAL; -- the lid as a bowl, before its rim was turned out
ALTER TABLE pot ADD COLUMN trim_most_mm REAL; -- that may come off its rim at leather-hard; NULL: it is not trimmed
ALTER TABLE pot ADD COLUMN fired_mm TEXT NOT NULL DEFAULT '[]' CHECK (json_valid(fired_mm)); -- list: the pot's gallery once fired
