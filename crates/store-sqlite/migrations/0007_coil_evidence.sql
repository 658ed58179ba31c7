-- How well the length on each coil is known, and each piece of evidence of it.

ALTER TABLE coils ADD COLUMN variance_mm2 REAL NOT NULL DEFAULT 0 CHECK (variance_mm2 >= 0);
ALTER TABLE coils ADD COLUMN density_error REAL NOT NULL DEFAULT 0;
ALTER TABLE coils ADD COLUMN density_variance REAL NOT NULL DEFAULT 0 CHECK (density_variance >= 0);
ALTER TABLE coils ADD COLUMN covariance_mm REAL NOT NULL DEFAULT 0;

-- Of the coils that are there by now it is not known whether they were received by mass or by length. They are taken as received
-- by mass, which is the less certain: 0.35 % for the mass and 1.2 % for the tolerance of the wire, together 1.25 % of the length received.
UPDATE coils SET
    variance_mm2 = (0.0125 * (received_um / 1000.0)) * (0.0125 * (received_um / 1000.0)),
    density_variance = 1.44e-4,
    covariance_mm = -(received_um / 1000.0) * 1.44e-4
WHERE state IN ('sealed', 'opened', 'set_aside');

CREATE TABLE coil_evidence (
    coil_id         TEXT NOT NULL REFERENCES coils (coil_id),
    evidence_number INTEGER NOT NULL CHECK (evidence_number >= 1),
    kind            TEXT NOT NULL CHECK (kind IN ('receipt', 'brought_forward', 'cut', 'scrap', 'correction', 'weighing',
                                                  'run_out', 'acceptance')),
    state           TEXT NOT NULL CHECK (state IN ('merged', 'held', 'accepted', 'rejected')),
    length_um       INTEGER NOT NULL CHECK (length_um >= 0 OR kind = 'correction'),
    length_sd_mm    REAL NOT NULL CHECK (length_sd_mm >= 0),
    deviation_sds   REAL,
    before_um       INTEGER NOT NULL CHECK (before_um >= 0),
    before_sd_mm    REAL NOT NULL CHECK (before_sd_mm >= 0),
    after_um        INTEGER NOT NULL CHECK (after_um >= 0),
    after_sd_mm     REAL NOT NULL CHECK (after_sd_mm >= 0),
    gross_g         REAL,
    tare_g          REAL,
    resolution_g    REAL,
    tare_sd_g       REAL,
    accepted_number INTEGER,
    list_id         TEXT,
    note            TEXT NOT NULL,
    actor           TEXT NOT NULL,
    created_us      INTEGER NOT NULL,
    decided_us      INTEGER,
    decided_by      TEXT,
    PRIMARY KEY (coil_id, evidence_number),
    CHECK ((kind = 'weighing') = (gross_g IS NOT NULL)),
    CHECK ((gross_g IS NULL) = (tare_g IS NULL)),
    CHECK ((gross_g IS NULL) = (resolution_g IS NULL)),
    CHECK ((gross_g IS NULL) = (tare_sd_g IS NULL)),
    CHECK ((kind = 'acceptance') = (accepted_number IS NOT NULL)),
    CHECK (state NOT IN ('held', 'rejected') OR kind = 'weighing'),
    CHECK (state NOT IN ('held', 'rejected') OR before_um = after_um),
    CHECK ((decided_us IS NULL) = (decided_by IS NULL))
) STRICT, WITHOUT ROWID;

CREATE INDEX evidence_held ON coil_evidence (coil_id) WHERE state = 'held';

-- What told a length anew, rather than how much came off.
CREATE INDEX findings_by_coil ON coil_evidence (coil_id, evidence_number)
    WHERE kind NOT IN ('cut', 'scrap') AND state IN ('merged', 'accepted');

INSERT INTO coil_evidence (coil_id, evidence_number, kind, state, length_um, length_sd_mm, before_um, before_sd_mm, after_um,
                           after_sd_mm, note, actor, created_us)
SELECT coil_id, 1, 'brought_forward', 'merged', remaining_um, 0.0125 * (received_um / 1000.0) * (variance_mm2 > 0),
       remaining_um, 0.0125 * (received_um / 1000.0) * (variance_mm2 > 0), remaining_um,
       0.0125 * (received_um / 1000.0) * (variance_mm2 > 0), '', '', updated_us
FROM coils;

CREATE TRIGGER evidence_is_not_removed BEFORE DELETE ON coil_evidence
BEGIN
    SELECT RAISE(ABORT, 'evidence is never removed');
END;

-- Evidence that is held is decided upon once.
CREATE TRIGGER evidence_is_not_changed BEFORE UPDATE ON coil_evidence
WHEN NOT (
    OLD.state = 'held' AND NEW.state IN ('accepted', 'rejected') AND NEW.decided_us IS NOT NULL
    AND NEW.coil_id = OLD.coil_id AND NEW.evidence_number = OLD.evidence_number AND NEW.kind = OLD.kind
    AND NEW.length_um = OLD.length_um AND NEW.length_sd_mm = OLD.length_sd_mm
    AND NEW.before_um = OLD.before_um AND NEW.after_um = OLD.after_um AND NEW.actor = OLD.actor
    AND NEW.created_us = OLD.created_us
)
BEGIN
    SELECT RAISE(ABORT, 'evidence is never changed');
END;

-- Standard deviations that a list leaves on its coils, in thousandths.
ALTER TABLE cut_lists ADD COLUMN coil_margin_milli_sds INTEGER NOT NULL DEFAULT 0
    CHECK (coil_margin_milli_sds BETWEEN 0 AND 10000);
