//! What a lot is bound to beyond its dates: whose it is, what it was released for, what of it cannot be had; its containers, its
//! certificate of analysis and documents; the places it may stand; and why a movement happened, in a word that can be counted.
//!
//! `number_sought` and `supplier_lot_sought` are what a lot is looked up by: letters and digits only, in capitals, without any O or
//! nought. That finds a little too much, and the store looks at what it found once more. `blocked` and `heel` are amounts of the
//! lot's own dimension: what stands in containers that may not be used, and what no pump reaches.

crate::migration!("m0013_lots", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
ALTER TABLE lots ADD COLUMN ownership {text} NOT NULL DEFAULT 'house'
    CONSTRAINT ck_lots_ownership CHECK (ownership IN ('house', 'customer', 'consignment'));
ALTER TABLE lots ADD COLUMN owner {text};
ALTER TABLE lots ADD COLUMN restricted_to {text};
ALTER TABLE lots ADD COLUMN released_until {date};
ALTER TABLE lots ADD COLUMN retested_until {date};
ALTER TABLE lots ADD COLUMN blocked {int} NOT NULL DEFAULT 0 CONSTRAINT ck_lots_blocked CHECK (blocked >= 0);
ALTER TABLE lots ADD COLUMN heel {int} NOT NULL DEFAULT 0 CONSTRAINT ck_lots_heel CHECK (heel >= 0);
ALTER TABLE lots ADD COLUMN cost_provisional {int} NOT NULL DEFAULT 0
    CONSTRAINT ck_lots_cost_provisional CHECK (cost_provisional IN (0, 1));
ALTER TABLE lots ADD COLUMN expected {int} CONSTRAINT ck_lots_expected CHECK (expected > 0);
ALTER TABLE lots ADD COLUMN due_on {date};
ALTER TABLE lots ADD COLUMN ended {text} CONSTRAINT ck_lots_ended CHECK (ended IN ('returned', 'disposed'));
ALTER TABLE lots ADD COLUMN made_on_written {text};
ALTER TABLE lots ADD COLUMN expires_on_written {text};
ALTER TABLE lots ADD COLUMN retest_on_written {text};
ALTER TABLE lots ADD COLUMN number_sought {text};
ALTER TABLE lots ADD COLUMN supplier_lot_sought {text};

UPDATE lots SET number_sought = replace(replace(replace(replace(replace(replace(replace(replace(
    upper(number), ' ', ''), '-', ''), '/', ''), '.', ''), '_', ''), '#', ''), 'O', ''), '0', ''),
    supplier_lot_sought = replace(replace(replace(replace(replace(replace(replace(replace(
    upper(supplier_lot), ' ', ''), '-', ''), '/', ''), '.', ''), '_', ''), '#', ''), 'O', ''), '0', '');

CREATE INDEX ix_lots_number_sought ON lots (number_sought);
CREATE INDEX ix_lots_supplier_lot_sought ON lots (supplier_lot_sought);

CREATE TABLE containers (
    id {id} NOT NULL,
    lot {id} NOT NULL,
    position {int} NOT NULL,
    of_count {int} NOT NULL,
    kind {text},
    gross {int},
    tare {int},
    net {int} NOT NULL,
    opened_on {date},
    state {text} NOT NULL,
    location {text},
    note {text},
    CONSTRAINT uq_containers_id PRIMARY KEY (id),
    CONSTRAINT uq_containers_lot_position UNIQUE (lot, position),
    CONSTRAINT fk_containers_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT ck_containers_position CHECK (position > 0),
    CONSTRAINT ck_containers_of_count CHECK (of_count > 0),
    CONSTRAINT ck_containers_gross CHECK (gross > 0),
    CONSTRAINT ck_containers_tare CHECK (tare >= 0 AND (gross IS NULL OR tare < gross)),
    CONSTRAINT ck_containers_net CHECK (net > 0),
    CONSTRAINT ck_containers_state CHECK (state IN ('with-lot', 'on-hold', 'rejected', 'emptied'))
) {strict};

ALTER TABLE movements ADD COLUMN cause {text} CONSTRAINT ck_movements_cause CHECK (cause IN ('count-difference', 'spill', 'leak',
    'damage', 'evaporation', 'moisture-uptake', 'unit-error', 'wrong-lot', 'contamination', 'past-its-date', 'unknown-loss',
    'short-delivery', 'tare-error', 'bench-trial', 'inspection', 'retained', 'returned-to-supplier', 'disposal', 'repacking'));
ALTER TABLE movements ADD COLUMN container {id} CONSTRAINT fk_movements_container REFERENCES containers (id);

CREATE INDEX ix_movements_container ON movements (container) WHERE container IS NOT NULL;

CREATE TABLE lot_results (
    lot {id} NOT NULL,
    position {int} NOT NULL,
    name {text} NOT NULL,
    method {text},
    figure {text},
    words {text},
    unit {text},
    least {text},
    most {text},
    CONSTRAINT uq_lot_results_lot_position PRIMARY KEY (lot, position),
    CONSTRAINT fk_lot_results_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT ck_lot_results_position CHECK (position > 0),
    CONSTRAINT ck_lot_results_said CHECK ((figure IS NULL) <> (words IS NULL))
) {strict};

CREATE TABLE lot_documents (
    lot {id} NOT NULL,
    position {int} NOT NULL,
    kind {text} NOT NULL,
    link {text} NOT NULL,
    sha256 {text} NOT NULL,
    added_at {int} NOT NULL,
    added_by {text} NOT NULL,
    CONSTRAINT uq_lot_documents_lot_position PRIMARY KEY (lot, position),
    CONSTRAINT fk_lot_documents_lot FOREIGN KEY (lot) REFERENCES lots (id),
    CONSTRAINT ck_lot_documents_kind CHECK (kind IN ('certificate-of-analysis', 'delivery-note', 'safety-data-sheet', 'photograph',
        'other')),
    CONSTRAINT ck_lot_documents_sha256 CHECK (length(sha256) = 64)
) {strict};

CREATE TABLE locations (
    code_key {text} NOT NULL,
    code {text} NOT NULL,
    name {text} NOT NULL,
    note {text},
    CONSTRAINT uq_locations_code_key PRIMARY KEY (code_key)
) {strict};
";

const SQLITE: &str = "
CREATE TRIGGER kept_lot_documents_update BEFORE UPDATE ON lot_documents
BEGIN SELECT RAISE(ABORT, 'kept_lot_documents'); END;

CREATE TRIGGER kept_lot_documents_delete BEFORE DELETE ON lot_documents
BEGIN SELECT RAISE(ABORT, 'kept_lot_documents'); END;
";

const POSTGRES: &str = "
CREATE TRIGGER kept_lot_documents BEFORE UPDATE OR DELETE ON lot_documents
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_lot_documents');
";
