-- Whom to tell of events by HTTP, how far each was told, what could not be told, and which replica tells.

CREATE TABLE webhooks (
    webhook_id     TEXT NOT NULL PRIMARY KEY,
    url            TEXT NOT NULL,
    -- Names of types, apart by spaces; empty for all.
    types          TEXT NOT NULL,
    subject_prefix TEXT NOT NULL,
    -- The key of the signatures, which is needed as it is.
    secret         TEXT NOT NULL,
    state          TEXT NOT NULL CHECK (state IN ('active', 'gone')),
    created_us     INTEGER NOT NULL
) STRICT;

-- The journal is the outbox; this is where each receiver stands in it.
CREATE TABLE webhook_progress (
    webhook_id     TEXT NOT NULL PRIMARY KEY REFERENCES webhooks (webhook_id) ON DELETE CASCADE,
    told_sequence  INTEGER NOT NULL CHECK (told_sequence >= 0),
    attempts       INTEGER NOT NULL CHECK (attempts >= 0),
    next_us        INTEGER NOT NULL,
    last_error     TEXT NOT NULL
) STRICT;

CREATE TABLE webhook_letters (
    webhook_id     TEXT NOT NULL REFERENCES webhooks (webhook_id) ON DELETE CASCADE,
    sequence       INTEGER NOT NULL CHECK (sequence >= 1),
    state          TEXT NOT NULL CHECK (state IN ('dead', 'queued')),
    attempts       INTEGER NOT NULL CHECK (attempts >= 1),
    failed_us      INTEGER NOT NULL,
    last_error     TEXT NOT NULL,
    PRIMARY KEY (webhook_id, sequence)
) STRICT;

CREATE INDEX letters_queued ON webhook_letters (webhook_id, sequence) WHERE state = 'queued';

-- One row at most. The fence rises whenever another replica takes over, so that one that was held up is known by its old number.
CREATE TABLE webhook_lease (
    lease_id       INTEGER NOT NULL PRIMARY KEY CHECK (lease_id = 1),
    holder         TEXT NOT NULL,
    fence          INTEGER NOT NULL CHECK (fence >= 1),
    until_us       INTEGER NOT NULL
) STRICT;
