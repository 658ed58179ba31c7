-- Times are whole µs since 1970 (UTC), lengths whole µm. Keys compare byte by byte (COLLATE "C"), so that pages sort alike
-- whatever the locale of the database is.

CREATE TABLE meta (
    key   TEXT COLLATE "C" PRIMARY KEY,
    value BYTEA NOT NULL
);

-- Page tokens are signed with this. The generator of these ids is seeded from the operating system; two of them have 244 random bits.
INSERT INTO meta (key, value)
VALUES ('token_key', sha256(convert_to(gen_random_uuid()::text || gen_random_uuid()::text, 'UTF8')));

-- The first answer to each request. A write in progress holds its row, and who repeats the request at the same moment waits for it.
CREATE TABLE answers (
    actor      TEXT COLLATE "C" NOT NULL,
    method     TEXT COLLATE "C" NOT NULL,
    request_id TEXT COLLATE "C" NOT NULL,
    digest     BYTEA NOT NULL CHECK (length(digest) = 32),
    answer     BYTEA NOT NULL,
    created_us BIGINT NOT NULL,
    PRIMARY KEY (actor, method, request_id)
);

CREATE TABLE journal (
    sequence     BIGINT PRIMARY KEY CHECK (sequence >= 1),
    entry_us     BIGINT NOT NULL,
    actor        TEXT NOT NULL,
    origin       TEXT NOT NULL,
    request_id   TEXT NOT NULL,
    method       TEXT NOT NULL,
    subject      TEXT COLLATE "C" NOT NULL,
    -- Text and not JSON: the hash is over the text. What is no JSON cannot be cast.
    before_json  TEXT CHECK (before_json IS NULL OR before_json::json IS NOT NULL),
    after_json   TEXT CHECK (after_json IS NULL OR after_json::json IS NOT NULL),
    hash         BYTEA NOT NULL CHECK (length(hash) = 32)
);

CREATE INDEX journal_by_subject ON journal (subject, sequence);

-- The last entry. Whoever moves entries into the journal holds this row until the commit.
CREATE TABLE journal_head (
    one      BOOLEAN PRIMARY KEY DEFAULT TRUE CHECK (one),
    sequence BIGINT NOT NULL,
    hash     BYTEA NOT NULL CHECK (length(hash) = 32)
);

INSERT INTO journal_head (sequence, hash) VALUES (0, decode(repeat('00', 32), 'hex'));

-- What writes have to tell, until it has its place in the chain: a write puts its entries here in its own transaction, and
-- from here they are moved into the journal in the order of these ids as soon as they are committed.
CREATE TABLE journal_inbox (
    id           BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    entry_us     BIGINT NOT NULL,
    actor        TEXT NOT NULL,
    origin       TEXT NOT NULL,
    request_id   TEXT NOT NULL,
    method       TEXT NOT NULL,
    subject      TEXT NOT NULL,
    before_json  TEXT CHECK (before_json IS NULL OR before_json::json IS NOT NULL),
    after_json   TEXT CHECK (after_json IS NULL OR after_json::json IS NOT NULL)
);

-- It is empty most of the time and every entry goes through it, so it is swept often.
ALTER TABLE journal_inbox SET (autovacuum_vacuum_scale_factor = 0, autovacuum_vacuum_threshold = 500);

-- Says why as its first argument.
CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '%', TG_ARGV[0] USING ERRCODE = 'integrity_constraint_violation';
END
$$;

CREATE TRIGGER journal_is_not_changed BEFORE UPDATE ON journal
FOR EACH ROW EXECUTE FUNCTION refuse('a journal entry is never changed');

CREATE TRIGGER journal_is_not_removed BEFORE DELETE ON journal
FOR EACH ROW EXECUTE FUNCTION refuse('a journal entry is never removed');

CREATE TRIGGER journal_is_not_emptied BEFORE TRUNCATE ON journal
FOR EACH STATEMENT EXECUTE FUNCTION refuse('a journal entry is never removed');

-- The stringing service.

CREATE TABLE wires (
    wire_id    TEXT COLLATE "C" PRIMARY KEY,
    material   BIGINT NOT NULL,
    bytes      BYTEA NOT NULL,
    json       TEXT NOT NULL,
    version    BIGINT NOT NULL CHECK (version >= 1),
    created_us BIGINT NOT NULL,
    updated_us BIGINT NOT NULL
);

CREATE TABLE scales (
    model_id    TEXT COLLATE "C" NOT NULL,
    revision_id TEXT COLLATE "C" NOT NULL,
    bytes       BYTEA NOT NULL,
    json        TEXT NOT NULL,
    released_us BIGINT,
    version     BIGINT NOT NULL CHECK (version >= 1),
    created_us  BIGINT NOT NULL,
    updated_us  BIGINT NOT NULL,
    PRIMARY KEY (model_id, revision_id)
);

