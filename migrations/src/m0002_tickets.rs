//! Batch tickets and what is to be weighed on them.

crate::migration!("m0002_tickets", both: BOTH, sqlite: "", postgres: "");

const BOTH: &str = "
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
    CONSTRAINT uq_tickets_id PRIMARY KEY (id),
    CONSTRAINT uq_tickets_number_key UNIQUE (number_key),
    CONSTRAINT fk_tickets_formula FOREIGN KEY (formula) REFERENCES formulas (id),
    CONSTRAINT fk_tickets_version FOREIGN KEY (version) REFERENCES formula_versions (id),
    CONSTRAINT fk_tickets_pack FOREIGN KEY (pack) REFERENCES packs (id),
    CONSTRAINT ck_tickets_units CHECK (units > 0),
    CONSTRAINT ck_tickets_batch CHECK (batch > 0),
    CONSTRAINT ck_tickets_status CHECK (status IN ('planned', 'allocated', 'in-process', 'complete', 'cancelled'))
) {strict};

CREATE INDEX ix_tickets_planned ON tickets (planned_for, id);
CREATE INDEX ix_tickets_open ON tickets (planned_for, id) WHERE status IN ('planned', 'allocated', 'in-process');
CREATE INDEX ix_tickets_formula ON tickets (formula);

CREATE TABLE ticket_lines (
    id {id} NOT NULL,
    ticket {id} NOT NULL,
    position {int} NOT NULL,
    phase {text},
    material {id} NOT NULL,
    target {int} NOT NULL,
    tolerance {int},
    instruction {text},
    CONSTRAINT uq_ticket_lines_id PRIMARY KEY (id),
    CONSTRAINT uq_ticket_lines_ticket_position UNIQUE (ticket, position),
    CONSTRAINT fk_ticket_lines_ticket FOREIGN KEY (ticket) REFERENCES tickets (id),
    CONSTRAINT fk_ticket_lines_material FOREIGN KEY (material) REFERENCES materials (id),
    CONSTRAINT ck_ticket_lines_position CHECK (position >= 0),
    CONSTRAINT ck_ticket_lines_target CHECK (target >= 0),
    CONSTRAINT ck_ticket_lines_tolerance CHECK (tolerance >= 0)
) {strict};

CREATE INDEX ix_ticket_lines_material ON ticket_lines (material);
";
