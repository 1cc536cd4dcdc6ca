//! Scenarios that are kept, each with the answer it had when it was kept. One kept again under its name is another row.

crate::migration!("m0020_scenarios", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
CREATE TABLE scenarios (
    id {id} NOT NULL,
    name {text} NOT NULL,
    name_key {text} NOT NULL,
    number {int} NOT NULL,
    changes {text} NOT NULL,
    as_of {date} NOT NULL,
    kept_by {text} NOT NULL,
    kept_at {int} NOT NULL,
    catalogue_version {int} NOT NULL,
    answer {text} NOT NULL,
    CONSTRAINT uq_scenarios_id PRIMARY KEY (id),
    CONSTRAINT uq_scenarios_name_key_number UNIQUE (name_key, number),
    CONSTRAINT ck_scenarios_number CHECK (number > 0)
) {strict};
";

const SQLITE: &str = "
CREATE TRIGGER kept_scenarios_update BEFORE UPDATE ON scenarios
BEGIN SELECT RAISE(ABORT, 'kept_scenarios'); END;

CREATE TRIGGER kept_scenarios_delete BEFORE DELETE ON scenarios
BEGIN SELECT RAISE(ABORT, 'kept_scenarios'); END;
";

const POSTGRES: &str = "
CREATE TRIGGER kept_scenarios BEFORE UPDATE OR DELETE ON scenarios
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_scenarios');
";
