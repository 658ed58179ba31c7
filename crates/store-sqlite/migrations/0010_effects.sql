-- What each change does to the rows of the tables, so that they can be derived from the journal. Entries that are there by now tell
-- none; if there are any, a checkpoint with every row is wanted, from which the journal can be replayed.
ALTER TABLE journal ADD COLUMN effects_json TEXT CHECK (json_valid(effects_json));

INSERT INTO meta (key, value) SELECT 'checkpoint_wanted', x'' WHERE EXISTS (SELECT 1 FROM journal);

-- The last entry, so that one shows that was taken out at the end.
CREATE TABLE journal_head (
    one      INTEGER PRIMARY KEY DEFAULT 1 CHECK (one = 1),
    sequence INTEGER NOT NULL,
    hash     BLOB NOT NULL CHECK (length(hash) = 32)
) STRICT;

INSERT INTO journal_head (sequence, hash)
SELECT COALESCE(MAX(sequence), 0),
       COALESCE((SELECT hash FROM journal ORDER BY sequence DESC LIMIT 1), zeroblob(32))
FROM journal;
