-- Times are whole µs since 1970 (UTC), lengths whole µm. Keys compare byte by byte (BINARY).
-- 0x62636b74 is "bckt": tells a becket database from any other SQLite file.
PRAGMA application_id = 1650682740;

CREATE TABLE meta (
    key   TEXT PRIMARY KEY,
    value BLOB NOT NULL
) STRICT, WITHOUT ROWID;

-- Page tokens are signed with this. SQLite seeds its generator from the operating system.
INSERT INTO meta (key, value) VALUES ('token_key', randomblob(32));

-- The first answer to each request.
CREATE TABLE answers (
    actor      TEXT NOT NULL,
    method     TEXT NOT NULL,
    request_id TEXT NOT NULL,
    digest     BLOB NOT NULL CHECK (length(digest) = 32),
    answer     BLOB NOT NULL,
    created_us INTEGER NOT NULL,
    PRIMARY KEY (actor, method, request_id)
) STRICT;

CREATE TABLE journal (
    sequence     INTEGER PRIMARY KEY CHECK (sequence >= 1),
    entry_us     INTEGER NOT NULL,
    actor        TEXT NOT NULL,
    origin       TEXT NOT NULL,
    request_id   TEXT NOT NULL,
    method       TEXT NOT NULL,
    subject      TEXT NOT NULL,
    before_json  TEXT CHECK (json_valid(before_json)),
    after_json   TEXT CHECK (json_valid(after_json)),
    hash         BLOB NOT NULL CHECK (length(hash) = 32)
) STRICT;

CREATE INDEX journal_by_subject ON journal (subject, sequence);

CREATE TRIGGER journal_is_not_changed BEFORE UPDATE ON journal
BEGIN
    SELECT RAISE(ABORT, 'a journal entry is never changed');
END;

CREATE TRIGGER journal_is_not_removed BEFORE DELETE ON journal
BEGIN
    SELECT RAISE(ABORT, 'a journal entry is never removed');
END;

-- The stringing service.

CREATE TABLE wires (
    wire_id    TEXT PRIMARY KEY,
    material   INTEGER NOT NULL,
    bytes      BLOB NOT NULL,
    json       TEXT NOT NULL,
    version    INTEGER NOT NULL CHECK (version >= 1),
    created_us INTEGER NOT NULL,
    updated_us INTEGER NOT NULL
) STRICT;

CREATE TABLE scales (
    model_id    TEXT NOT NULL,
    revision_id TEXT NOT NULL,
    bytes       BLOB NOT NULL,
    json        TEXT NOT NULL,
    released_us INTEGER,
    version     INTEGER NOT NULL CHECK (version >= 1),
    created_us  INTEGER NOT NULL,
    updated_us  INTEGER NOT NULL,
    PRIMARY KEY (model_id, revision_id)
) STRICT;

CREATE TABLE jobs (
    serial_id  TEXT PRIMARY KEY,
    due_date   TEXT NOT NULL,
    station_id TEXT NOT NULL,
    state      TEXT NOT NULL CHECK (state IN ('open', 'frozen', 'done', 'given_up')),
    freeze_us  INTEGER,
    bytes      BLOB NOT NULL,
    json       TEXT NOT NULL,
    version    INTEGER NOT NULL CHECK (version >= 1),
    created_us INTEGER NOT NULL,
    updated_us INTEGER NOT NULL,
    CHECK (state <> 'frozen' OR freeze_us IS NOT NULL)
) STRICT;

CREATE INDEX jobs_by_due_date ON jobs (due_date, serial_id);

CREATE TABLE string_sets (
    serial_id TEXT PRIMARY KEY REFERENCES jobs (serial_id),
    digest    TEXT NOT NULL,
    bytes     BLOB NOT NULL,
    freeze_us INTEGER NOT NULL
) STRICT;

-- The cutting service.

