-- Entries tell what was before a change in every column that it changes, and what is done to receivers of events. Those that are there by now
-- do not; if there are any, a checkpoint with every row is wanted, from which the journal can be replayed.
INSERT INTO meta (key, value) SELECT 'checkpoint_wanted', x'' WHERE NOT EXISTS (SELECT 1 FROM meta WHERE key = 'checkpoint_wanted')
AND (EXISTS (SELECT 1 FROM journal));