CREATE TABLE jobs (
    serial_id  TEXT COLLATE "C" PRIMARY KEY,
    due_date   TEXT COLLATE "C" NOT NULL,
    station_id TEXT COLLATE "C" NOT NULL,
    state      TEXT NOT NULL CHECK (state IN ('open', 'frozen', 'done', 'given_up')),
    freeze_us  BIGINT,
    bytes      BYTEA NOT NULL,
    json       TEXT NOT NULL,
    version    BIGINT NOT NULL CHECK (version >= 1),
    created_us BIGINT NOT NULL,
    updated_us BIGINT NOT NULL,
    CHECK (state <> 'frozen' OR freeze_us IS NOT NULL)
);

CREATE INDEX jobs_by_due_date ON jobs (due_date, serial_id);

CREATE TABLE string_sets (
    serial_id TEXT COLLATE "C" PRIMARY KEY REFERENCES jobs (serial_id),
    digest    TEXT NOT NULL,
    bytes     BYTEA NOT NULL,
    freeze_us BIGINT NOT NULL
);

-- The cutting service.

CREATE TABLE coils (
    coil_id            TEXT COLLATE "C" PRIMARY KEY,
    wire_id            TEXT COLLATE "C" NOT NULL,
    lot_id             TEXT COLLATE "C" NOT NULL,
    received_date      TEXT COLLATE "C" NOT NULL,
    state              TEXT NOT NULL CHECK (state IN ('sealed', 'opened', 'set_aside', 'used_up', 'scrapped')),
    received_um        BIGINT NOT NULL CHECK (received_um >= 0),
    remaining_um       BIGINT NOT NULL CHECK (remaining_um >= 0),
    cut_um             BIGINT NOT NULL CHECK (cut_um >= 0),
    scrapped_um        BIGINT NOT NULL CHECK (scrapped_um >= 0),
    adjusted_um        BIGINT NOT NULL,
    -- Not a number is greater than every number here, and so is infinity.
    linear_density_g_m DOUBLE PRECISION NOT NULL CHECK (linear_density_g_m > 0 AND linear_density_g_m < 'infinity'),
    version            BIGINT NOT NULL CHECK (version >= 1),
    created_us         BIGINT NOT NULL,
    updated_us         BIGINT NOT NULL,
    CHECK (remaining_um = received_um - cut_um - scrapped_um + adjusted_um)
);

CREATE INDEX coils_by_wire ON coils (wire_id, coil_id);
CREATE INDEX coils_by_lot ON coils (lot_id, coil_id);

CREATE TABLE stock_rules (
    wire_id             TEXT COLLATE "C" PRIMARY KEY,
    smallest_remnant_um BIGINT NOT NULL CHECK (smallest_remnant_um >= 0)
);

CREATE TABLE stations (
    station_id     TEXT COLLATE "C" PRIMARY KEY,
    title          TEXT NOT NULL,
    reel_positions BIGINT NOT NULL CHECK (reel_positions >= 1),
    trays          BIGINT NOT NULL CHECK (trays >= 1),
    version        BIGINT NOT NULL CHECK (version >= 1),
    created_us     BIGINT NOT NULL,
    updated_us     BIGINT NOT NULL
);

-- A coil is in one place, and a place holds one coil.
CREATE TABLE mounts (
    station_id    TEXT COLLATE "C" NOT NULL REFERENCES stations (station_id),
    reel_position BIGINT NOT NULL CHECK (reel_position >= 1),
    coil_id       TEXT COLLATE "C" NOT NULL UNIQUE REFERENCES coils (coil_id),
    PRIMARY KEY (station_id, reel_position)
);

CREATE TABLE cut_lists (
    list_number     BIGINT PRIMARY KEY CHECK (list_number >= 1),
    list_id         TEXT COLLATE "C" NOT NULL UNIQUE,
    station_id      TEXT COLLATE "C" NOT NULL REFERENCES stations (station_id),
    state           TEXT NOT NULL CHECK (state IN ('planned', 'running', 'finished', 'cancelled')),
    unison_rule     TEXT NOT NULL CHECK (unison_rule IN ('hard', 'preferred', 'off')),
    end_trim_um     BIGINT NOT NULL CHECK (end_trim_um >= 0),
    coil_margin_um  BIGINT NOT NULL CHECK (coil_margin_um >= 0),
    piece_order     TEXT NOT NULL CHECK (piece_order IN ('by_length', 'up_the_scale', 'down_the_scale')),
    wound_cores     BOOLEAN NOT NULL,
    pieces          BIGINT NOT NULL,
    cut_um          BIGINT NOT NULL,
    scrap_um        BIGINT NOT NULL,
    remnant_um      BIGINT NOT NULL,
    coils_used      BIGINT NOT NULL,
    coils_opened    BIGINT NOT NULL,
    reel_changes    BIGINT NOT NULL,
    unisons_split   BIGINT NOT NULL,
    pieces_done     BIGINT NOT NULL,
    pieces_pending  BIGINT NOT NULL,
    start_us        BIGINT,
    end_us          BIGINT,
    version         BIGINT NOT NULL CHECK (version >= 1),
    created_us      BIGINT NOT NULL,
    updated_us      BIGINT NOT NULL
);

