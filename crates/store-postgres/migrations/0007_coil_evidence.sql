-- How well the length on each coil is known, and each piece of evidence of it.

ALTER TABLE coils ADD COLUMN variance_mm2 DOUBLE PRECISION NOT NULL DEFAULT 0 CHECK (variance_mm2 >= 0 AND variance_mm2 < 'infinity');
ALTER TABLE coils ADD COLUMN density_error DOUBLE PRECISION NOT NULL DEFAULT 0 CHECK (density_error > '-infinity' AND density_error < 'infinity');
ALTER TABLE coils ADD COLUMN density_variance DOUBLE PRECISION NOT NULL DEFAULT 0 CHECK (density_variance >= 0 AND density_variance < 'infinity');
ALTER TABLE coils ADD COLUMN covariance_mm DOUBLE PRECISION NOT NULL DEFAULT 0 CHECK (covariance_mm > '-infinity' AND covariance_mm < 'infinity');

-- Of the coils that are there by now it is not known whether they were received by mass or by length. They are taken as received
-- by mass, which is the less certain: 0.35 % for the mass and 1.2 % for the tolerance of the wire, together 1.25 % of the length received.
UPDATE coils SET
    variance_mm2 = (0.0125::double precision * (received_um / 1000.0::double precision)) * (0.0125::double precision * (received_um / 1000.0::double precision)),
    density_variance = 1.44e-4,
    covariance_mm = -(received_um / 1000.0::double precision) * 1.44e-4
WHERE state IN ('sealed', 'opened', 'set_aside');

CREATE TABLE coil_evidence (
    coil_id         TEXT COLLATE "C" NOT NULL REFERENCES coils (coil_id),
    evidence_number BIGINT NOT NULL CHECK (evidence_number >= 1),
    kind            TEXT NOT NULL CHECK (kind IN ('receipt', 'brought_forward', 'cut', 'scrap', 'correction', 'weighing',
                                                  'run_out', 'acceptance')),
    state           TEXT NOT NULL CHECK (state IN ('merged', 'held', 'accepted', 'rejected')),
    length_um       BIGINT NOT NULL CHECK (length_um >= 0 OR kind = 'correction'),
    length_sd_mm    DOUBLE PRECISION NOT NULL CHECK (length_sd_mm >= 0 AND length_sd_mm < 'infinity'),
    deviation_sds   DOUBLE PRECISION CHECK (deviation_sds > '-infinity' AND deviation_sds < 'infinity'),
    before_um       BIGINT NOT NULL CHECK (before_um >= 0),
    before_sd_mm    DOUBLE PRECISION NOT NULL CHECK (before_sd_mm >= 0 AND before_sd_mm < 'infinity'),
    after_um        BIGINT NOT NULL CHECK (after_um >= 0),
    after_sd_mm     DOUBLE PRECISION NOT NULL CHECK (after_sd_mm >= 0 AND after_sd_mm < 'infinity'),
    gross_g         DOUBLE PRECISION CHECK (gross_g > '-infinity' AND gross_g < 'infinity'),
    tare_g          DOUBLE PRECISION CHECK (tare_g > '-infinity' AND tare_g < 'infinity'),
    resolution_g    DOUBLE PRECISION CHECK (resolution_g > '-infinity' AND resolution_g < 'infinity'),
    tare_sd_g       DOUBLE PRECISION CHECK (tare_sd_g > '-infinity' AND tare_sd_g < 'infinity'),
    accepted_number BIGINT,
    list_id         TEXT COLLATE "C",
    note            TEXT NOT NULL,
    actor           TEXT NOT NULL,
    created_us      BIGINT NOT NULL,
    decided_us      BIGINT,
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
);

CREATE INDEX evidence_held ON coil_evidence (coil_id) WHERE state = 'held';

-- What told a length anew, rather than how much came off.
CREATE INDEX findings_by_coil ON coil_evidence (coil_id, evidence_number)
    WHERE kind NOT IN ('cut', 'scrap') AND state IN ('merged', 'accepted');

INSERT INTO coil_evidence (coil_id, evidence_number, kind, state, length_um, length_sd_mm, before_um, before_sd_mm, after_um,
                           after_sd_mm, note, actor, created_us)
SELECT coil_id, 1, 'brought_forward', 'merged', remaining_um, 0.0125::double precision * (received_um / 1000.0::double precision) * (variance_mm2 > 0)::int,
       remaining_um, 0.0125::double precision * (received_um / 1000.0::double precision) * (variance_mm2 > 0)::int, remaining_um,
       0.0125::double precision * (received_um / 1000.0::double precision) * (variance_mm2 > 0)::int, '', '', updated_us
FROM coils;

CREATE TRIGGER evidence_is_not_removed BEFORE DELETE ON coil_evidence
FOR EACH ROW EXECUTE FUNCTION refuse('evidence is never removed');

-- Evidence that is held is decided upon once.
CREATE TRIGGER evidence_is_not_changed BEFORE UPDATE ON coil_evidence
FOR EACH ROW WHEN (NOT (
    OLD.state = 'held' AND NEW.state IN ('accepted', 'rejected') AND NEW.decided_us IS NOT NULL
    AND NEW.coil_id = OLD.coil_id AND NEW.evidence_number = OLD.evidence_number AND NEW.kind = OLD.kind
    AND NEW.length_um = OLD.length_um AND NEW.length_sd_mm = OLD.length_sd_mm
    AND NEW.before_um = OLD.before_um AND NEW.after_um = OLD.after_um AND NEW.actor = OLD.actor
    AND NEW.created_us = OLD.created_us
))
EXECUTE FUNCTION refuse('evidence is never changed');

-- Standard deviations that a list leaves on its coils, in thousandths.
ALTER TABLE cut_lists ADD COLUMN coil_margin_milli_sds BIGINT NOT NULL DEFAULT 0
    CHECK (coil_margin_milli_sds BETWEEN 0 AND 10000);
