-- How a list is searched for, and how good its plan is known to be.
ALTER TABLE cut_lists ADD COLUMN level_order TEXT NOT NULL DEFAULT 'scrap,coils_opened,reel_changes,lots';
ALTER TABLE cut_lists ADD COLUMN search_rounds INTEGER NOT NULL DEFAULT 200 CHECK (search_rounds >= 0);
ALTER TABLE cut_lists ADD COLUMN time_budget_ms INTEGER CHECK (time_budget_ms >= 1);
ALTER TABLE cut_lists ADD COLUMN due_window INTEGER CHECK (due_window >= 0);
ALTER TABLE cut_lists ADD COLUMN fifo INTEGER NOT NULL DEFAULT 1 CHECK (fifo IN (0, 1));
ALTER TABLE cut_lists ADD COLUMN search_stopped INTEGER NOT NULL DEFAULT 0 CHECK (search_stopped IN (0, 1));

-- The levels of the objective, most important first, as the plan reached them when the list was planned last. A list that was
-- planned before there were reports has none.
CREATE TABLE cut_list_levels (
    list_number INTEGER NOT NULL REFERENCES cut_lists (list_number),
    place       INTEGER NOT NULL,
    level       TEXT NOT NULL CHECK (level IN ('serials_not_whole', 'pieces_uncut', 'groups_split', 'scrap',
                                               'coils_opened', 'reel_changes', 'lots', 'out_of_order')),
    value       INTEGER NOT NULL CHECK (value >= 0),
    lower_bound INTEGER NOT NULL CHECK (lower_bound <= value),
    proven      INTEGER NOT NULL CHECK (proven IN (0, 1)),
    PRIMARY KEY (list_number, place),
    UNIQUE (list_number, level)
) STRICT, WITHOUT ROWID;