CREATE TABLE coils (
    coil_id            TEXT PRIMARY KEY,
    wire_id            TEXT NOT NULL,
    lot_id             TEXT NOT NULL,
    received_date      TEXT NOT NULL,
    state              TEXT NOT NULL CHECK (state IN ('sealed', 'opened', 'set_aside', 'used_up', 'scrapped')),
    received_um        INTEGER NOT NULL CHECK (received_um >= 0),
    remaining_um       INTEGER NOT NULL CHECK (remaining_um >= 0),
    cut_um             INTEGER NOT NULL CHECK (cut_um >= 0),
    scrapped_um        INTEGER NOT NULL CHECK (scrapped_um >= 0),
    adjusted_um        INTEGER NOT NULL,
    linear_density_g_m REAL NOT NULL CHECK (linear_density_g_m > 0),
    version            INTEGER NOT NULL CHECK (version >= 1),
    created_us         INTEGER NOT NULL,
    updated_us         INTEGER NOT NULL,
    CHECK (remaining_um = received_um - cut_um - scrapped_um + adjusted_um)
) STRICT, WITHOUT ROWID;

CREATE INDEX coils_by_wire ON coils (wire_id, coil_id);
CREATE INDEX coils_by_lot ON coils (lot_id, coil_id);

CREATE TABLE stock_rules (
    wire_id             TEXT PRIMARY KEY,
    smallest_remnant_um INTEGER NOT NULL CHECK (smallest_remnant_um >= 0)
) STRICT, WITHOUT ROWID;

