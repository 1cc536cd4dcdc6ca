//! What a cost that was known later changed: the ledger stays as it was posted, and beside each movement stands what it was worth
//! more or less. A lot's value is what its movements and their corrections add up to.

crate::migration!("m0015_corrections", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
CREATE TABLE cost_corrections (
    id {id} NOT NULL,
    lot {id} NOT NULL,
    currency {text} NOT NULL,
    amount {int} NOT NULL,
    entered_at {int} NOT NULL,
    entered_by {text} NOT NULL,
    because_of {id},
    reason {text} NOT NULL,
    CONSTRAINT uq_cost_corrections_id PRIMARY KEY (id),
    CONSTRAINT fk_cost_corrections_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT fk_cost_corrections_because_of FOREIGN KEY (because_of) REFERENCES cost_corrections (id),
    CONSTRAINT ck_cost_corrections_amount CHECK (amount <> 0),
    CONSTRAINT ck_cost_corrections_currency CHECK (length(currency) = 3)
) {strict};

CREATE INDEX ix_cost_corrections_lot ON cost_corrections (lot);

CREATE TABLE cost_correction_shares (
    correction {id} NOT NULL,
    lot {id} NOT NULL,
    movement {id} NOT NULL,
    ticket {id},
    amount {int} NOT NULL,
    CONSTRAINT uq_cost_correction_shares_correction_movement PRIMARY KEY (correction, movement),
    CONSTRAINT fk_cost_correction_shares_correction FOREIGN KEY (correction) REFERENCES cost_corrections (id),
    CONSTRAINT fk_cost_correction_shares_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT fk_cost_correction_shares_movement FOREIGN KEY (movement) REFERENCES movements (id),
    CONSTRAINT fk_cost_correction_shares_ticket FOREIGN KEY (ticket) REFERENCES tickets (id),
    CONSTRAINT ck_cost_correction_shares_amount CHECK (amount <> 0)
) {strict};

CREATE INDEX ix_cost_correction_shares_lot ON cost_correction_shares (lot);
CREATE INDEX ix_cost_correction_shares_ticket ON cost_correction_shares (ticket) WHERE ticket IS NOT NULL;
";

const SQLITE: &str = "
CREATE TRIGGER kept_cost_corrections_update BEFORE UPDATE ON cost_corrections
BEGIN SELECT RAISE(ABORT, 'kept_cost_corrections'); END;

CREATE TRIGGER kept_cost_corrections_delete BEFORE DELETE ON cost_corrections
BEGIN SELECT RAISE(ABORT, 'kept_cost_corrections'); END;

CREATE TRIGGER kept_cost_correction_shares_update BEFORE UPDATE ON cost_correction_shares
BEGIN SELECT RAISE(ABORT, 'kept_cost_correction_shares'); END;

CREATE TRIGGER kept_cost_correction_shares_delete BEFORE DELETE ON cost_correction_shares
BEGIN SELECT RAISE(ABORT, 'kept_cost_correction_shares'); END;
";

const POSTGRES: &str = "
CREATE TRIGGER kept_cost_corrections BEFORE UPDATE OR DELETE ON cost_corrections
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_cost_corrections');

CREATE TRIGGER kept_cost_correction_shares BEFORE UPDATE OR DELETE ON cost_correction_shares
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_cost_correction_shares');
";
