-- The winder's orders.

-- Orders are never removed, so numbers are never given twice.
CREATE TABLE winding_orders (
    order_number BIGINT PRIMARY KEY CHECK (order_number >= 1),
    order_id     TEXT COLLATE "C" NOT NULL UNIQUE
);

-- A serial is on one order at most: its strings must not be wound twice.
CREATE TABLE winding_order_serials (
    serial_id    TEXT COLLATE "C" PRIMARY KEY REFERENCES jobs (serial_id),
    order_number BIGINT NOT NULL REFERENCES winding_orders (order_number)
);

CREATE INDEX winding_order_serials_by_order ON winding_order_serials (order_number);

CREATE TABLE winding_order_revisions (
    order_number BIGINT NOT NULL REFERENCES winding_orders (order_number),
    revision     BIGINT NOT NULL CHECK (revision >= 1),
    reason       TEXT NOT NULL,
    digest       TEXT NOT NULL,
    bytes        BYTEA NOT NULL,
    release_us   BIGINT NOT NULL,
    PRIMARY KEY (order_number, revision),
    CHECK (revision = 1 OR reason <> '')
);

CREATE TRIGGER winding_order_revision_is_not_changed BEFORE UPDATE ON winding_order_revisions
FOR EACH ROW EXECUTE FUNCTION refuse('a released winding order is never changed');

CREATE TRIGGER winding_order_revision_is_not_removed BEFORE DELETE ON winding_order_revisions
FOR EACH ROW EXECUTE FUNCTION refuse('a released winding order is never removed');
