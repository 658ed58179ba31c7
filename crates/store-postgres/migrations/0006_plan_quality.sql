-- How a list is searched for, and how good its plan is known to be.
ALTER TABLE cut_lists
    ADD COLUMN level_order    TEXT NOT NULL DEFAULT 'scrap,coils_opened,reel_changes,lots',
    ADD COLUMN search_rounds  BIGINT NOT NULL DEFAULT 200 CHECK (search_rounds >= 0),
    ADD COLUMN time_budget_ms BIGINT CHECK (time_budget_ms >= 1),
    ADD COLUMN due_window     BIGINT CHECK (due_window >= 0),
    ADD COLUMN fifo           BOOLEAN NOT NULL DEFAULT TRUE,
    ADD COLUMN search_stopped BOOLEAN NOT NULL DEFAULT FALSE;

-- The levels of the objective, most important first, as the plan reached them when the list was planned last. A list that was
-- planned before there were reports has none.
CREATE TABLE cut_list_levels (
    list_number BIGINT NOT NULL REFERENCES cut_lists (list_number),
    place       BIGINT NOT NULL,
    level       TEXT NOT NULL CHECK (level IN ('serials_not_whole', 'pieces_uncut', 'groups_split', 'scrap',
                                               'coils_opened', 'reel_changes', 'lots', 'out_of_order')),
    value       BIGINT NOT NULL CHECK (value >= 0),
    lower_bound BIGINT NOT NULL CHECK (lower_bound <= value),
    proven      BOOLEAN NOT NULL,
    PRIMARY KEY (list_number, place),
    UNIQUE (list_number, level)
);