CREATE TABLE stations (
    station_id     TEXT PRIMARY KEY,
    title          TEXT NOT NULL,
    reel_positions INTEGER NOT NULL CHECK (reel_positions >= 1),
    trays          INTEGER NOT NULL CHECK (trays >= 1),
    version        INTEGER NOT NULL CHECK (version >= 1),
    created_us     INTEGER NOT NULL,
    updated_us     INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- A coil is in one place, and a place holds one coil.
CREATE TABLE mounts (
    station_id    TEXT NOT NULL REFERENCES stations (station_id),
    reel_position INTEGER NOT NULL CHECK (reel_position >= 1),
    coil_id       TEXT NOT NULL UNIQUE REFERENCES coils (coil_id),
    PRIMARY KEY (station_id, reel_position)
) STRICT, WITHOUT ROWID;

CREATE TABLE cut_lists (
    list_number     INTEGER PRIMARY KEY CHECK (list_number >= 1),
    list_id         TEXT NOT NULL UNIQUE,
    station_id      TEXT NOT NULL REFERENCES stations (station_id),
    state           TEXT NOT NULL CHECK (state IN ('planned', 'running', 'finished', 'cancelled')),
    unison_rule     TEXT NOT NULL CHECK (unison_rule IN ('hard', 'preferred', 'off')),
    end_trim_um     INTEGER NOT NULL CHECK (end_trim_um >= 0),
    coil_margin_um  INTEGER NOT NULL CHECK (coil_margin_um >= 0),
    piece_order     TEXT NOT NULL CHECK (piece_order IN ('by_length', 'up_the_scale', 'down_the_scale')),
    wound_cores     INTEGER NOT NULL CHECK (wound_cores IN (0, 1)),
    pieces          INTEGER NOT NULL,
    cut_um          INTEGER NOT NULL,
    scrap_um        INTEGER NOT NULL,
    remnant_um      INTEGER NOT NULL,
    coils_used      INTEGER NOT NULL,
    coils_opened    INTEGER NOT NULL,
    reel_changes    INTEGER NOT NULL,
    unisons_split   INTEGER NOT NULL,
    pieces_done     INTEGER NOT NULL,
    pieces_pending  INTEGER NOT NULL,
    start_us        INTEGER,
    end_us          INTEGER,
    version         INTEGER NOT NULL CHECK (version >= 1),
    created_us      INTEGER NOT NULL,
    updated_us      INTEGER NOT NULL
) STRICT;

CREATE TABLE cut_list_serials (
    list_number INTEGER NOT NULL REFERENCES cut_lists (list_number),
    place       INTEGER NOT NULL,
    serial_id   TEXT NOT NULL,
    set_digest  TEXT NOT NULL,
    due_date    TEXT NOT NULL,
    PRIMARY KEY (list_number, place),
    UNIQUE (list_number, serial_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE shortages (
    list_number INTEGER NOT NULL REFERENCES cut_lists (list_number),
    place       INTEGER NOT NULL,
    wire_id     TEXT NOT NULL,
    serial_id   TEXT NOT NULL,
    piece_ids   TEXT NOT NULL CHECK (json_valid(piece_ids)),
    length_um   INTEGER NOT NULL CHECK (length_um >= 0),
    PRIMARY KEY (list_number, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE cut_steps (
    list_number        INTEGER NOT NULL REFERENCES cut_lists (list_number),
    step_number        INTEGER NOT NULL CHECK (step_number >= 1),
    kind               TEXT NOT NULL CHECK (kind IN ('mount', 'cut', 'unmount')),
    state              TEXT NOT NULL CHECK (state IN ('pending', 'done', 'spoiled')),
    coil_id            TEXT NOT NULL REFERENCES coils (coil_id),
    lot_id             TEXT NOT NULL,
    wire_id            TEXT NOT NULL,
    reel_position      INTEGER NOT NULL CHECK (reel_position >= 1),
    serial_id          TEXT,
    piece_id           TEXT,
    piece_kind         TEXT CHECK (piece_kind IN ('looped_pair', 'tied_single', 'wound_core')),
    notes              TEXT CHECK (json_valid(notes)),
    piece_um           INTEGER CHECK (piece_um > 0),
    recut              INTEGER NOT NULL CHECK (recut IN (0, 1)),
    length_um          INTEGER NOT NULL CHECK (length_um >= 0),
    remaining_after_um INTEGER NOT NULL CHECK (remaining_after_um >= 0),
    tail_use           TEXT CHECK (tail_use IN ('keep', 'scrap')),
    opens_coil         INTEGER NOT NULL CHECK (opens_coil IN (0, 1)),
    spoil_cause        TEXT CHECK (spoil_cause IN ('miscut', 'broken')),
    done_us            INTEGER,
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
) STRICT, WITHOUT ROWID;

-- A piece is on one list: to be cut, or cut and good.
CREATE UNIQUE INDEX piece_is_claimed_once ON cut_steps (serial_id, piece_id)
    WHERE kind = 'cut' AND state IN ('pending', 'done');

-- What lists count on, by coil.
CREATE INDEX pending_by_coil ON cut_steps (coil_id, list_number, length_um)
    WHERE state = 'pending' AND kind IN ('mount', 'cut');

CREATE INDEX cuts_by_serial ON cut_steps (serial_id, done_us) WHERE kind = 'cut';
CREATE INDEX cuts_by_lot ON cut_steps (lot_id, serial_id, wire_id) WHERE kind = 'cut' AND state = 'done';

CREATE TRIGGER executed_steps_stay BEFORE DELETE ON cut_steps WHEN OLD.state <> 'pending'
BEGIN
    SELECT RAISE(ABORT, 'an executed step is never removed');
END;

-- A step is executed once; after that its piece may only turn out to be spoiled.
CREATE TRIGGER executed_steps_do_not_move BEFORE UPDATE ON cut_steps
WHEN OLD.state <> 'pending' AND NOT (
    OLD.state = 'done' AND NEW.state = 'spoiled'
    AND NEW.list_number = OLD.list_number AND NEW.step_number = OLD.step_number AND NEW.kind = OLD.kind
    AND NEW.coil_id = OLD.coil_id AND NEW.lot_id = OLD.lot_id AND NEW.wire_id = OLD.wire_id
    AND NEW.serial_id = OLD.serial_id AND NEW.piece_id = OLD.piece_id AND NEW.length_um = OLD.length_um
    AND NEW.done_us = OLD.done_us AND NEW.done_by = OLD.done_by
)
BEGIN
    SELECT RAISE(ABORT, 'an executed step does not move');
END;
