//! Formula lines as they are really written: % w/v and % v/v, parts by weight, and lines added until a result is reached.
//!
//! SQLite cannot change a check, so both tables are made anew there. What refers to them goes on referring to their names: with
//! references looked at on commit only, rows may be gone in between. Triggers and indexes go with a table and are made again.

crate::migration!("m0007_lines", both: "", sqlite: SQLITE, postgres: POSTGRES);

const SQLITE: &str = "
PRAGMA defer_foreign_keys = ON;

CREATE TABLE formula_versions_before AS SELECT * FROM formula_versions;
CREATE TABLE formula_lines_before AS SELECT * FROM formula_lines;
DROP TABLE formula_lines;
DROP TABLE formula_versions;

CREATE TABLE formula_versions (
    id {id} NOT NULL,
    formula {id} NOT NULL,
    number {int} NOT NULL,
    status {text} NOT NULL,
    written_as {text} NOT NULL,
    written_total {int},
    density {int},
    density_measured_on {date},
    density_celsius {text},
    process_loss {int} NOT NULL,
    heel {int} NOT NULL,
    usual_batch {int} NOT NULL,
    smallest_batch {int},
    largest_batch {int},
    cost_per_batch {int},
    cost_currency {text},
    shelf_life {text},
    approved_by {text},
    approved_on {date},
    note {text},
    CONSTRAINT uq_formula_versions_id PRIMARY KEY (id),
    CONSTRAINT uq_formula_versions_formula_number UNIQUE (formula, number),
    CONSTRAINT fk_formula_versions_formula FOREIGN KEY (formula) REFERENCES formulas (id),
    CONSTRAINT ck_formula_versions_number CHECK (number > 0),
    CONSTRAINT ck_formula_versions_status CHECK (status IN ('draft', 'approved', 'retired')),
    CONSTRAINT ck_formula_versions_written CHECK (written_as IN ('percent', 'grams', 'volume', 'parts')
        AND (written_as IN ('percent', 'parts')) = (written_total IS NULL) AND written_total > 0),
    CONSTRAINT ck_formula_versions_density CHECK (density > 0),
    CONSTRAINT ck_formula_versions_measured CHECK (density IS NOT NULL
        OR (density_measured_on IS NULL AND density_celsius IS NULL)),
    CONSTRAINT ck_formula_versions_process_loss CHECK (process_loss >= 0 AND process_loss < 100000000000),
    CONSTRAINT ck_formula_versions_heel CHECK (heel >= 0),
    CONSTRAINT ck_formula_versions_batch CHECK (usual_batch > 0),
    CONSTRAINT ck_formula_versions_smallest CHECK (smallest_batch >= 0),
    CONSTRAINT ck_formula_versions_largest CHECK (largest_batch > 0),
    CONSTRAINT ck_formula_versions_cost CHECK ((cost_per_batch IS NULL) = (cost_currency IS NULL)
        AND cost_per_batch >= 0 AND length(cost_currency) = 3),
    CONSTRAINT ck_formula_versions_approval CHECK ((approved_by IS NULL) = (approved_on IS NULL))
) {strict};

INSERT INTO formula_versions (id, formula, number, status, written_as, written_total, density, density_measured_on,
    density_celsius, process_loss, heel, usual_batch, smallest_batch, largest_batch, cost_per_batch, cost_currency, shelf_life,
    approved_by, approved_on, note)
SELECT id, formula, number, status, written_as, written_total, density, density_measured_on, density_celsius, process_loss,
    heel, usual_batch, smallest_batch, largest_batch, cost_per_batch, cost_currency, shelf_life, approved_by, approved_on, note
FROM formula_versions_before;

CREATE TABLE formula_lines (
    version {id} NOT NULL,
    position {int} NOT NULL,
    phase {text},
    material {id} NOT NULL,
    amount_kind {text} NOT NULL,
    amount {int},
    basis {text} NOT NULL,
    function {text},
    use_level_from {int},
    use_level_to {int},
    weighing_tolerance {int},
    instruction {text},
    trim_result {text},
    trim_stop_kind {text},
    trim_stop {int},
    CONSTRAINT uq_formula_lines_version_position PRIMARY KEY (version, position),
    CONSTRAINT fk_formula_lines_version FOREIGN KEY (version) REFERENCES formula_versions (id),
    CONSTRAINT fk_formula_lines_material FOREIGN KEY (material) REFERENCES materials (id),
    CONSTRAINT ck_formula_lines_position CHECK (position >= 0),
    CONSTRAINT ck_formula_lines_amount CHECK (amount_kind IN ('percent', 'percent-w/v', 'percent-v/v', 'parts', 'mass',
        'volume', 'quantity-sufficient') AND (amount_kind = 'quantity-sufficient') = (amount IS NULL) AND amount >= 0),
    CONSTRAINT ck_formula_lines_basis CHECK (basis IN ('as-supplied', 'active-matter')),
    CONSTRAINT ck_formula_lines_use_level_from CHECK (use_level_from BETWEEN 0 AND 100000000000),
    CONSTRAINT ck_formula_lines_use_level_to CHECK (use_level_to BETWEEN 0 AND 100000000000),
    CONSTRAINT ck_formula_lines_tolerance CHECK (weighing_tolerance >= 0),
    CONSTRAINT ck_formula_lines_trim CHECK ((trim_stop IS NULL) = (trim_stop_kind IS NULL)
        AND (trim_result IS NOT NULL OR trim_stop IS NULL)
        AND (trim_result IS NULL OR amount_kind <> 'quantity-sufficient')
        AND trim_stop_kind = amount_kind AND trim_stop >= amount)
) {strict};

