//! The end of a batch: what it is examined for and the results, what became of every kilogram, and how components were reconciled.

crate::migration!("m0017_finishing", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
CREATE TABLE check_limits (
    id {id} NOT NULL,
    formula {id} NOT NULL,
    name {text} NOT NULL,
    lower_limit {text},
    upper_limit {text},
    unit {text},
    method {text},
    asked {int} NOT NULL,
    approved_by {text} NOT NULL,
    approved_at {int} NOT NULL,
    CONSTRAINT uq_check_limits_id PRIMARY KEY (id),
    CONSTRAINT fk_check_limits_formula FOREIGN KEY (formula) REFERENCES formulas (id),
    CONSTRAINT ck_check_limits_asked CHECK (asked IN (0, 1))
) {strict};

CREATE INDEX ix_check_limits_formula ON check_limits (formula);

CREATE TABLE batch_checks (
    id {id} NOT NULL,
    ticket {id} NOT NULL,
    name {text} NOT NULL,
    figure {text},
    words {text},
    passed {int} NOT NULL,
    lower_limit {text},
    upper_limit {text},
    unit {text},
    instrument {text},
    accepted {text},
    entered_by {text} NOT NULL,
    entered_at {int} NOT NULL,
    CONSTRAINT uq_batch_checks_id PRIMARY KEY (id),
    CONSTRAINT fk_batch_checks_ticket FOREIGN KEY (ticket) REFERENCES tickets (id),
    CONSTRAINT ck_batch_checks_result CHECK ((figure IS NULL) <> (words IS NULL)),
    CONSTRAINT ck_batch_checks_passed CHECK (passed IN (0, 1))
) {strict};

CREATE INDEX ix_batch_checks_ticket ON batch_checks (ticket);

CREATE TABLE ticket_losses (
    ticket {id} NOT NULL,
    position {int} NOT NULL,
    stage {text} NOT NULL,
    bucket {text} NOT NULL,
    amount {int} NOT NULL,
    entered_by {text} NOT NULL,
    entered_at {int} NOT NULL,
    CONSTRAINT uq_ticket_losses_ticket_position PRIMARY KEY (ticket, position),
    CONSTRAINT fk_ticket_losses_ticket FOREIGN KEY (ticket) REFERENCES tickets (id),
    CONSTRAINT ck_ticket_losses_stage CHECK (stage IN ('making', 'filling')),
    CONSTRAINT ck_ticket_losses_bucket CHECK (bucket IN ('heel', 'evaporated', 'samples', 'retains', 'purge', 'waste')),
    CONSTRAINT ck_ticket_losses_amount CHECK (amount > 0)
) {strict};

CREATE TABLE filling_records (
    ticket {id} NOT NULL,
    position {int} NOT NULL,
    drawn {int} NOT NULL,
    rejected {int} NOT NULL,
    day {date} NOT NULL,
    entered_by {text} NOT NULL,
    entered_at {int} NOT NULL,
    CONSTRAINT uq_filling_records_ticket_position PRIMARY KEY (ticket, position),
    CONSTRAINT fk_filling_records_filling FOREIGN KEY (ticket, position) REFERENCES fillings (ticket, position),
    CONSTRAINT ck_filling_records_drawn CHECK (drawn >= 0),
    CONSTRAINT ck_filling_records_rejected CHECK (rejected >= 0)
) {strict};

CREATE TABLE filling_components (
    ticket {id} NOT NULL,
    position {int} NOT NULL,
    material {id} NOT NULL,
    issued {int},
    used {int} NOT NULL,
    spoiled {int} NOT NULL,
    returned {int} NOT NULL,
    CONSTRAINT uq_filling_components_ticket_position_material PRIMARY KEY (ticket, position, material),
    CONSTRAINT fk_filling_components_filling FOREIGN KEY (ticket, position) REFERENCES filling_records (ticket, position),
    CONSTRAINT fk_filling_components_material FOREIGN KEY (material) REFERENCES materials (id),
    CONSTRAINT ck_filling_components_pieces CHECK (issued >= 0 AND used >= 0 AND spoiled >= 0 AND returned >= 0)
) {strict};

CREATE TABLE reconciliations (
    ticket {id} NOT NULL,
    charged {int} NOT NULL,
    bulk {int} NOT NULL,
    filled {int} NOT NULL,
    left_over {int} NOT NULL,
    reason {text},
    entered_by {text} NOT NULL,
    entered_at {int} NOT NULL,
    CONSTRAINT uq_reconciliations_ticket PRIMARY KEY (ticket),
    CONSTRAINT fk_reconciliations_ticket FOREIGN KEY (ticket) REFERENCES tickets (id)
) {strict};
";

const SQLITE: &str = "
CREATE TRIGGER kept_check_limits_update BEFORE UPDATE ON check_limits
BEGIN SELECT RAISE(ABORT, 'kept_check_limits'); END;
CREATE TRIGGER kept_check_limits_delete BEFORE DELETE ON check_limits
BEGIN SELECT RAISE(ABORT, 'kept_check_limits'); END;
CREATE TRIGGER kept_batch_checks_update BEFORE UPDATE ON batch_checks
BEGIN SELECT RAISE(ABORT, 'kept_batch_checks'); END;
CREATE TRIGGER kept_batch_checks_delete BEFORE DELETE ON batch_checks
BEGIN SELECT RAISE(ABORT, 'kept_batch_checks'); END;
";

const POSTGRES: &str = "
CREATE TRIGGER kept_check_limits BEFORE UPDATE OR DELETE ON check_limits
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_check_limits');
CREATE TRIGGER kept_batch_checks BEFORE UPDATE OR DELETE ON batch_checks
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_batch_checks');
";
