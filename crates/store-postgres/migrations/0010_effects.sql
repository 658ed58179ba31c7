-- What each change does to the rows of the tables, so that they can be derived from the journal. Entries that are there by now tell
-- none; if there are any, a checkpoint with every row is wanted, from which the journal can be replayed.
ALTER TABLE journal ADD COLUMN effects_json TEXT CHECK (effects_json IS NULL OR effects_json::json IS NOT NULL);
ALTER TABLE journal_inbox ADD COLUMN effects_json TEXT CHECK (effects_json IS NULL OR effects_json::json IS NOT NULL);

INSERT INTO meta (key, value) SELECT 'checkpoint_wanted', ''::bytea
WHERE EXISTS (SELECT 1 FROM journal) OR EXISTS (SELECT 1 FROM journal_inbox);