INSERT INTO formula_lines (version, position, phase, material, amount_kind, amount, basis, function, use_level_from,
    use_level_to, weighing_tolerance, instruction)
SELECT version, position, phase, material, amount_kind, amount, basis, function, use_level_from, use_level_to,
    weighing_tolerance, instruction
FROM formula_lines_before;

DROP TABLE formula_lines_before;
DROP TABLE formula_versions_before;

CREATE INDEX ix_formula_lines_material ON formula_lines (material);

CREATE TRIGGER fixed_formula_versions_update BEFORE UPDATE OF id, formula, number, written_as, written_total, density,
    density_measured_on, density_celsius, process_loss, heel, usual_batch, smallest_batch, largest_batch, cost_per_batch,
    cost_currency, shelf_life, note
ON formula_versions WHEN OLD.status <> 'draft'
BEGIN SELECT RAISE(ABORT, 'fixed_formula_versions'); END;

CREATE TRIGGER fixed_formula_versions_delete BEFORE DELETE ON formula_versions WHEN OLD.status <> 'draft'
BEGIN SELECT RAISE(ABORT, 'fixed_formula_versions'); END;

CREATE TRIGGER fixed_formula_versions_status BEFORE UPDATE OF status ON formula_versions
WHEN NEW.status = 'draft' AND OLD.status <> 'draft'
BEGIN SELECT RAISE(ABORT, 'fixed_formula_versions'); END;

CREATE TRIGGER fixed_formula_lines_insert BEFORE INSERT ON formula_lines
WHEN EXISTS (SELECT 1 FROM formula_versions WHERE id = NEW.version AND status <> 'draft')
BEGIN SELECT RAISE(ABORT, 'fixed_formula_lines'); END;

CREATE TRIGGER fixed_formula_lines_update BEFORE UPDATE ON formula_lines
WHEN EXISTS (SELECT 1 FROM formula_versions WHERE id IN (OLD.version, NEW.version) AND status <> 'draft')
BEGIN SELECT RAISE(ABORT, 'fixed_formula_lines'); END;

CREATE TRIGGER fixed_formula_lines_delete BEFORE DELETE ON formula_lines
WHEN EXISTS (SELECT 1 FROM formula_versions WHERE id = OLD.version AND status <> 'draft')
BEGIN SELECT RAISE(ABORT, 'fixed_formula_lines'); END;
";

/// The same columns and checks; a check can be exchanged here.
const POSTGRES: &str = "
ALTER TABLE formula_versions DROP CONSTRAINT ck_formula_versions_written;
ALTER TABLE formula_versions ADD CONSTRAINT ck_formula_versions_written
    CHECK (written_as IN ('percent', 'grams', 'volume', 'parts')
        AND (written_as IN ('percent', 'parts')) = (written_total IS NULL) AND written_total > 0);

ALTER TABLE formula_lines ADD COLUMN trim_result {text};
ALTER TABLE formula_lines ADD COLUMN trim_stop_kind {text};
ALTER TABLE formula_lines ADD COLUMN trim_stop {int};
ALTER TABLE formula_lines DROP CONSTRAINT ck_formula_lines_amount;
ALTER TABLE formula_lines ADD CONSTRAINT ck_formula_lines_amount
    CHECK (amount_kind IN ('percent', 'percent-w/v', 'percent-v/v', 'parts', 'mass', 'volume', 'quantity-sufficient')
        AND (amount_kind = 'quantity-sufficient') = (amount IS NULL) AND amount >= 0);
ALTER TABLE formula_lines ADD CONSTRAINT ck_formula_lines_trim CHECK ((trim_stop IS NULL) = (trim_stop_kind IS NULL)
    AND (trim_result IS NOT NULL OR trim_stop IS NULL)
    AND (trim_result IS NULL OR amount_kind <> 'quantity-sufficient')
    AND trim_stop_kind = amount_kind AND trim_stop >= amount);
";
