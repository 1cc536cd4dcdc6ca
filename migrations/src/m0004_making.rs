//! What is promised to tickets, what was weighed, and how they ended.

crate::migration!("m0004_making", both: BOTH, sqlite: "", postgres: "");

const BOTH: &str = "
CREATE TABLE allocations (
    ticket {id} NOT NULL,
    line {id} NOT NULL,
    lot {id} NOT NULL,
    position {int} NOT NULL,
    dimension {text} NOT NULL,
    quantity {int} NOT NULL,
    CONSTRAINT uq_allocations_line_lot PRIMARY KEY (line, lot),
    CONSTRAINT fk_allocations_ticket FOREIGN KEY (ticket) REFERENCES tickets (id),
    CONSTRAINT fk_allocations_line FOREIGN KEY (line) REFERENCES ticket_lines (id),
    CONSTRAINT fk_allocations_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT ck_allocations_quantity CHECK (quantity > 0),
    CONSTRAINT ck_allocations_dimension CHECK (dimension IN ('mass', 'count'))
) {strict};

CREATE INDEX ix_allocations_ticket ON allocations (ticket);
CREATE INDEX ix_allocations_lot ON allocations (lot);

CREATE TABLE weighings (
    id {id} NOT NULL,
    ticket {id} NOT NULL,
    line {id} NOT NULL,
    lot {id},
    amount {int} NOT NULL,
    weighed_by {text} NOT NULL,
    weighed_at {int} NOT NULL,
    checked_by {text},
    movement {id},
    reversed {text},
    CONSTRAINT uq_weighings_id PRIMARY KEY (id),
    CONSTRAINT uq_weighings_movement UNIQUE (movement),
    CONSTRAINT fk_weighings_ticket FOREIGN KEY (ticket) REFERENCES tickets (id),
    CONSTRAINT fk_weighings_line FOREIGN KEY (line) REFERENCES ticket_lines (id),
    CONSTRAINT fk_weighings_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT fk_weighings_movement FOREIGN KEY (movement) REFERENCES movements (id),
    CONSTRAINT ck_weighings_amount CHECK (amount > 0)
) {strict};

CREATE INDEX ix_weighings_ticket ON weighings (ticket);
CREATE INDEX ix_weighings_lot ON weighings (lot);

CREATE TABLE completions (
    ticket {id} NOT NULL,
    yield_mass {int} NOT NULL,
    lot {id} NOT NULL,
    density {int},
    completed_by {text} NOT NULL,
    completed_at {int} NOT NULL,
    day {date} NOT NULL,
    note {text},
    CONSTRAINT uq_completions_ticket PRIMARY KEY (ticket),
    CONSTRAINT fk_completions_ticket FOREIGN KEY (ticket) REFERENCES tickets (id),
    CONSTRAINT fk_completions_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT ck_completions_yield CHECK (yield_mass >= 0),
    CONSTRAINT ck_completions_density CHECK (density > 0)
) {strict};

CREATE TABLE fillings (
    ticket {id} NOT NULL,
    position {int} NOT NULL,
    pack {id} NOT NULL,
    filled {int} NOT NULL,
    lot {id} NOT NULL,
    CONSTRAINT uq_fillings_ticket_position PRIMARY KEY (ticket, position),
    CONSTRAINT fk_fillings_ticket FOREIGN KEY (ticket) REFERENCES completions (ticket),
    CONSTRAINT fk_fillings_pack FOREIGN KEY (pack) REFERENCES packs (id),
    CONSTRAINT fk_fillings_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT ck_fillings_filled CHECK (filled > 0)
) {strict};
";
