-- The winder's orders.

-- Orders are never removed, so numbers are never given twice.
CREATE TABLE winding_orders (
    order_number INTEGER PRIMARY KEY CHECK (order_number >= 1),
    order_id     TEXT NOT NULL UNIQUE
) STRICT;

-- A serial is on one order at most: its strings must not be wound twice.
CREATE TABLE winding_order_serials (
    serial_id    TEXT PRIMARY KEY REFERENCES jobs (serial_id),
    order_number INTEGER NOT NULL REFERENCES winding_orders (order_number)
) STRICT;

CREATE INDEX winding_order_serials_by_order ON winding_order_serials (order_number);

CREATE TABLE winding_order_revisions (
    order_number INTEGER NOT NULL REFERENCES winding_orders (order_number),
    revision     INTEGER NOT NULL CHECK (revision >= 1),
    reason       TEXT NOT NULL,
    digest       TEXT NOT NULL,
    bytes        BLOB NOT NULL,
    release_us   INTEGER NOT NULL,
    PRIMARY KEY (order_number, revision),
    CHECK (revision = 1 OR reason <> '')
) STRICT;

CREATE TRIGGER winding_order_revision_is_not_changed BEFORE UPDATE ON winding_order_revisions
BEGIN
    SELECT RAISE(ABORT, 'a released winding order is never changed');
END;

CREATE TRIGGER winding_order_revision_is_not_removed BEFORE DELETE ON winding_order_revisions
BEGIN
    SELECT RAISE(ABORT, 'a released winding order is never removed');
END;