CREATE TABLE cut_list_serials (
    list_number BIGINT NOT NULL REFERENCES cut_lists (list_number),
    place       BIGINT NOT NULL,
    serial_id   TEXT COLLATE "C" NOT NULL,
    set_digest  TEXT NOT NULL,
    due_date    TEXT NOT NULL,
    PRIMARY KEY (list_number, place),
    UNIQUE (list_number, serial_id)
);

CREATE TABLE shortages (
    list_number BIGINT NOT NULL REFERENCES cut_lists (list_number),
    place       BIGINT NOT NULL,
    wire_id     TEXT COLLATE "C" NOT NULL,
    serial_id   TEXT COLLATE "C" NOT NULL,
    piece_ids   TEXT NOT NULL CHECK (piece_ids::json IS NOT NULL),
    length_um   BIGINT NOT NULL CHECK (length_um >= 0),
    PRIMARY KEY (list_number, place)
);

CREATE TABLE cut_steps (
    list_number        BIGINT NOT NULL REFERENCES cut_lists (list_number),
    step_number        BIGINT NOT NULL CHECK (step_number >= 1),
    kind               TEXT NOT NULL CHECK (kind IN ('mount', 'cut', 'unmount')),
    state              TEXT NOT NULL CHECK (state IN ('pending', 'done', 'spoiled')),
    coil_id            TEXT COLLATE "C" NOT NULL REFERENCES coils (coil_id),
    lot_id             TEXT COLLATE "C" NOT NULL,
    wire_id            TEXT COLLATE "C" NOT NULL,
    reel_position      BIGINT NOT NULL CHECK (reel_position >= 1),
    serial_id          TEXT COLLATE "C",
    piece_id           TEXT COLLATE "C",
    piece_kind         TEXT CHECK (piece_kind IN ('looped_pair', 'tied_single', 'wound_core')),
    notes              TEXT CHECK (notes IS NULL OR notes::json IS NOT NULL),
    piece_um           BIGINT CHECK (piece_um > 0),
    recut              BOOLEAN NOT NULL,
    length_um          BIGINT NOT NULL CHECK (length_um >= 0),
    remaining_after_um BIGINT NOT NULL CHECK (remaining_after_um >= 0),
    tail_use           TEXT CHECK (tail_use IN ('keep', 'scrap')),
    opens_coil         BOOLEAN NOT NULL,
    spoil_cause        TEXT CHECK (spoil_cause IN ('miscut', 'broken')),
    done_us            BIGINT,
    done_by            TEXT NOT NULL,
    PRIMARY KEY (list_number, step_number),
    CHECK ((kind = 'cut') = (serial_id IS NOT NULL)),
    CHECK ((serial_id IS NULL) = (piece_id IS NULL)),
    CHECK ((serial_id IS NULL) = (piece_kind IS NULL)),
    CHECK ((serial_id IS NULL) = (notes IS NULL)),
    CHECK ((serial_id IS NULL) = (piece_um IS NULL)),
    CHECK ((kind = 'unmount') = (tail_use IS NOT NULL)),
    CHECK ((state = 'pending') = (done_us IS NULL)),
    CHECK ((state = 'spoiled') = (spoil_cause IS NOT NULL)),
    CHECK (state <> 'spoiled' OR kind = 'cut')
);

-- A piece is on one list: to be cut, or cut and good.
CREATE UNIQUE INDEX piece_is_claimed_once ON cut_steps (serial_id, piece_id)
    WHERE kind = 'cut' AND state IN ('pending', 'done');

-- What lists count on, by coil.
CREATE INDEX pending_by_coil ON cut_steps (coil_id, list_number) INCLUDE (length_um)
    WHERE state = 'pending' AND kind IN ('mount', 'cut');

CREATE INDEX cuts_by_serial ON cut_steps (serial_id, done_us) WHERE kind = 'cut';
CREATE INDEX cuts_by_lot ON cut_steps (lot_id, serial_id, wire_id) WHERE kind = 'cut' AND state = 'done';

CREATE TRIGGER executed_steps_stay BEFORE DELETE ON cut_steps
FOR EACH ROW WHEN (OLD.state <> 'pending') EXECUTE FUNCTION refuse('an executed step is never removed');

-- A step is executed once; after that its piece may only turn out to be spoiled.
CREATE TRIGGER executed_steps_do_not_move BEFORE UPDATE ON cut_steps
FOR EACH ROW WHEN (
    OLD.state <> 'pending' AND NOT (
        OLD.state = 'done' AND NEW.state = 'spoiled'
        AND NEW.list_number = OLD.list_number AND NEW.step_number = OLD.step_number AND NEW.kind = OLD.kind
        AND NEW.coil_id = OLD.coil_id AND NEW.lot_id = OLD.lot_id AND NEW.wire_id = OLD.wire_id
        AND NEW.serial_id = OLD.serial_id AND NEW.piece_id = OLD.piece_id AND NEW.length_um = OLD.length_um
        AND NEW.done_us = OLD.done_us AND NEW.done_by = OLD.done_by
    )
)
EXECUTE FUNCTION refuse('an executed step does not move');
