//! Lots and the stock ledger.
//!
//! A lot's balances stand beside the ledger that proves them. They are never below nought, and a lot that holds nothing is worth
//! nothing. What is promised may exceed what is there, since a count may find less.

crate::migration!("m0003_stock", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
CREATE TABLE lots (
    id {id} NOT NULL,
    number {text} NOT NULL,
    number_key {text} NOT NULL,
    material {id} NOT NULL,
    supplier {id},
    supplier_lot {text},
    made_by {id},
    status {text} NOT NULL,
    received_on {date} NOT NULL,
    made_on {date},
    expires_on {date},
    retest_on {date},
    opened_on {date},
    density {int},
    active_matter {int},
    location {text},
    dimension {text} NOT NULL,
    received {int} NOT NULL,
    received_value {int},
    currency {text},
    on_hand {int} NOT NULL,
    value {int},
    reserved {int} NOT NULL,
    note {text},
    CONSTRAINT uq_lots_id PRIMARY KEY (id),
    CONSTRAINT uq_lots_number_key UNIQUE (number_key),
    CONSTRAINT fk_lots_material FOREIGN KEY (material) REFERENCES materials (id),
    CONSTRAINT fk_lots_supplier FOREIGN KEY (supplier) REFERENCES suppliers (id),
    CONSTRAINT fk_lots_made_by FOREIGN KEY (made_by) REFERENCES tickets (id),
    CONSTRAINT ck_lots_status CHECK (status IN ('quarantine', 'released', 'on-hold', 'rejected')),
    CONSTRAINT ck_lots_density CHECK (density > 0),
    CONSTRAINT ck_lots_active_matter CHECK (active_matter BETWEEN 0 AND 100000000000),
    CONSTRAINT ck_lots_dimension CHECK (dimension IN ('mass', 'count')),
    CONSTRAINT ck_lots_received CHECK (received >= 0),
    CONSTRAINT ck_lots_on_hand CHECK (on_hand >= 0),
    CONSTRAINT ck_lots_reserved CHECK (reserved >= 0),
    CONSTRAINT ck_lots_value CHECK (value >= 0 AND (on_hand > 0 OR value = 0)),
    CONSTRAINT ck_lots_valued CHECK ((received_value IS NULL) = (currency IS NULL) AND (value IS NULL) = (currency IS NULL)
        AND received_value >= 0 AND length(currency) = 3)
) {strict};

CREATE INDEX ix_lots_material ON lots (material);
CREATE INDEX ix_lots_shelf ON lots (material) WHERE on_hand > 0;
CREATE INDEX ix_lots_supplier ON lots (supplier);

CREATE TABLE movements (
    seq {running number},
    id {id} NOT NULL,
    lot {id} NOT NULL,
    kind {text} NOT NULL,
    dimension {text} NOT NULL,
    quantity {int} NOT NULL,
    currency {text},
    value {int},
    day {date} NOT NULL,
    entered_at {int} NOT NULL,
    entered_by {text} NOT NULL,
    ticket {id},
    reverses {id},
    reason {text},
    CONSTRAINT uq_movements_id UNIQUE (id),
    CONSTRAINT uq_movements_reverses UNIQUE (reverses),
    CONSTRAINT fk_movements_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT fk_movements_ticket FOREIGN KEY (ticket) REFERENCES tickets (id),
    CONSTRAINT fk_movements_reverses FOREIGN KEY (reverses) REFERENCES movements (id),
    CONSTRAINT ck_movements_kind CHECK (kind IN ('receipt', 'made', 'weighing', 'filling', 'adjustment', 'sample', 'write-off',
        'reversal')),
    CONSTRAINT ck_movements_dimension CHECK (dimension IN ('mass', 'count')),
    CONSTRAINT ck_movements_quantity CHECK (quantity <> 0),
    CONSTRAINT ck_movements_direction CHECK ((kind NOT IN ('receipt', 'made') OR quantity > 0)
        AND (kind NOT IN ('weighing', 'sample', 'write-off') OR quantity < 0)),
    CONSTRAINT ck_movements_value CHECK ((value IS NULL) = (currency IS NULL) AND length(currency) = 3
        AND ((quantity > 0 AND value >= 0) OR (quantity < 0 AND value <= 0))),
    CONSTRAINT ck_movements_reversal CHECK ((kind = 'reversal') = (reverses IS NOT NULL))
) {strict};

CREATE INDEX ix_movements_lot ON movements (lot, seq);
CREATE INDEX ix_movements_ticket ON movements (ticket, seq) WHERE ticket IS NOT NULL;
";

const SQLITE: &str = "
CREATE TRIGGER kept_movements_update BEFORE UPDATE ON movements
BEGIN SELECT RAISE(ABORT, 'kept_movements'); END;

CREATE TRIGGER kept_movements_delete BEFORE DELETE ON movements
BEGIN SELECT RAISE(ABORT, 'kept_movements'); END;
";

const POSTGRES: &str = "
CREATE TRIGGER kept_movements BEFORE UPDATE OR DELETE ON movements
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_movements');

CREATE TRIGGER kept_movements_truncate BEFORE TRUNCATE ON movements
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('kept_movements');
";
