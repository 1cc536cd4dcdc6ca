//! The life of a ticket in full (a ticket is never deleted, so that its number is never used again), and how things are weighed: balances, what a weighing counts for, second checks, alternates.
//!
//! What was in process stands at weighing, and what was complete at reconciled. SQLite cannot change a check, so the table of tickets
//! is made anew there; what refers to it goes on referring to its name, and references are looked at on commit only.

crate::migration!("m0016_ticket_life", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
CREATE TABLE balances (
    id {id} NOT NULL,
    code {text} NOT NULL,
    code_key {text} NOT NULL,
    name {text} NOT NULL,
    division {int} NOT NULL,
    capacity {int} NOT NULL,
    smallest_net {int},
    calibration_due {date},
    note {text},
    CONSTRAINT uq_balances_id PRIMARY KEY (id),
    CONSTRAINT uq_balances_code_key UNIQUE (code_key),
    CONSTRAINT ck_balances_division CHECK (division > 0),
    CONSTRAINT ck_balances_capacity CHECK (capacity >= division),
    CONSTRAINT ck_balances_smallest_net CHECK (smallest_net > 0 AND smallest_net <= capacity)
) {strict};

CREATE TABLE alternates (
    id {id} NOT NULL,
    material {id} NOT NULL,
    alternate {id} NOT NULL,
    formula {id},
    factor {text} NOT NULL,
    changes_label {int} NOT NULL,
    valid_until {date},
    evidence {text},
    approved_by {text} NOT NULL,
    approved_at {int} NOT NULL,
    CONSTRAINT uq_alternates_id PRIMARY KEY (id),
    CONSTRAINT fk_alternates_material FOREIGN KEY (material) REFERENCES materials (id),
    CONSTRAINT fk_alternates_alternate FOREIGN KEY (alternate) REFERENCES materials (id),
    CONSTRAINT fk_alternates_formula FOREIGN KEY (formula) REFERENCES formulas (id),
    CONSTRAINT ck_alternates_other CHECK (alternate <> material),
    CONSTRAINT ck_alternates_changes_label CHECK (changes_label IN (0, 1))
) {strict};

CREATE INDEX ix_alternates_material ON alternates (material);

CREATE TABLE ticket_steps (
    ticket {id} NOT NULL,
    position {int} NOT NULL,
    status_from {text} NOT NULL,
    status_to {text} NOT NULL,
    entered_by {text} NOT NULL,
    entered_at {int} NOT NULL,
    note {text},
    CONSTRAINT uq_ticket_steps_ticket_position PRIMARY KEY (ticket, position),
    CONSTRAINT fk_ticket_steps_ticket FOREIGN KEY (ticket) REFERENCES tickets (id),
    CONSTRAINT ck_ticket_steps_position CHECK (position > 0)
) {strict};

CREATE INDEX ix_lots_made_by ON lots (made_by) WHERE made_by IS NOT NULL;
CREATE INDEX ix_lots_supplier_lot ON lots (supplier, supplier_lot) WHERE supplier_lot IS NOT NULL;

ALTER TABLE ticket_lines ADD COLUMN fills_up {int} NOT NULL DEFAULT 0
    CONSTRAINT ck_ticket_lines_fills_up CHECK (fills_up IN (0, 1));
ALTER TABLE ticket_lines ADD COLUMN nominal_active {int}
    CONSTRAINT ck_ticket_lines_nominal_active CHECK (nominal_active > 0 AND nominal_active <= 100000000000);
ALTER TABLE ticket_lines ADD COLUMN balance {id} CONSTRAINT fk_ticket_lines_balance REFERENCES balances (id);
ALTER TABLE ticket_lines ADD COLUMN second_check {int} NOT NULL DEFAULT 0
    CONSTRAINT ck_ticket_lines_second_check CHECK (second_check IN (0, 1));
ALTER TABLE ticket_lines ADD COLUMN rework_of {id} CONSTRAINT fk_ticket_lines_rework_of REFERENCES lots (id);

ALTER TABLE weighings ADD COLUMN gross {int} CONSTRAINT ck_weighings_gross CHECK (gross > 0);
ALTER TABLE weighings ADD COLUMN tare {int} CONSTRAINT ck_weighings_tare CHECK (tare >= 0);
ALTER TABLE weighings ADD COLUMN balance {id} CONSTRAINT fk_weighings_balance REFERENCES balances (id);
ALTER TABLE weighings ADD COLUMN done_at {int};
ALTER TABLE weighings ADD COLUMN reason {text};
ALTER TABLE weighings ADD COLUMN counts_as {int} CONSTRAINT ck_weighings_counts_as CHECK (counts_as >= 0);
ALTER TABLE weighings ADD COLUMN result_before {text};
ALTER TABLE weighings ADD COLUMN result_after {text};
ALTER TABLE weighings ADD COLUMN mixed_minutes {int}
    CONSTRAINT ck_weighings_mixed_minutes CHECK (mixed_minutes >= 0);
ALTER TABLE weighings ADD COLUMN checked_at {int};
ALTER TABLE weighings ADD COLUMN outcome {text}
    CONSTRAINT ck_weighings_outcome CHECK (outcome IN ('back-to-lot', 'scrapped', 'into-rework'));
";

const SQLITE: &str = "
PRAGMA defer_foreign_keys = ON;

CREATE TABLE tickets_before AS SELECT * FROM tickets;
DROP TABLE tickets;

CREATE TABLE tickets (
    id {id} NOT NULL,
    number {text} NOT NULL,
    number_key {text} NOT NULL,
    formula {id} NOT NULL,
    version {id} NOT NULL,
    pack {id},
    units {int},
    batch {int} NOT NULL,
    planned_for {date} NOT NULL,
    status {text} NOT NULL,
    written_by {text} NOT NULL,
    written_at {int} NOT NULL,
    note {text},
    planned_batch {int},
    paused_by {text},
    paused_at {int},
    paused_reason {text},
    CONSTRAINT uq_tickets_id PRIMARY KEY (id),
    CONSTRAINT uq_tickets_number_key UNIQUE (number_key),
    CONSTRAINT fk_tickets_formula FOREIGN KEY (formula) REFERENCES formulas (id),
    CONSTRAINT fk_tickets_version FOREIGN KEY (version) REFERENCES formula_versions (id),
    CONSTRAINT fk_tickets_pack FOREIGN KEY (pack) REFERENCES packs (id),
    CONSTRAINT ck_tickets_units CHECK (units > 0),
    CONSTRAINT ck_tickets_batch CHECK (batch > 0),
    CONSTRAINT ck_tickets_status CHECK (status IN ('planned', 'allocated', 'weighing', 'making', 'on-test', 'adjusting',
        'filling', 'reconciled', 'released', 'rejected', 'cancelled', 'voided')),
    CONSTRAINT ck_tickets_planned_batch CHECK (planned_batch > 0),
    CONSTRAINT ck_tickets_paused CHECK ((paused_by IS NULL) = (paused_at IS NULL)
        AND (paused_by IS NULL) = (paused_reason IS NULL))
) {strict};

INSERT INTO tickets (id, number, number_key, formula, version, pack, units, batch, planned_for, status, written_by, written_at,
    note)
SELECT id, number, number_key, formula, version, pack, units, batch, planned_for,
    CASE status WHEN 'in-process' THEN 'weighing' WHEN 'complete' THEN 'reconciled' ELSE status END,
    written_by, written_at, note
FROM tickets_before;

DROP TABLE tickets_before;

CREATE INDEX ix_tickets_planned ON tickets (planned_for, id);
CREATE INDEX ix_tickets_open ON tickets (planned_for, id)
    WHERE status IN ('planned', 'allocated', 'weighing', 'making', 'on-test', 'adjusting');
CREATE INDEX ix_tickets_formula ON tickets (formula);

CREATE TRIGGER kept_tickets_delete BEFORE DELETE ON tickets
BEGIN SELECT RAISE(ABORT, 'kept_tickets'); END;

CREATE TRIGGER kept_ticket_steps_update BEFORE UPDATE ON ticket_steps
BEGIN SELECT RAISE(ABORT, 'kept_ticket_steps'); END;

CREATE TRIGGER kept_ticket_steps_delete BEFORE DELETE ON ticket_steps
BEGIN SELECT RAISE(ABORT, 'kept_ticket_steps'); END;

CREATE TRIGGER kept_alternates_update BEFORE UPDATE ON alternates
BEGIN SELECT RAISE(ABORT, 'kept_alternates'); END;

CREATE TRIGGER kept_alternates_delete BEFORE DELETE ON alternates
BEGIN SELECT RAISE(ABORT, 'kept_alternates'); END;
";

/// The same columns and checks; a check can be exchanged here.
const POSTGRES: &str = "
ALTER TABLE tickets DROP CONSTRAINT ck_tickets_status;
UPDATE tickets SET status = CASE status WHEN 'in-process' THEN 'weighing' WHEN 'complete' THEN 'reconciled' ELSE status END;
ALTER TABLE tickets ADD CONSTRAINT ck_tickets_status CHECK (status IN ('planned', 'allocated', 'weighing', 'making', 'on-test',
    'adjusting', 'filling', 'reconciled', 'released', 'rejected', 'cancelled', 'voided'));
ALTER TABLE tickets ADD COLUMN planned_batch {int} CONSTRAINT ck_tickets_planned_batch CHECK (planned_batch > 0);
ALTER TABLE tickets ADD COLUMN paused_by {text};
ALTER TABLE tickets ADD COLUMN paused_at {int};
ALTER TABLE tickets ADD COLUMN paused_reason {text};
ALTER TABLE tickets ADD CONSTRAINT ck_tickets_paused CHECK ((paused_by IS NULL) = (paused_at IS NULL)
    AND (paused_by IS NULL) = (paused_reason IS NULL));
DROP INDEX ix_tickets_open;
CREATE INDEX ix_tickets_open ON tickets (planned_for, id)
    WHERE status IN ('planned', 'allocated', 'weighing', 'making', 'on-test', 'adjusting');

CREATE TRIGGER kept_tickets BEFORE DELETE ON tickets
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_tickets');
CREATE TRIGGER kept_ticket_steps BEFORE UPDATE OR DELETE ON ticket_steps
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_ticket_steps');
CREATE TRIGGER kept_ticket_steps_truncate BEFORE TRUNCATE ON ticket_steps
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('kept_ticket_steps');
CREATE TRIGGER kept_alternates BEFORE UPDATE OR DELETE ON alternates
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_alternates');
CREATE TRIGGER kept_alternates_truncate BEFORE TRUNCATE ON alternates
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('kept_alternates');
";
