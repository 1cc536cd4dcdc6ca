//! Counting the shelf: sessions with what stood on the books when each began, what was found, and what was made of the difference;
//! and how closely each material is counted, and whether it bounds the expiry of what is made with it.

crate::migration!("m0014_counts", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
CREATE TABLE stock_rules (
    material {id} NOT NULL,
    count_class {text},
    count_tolerance {int},
    bounds_expiry {int} NOT NULL,
    CONSTRAINT uq_stock_rules_material PRIMARY KEY (material),
    CONSTRAINT fk_stock_rules_material FOREIGN KEY (material) REFERENCES materials (id),
    CONSTRAINT ck_stock_rules_count_class CHECK (count_class IN ('a', 'b', 'c')),
    CONSTRAINT ck_stock_rules_count_tolerance CHECK (count_tolerance BETWEEN 0 AND 100000000000),
    CONSTRAINT ck_stock_rules_bounds_expiry CHECK (bounds_expiry IN (0, 1))
) {strict};

CREATE TABLE counts (
    id {id} NOT NULL,
    number {text} NOT NULL,
    number_key {text} NOT NULL,
    blind {int} NOT NULL,
    status {text} NOT NULL,
    opened_at {int} NOT NULL,
    opened_by {text} NOT NULL,
    ended_at {int},
    ended_by {text},
    reason {text},
    CONSTRAINT uq_counts_id PRIMARY KEY (id),
    CONSTRAINT uq_counts_number_key UNIQUE (number_key),
    CONSTRAINT ck_counts_blind CHECK (blind IN (0, 1)),
    CONSTRAINT ck_counts_status CHECK (status IN ('open', 'closed', 'abandoned')),
    CONSTRAINT ck_counts_ended CHECK ((status = 'open') = (ended_at IS NULL) AND (ended_at IS NULL) = (ended_by IS NULL))
) {strict};

CREATE TABLE count_lines (
    count {id} NOT NULL,
    lot {id} NOT NULL,
    dimension {text} NOT NULL,
    booked {int} NOT NULL,
    tolerance {int} NOT NULL,
    found {int},
    found_booked {int},
    found_at {int},
    found_by {text},
    again {int},
    again_booked {int},
    again_at {int},
    again_by {text},
    movement {id},
    CONSTRAINT uq_count_lines_count_lot PRIMARY KEY (count, lot),
    CONSTRAINT fk_count_lines_count FOREIGN KEY (count) REFERENCES counts (id),
    CONSTRAINT fk_count_lines_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT fk_count_lines_movement FOREIGN KEY (movement) REFERENCES movements (id),
    CONSTRAINT ck_count_lines_dimension CHECK (dimension IN ('mass', 'count')),
    CONSTRAINT ck_count_lines_booked CHECK (booked >= 0),
    CONSTRAINT ck_count_lines_tolerance CHECK (tolerance BETWEEN 0 AND 100000000000),
    CONSTRAINT ck_count_lines_found CHECK (found >= 0 AND (found IS NULL) = (found_booked IS NULL)
        AND (found IS NULL) = (found_at IS NULL) AND (found IS NULL) = (found_by IS NULL)),
    CONSTRAINT ck_count_lines_again CHECK (again >= 0 AND (again IS NULL OR found IS NOT NULL)
        AND (again IS NULL) = (again_booked IS NULL) AND (again IS NULL) = (again_at IS NULL)
        AND (again IS NULL) = (again_by IS NULL))
) {strict};

CREATE INDEX ix_count_lines_lot ON count_lines (lot);
";

const SQLITE: &str = "";

const POSTGRES: &str = "";
