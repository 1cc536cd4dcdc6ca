//! What materials were agreed to cost, frozen on a day.

crate::migration!("m0010_standards", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
CREATE TABLE standard_costs (
    material {id} NOT NULL,
    frozen_on {date} NOT NULL,
    unit_cost {int} NOT NULL,
    currency {text} NOT NULL,
    basis {text} NOT NULL,
    explained {text} NOT NULL,
    CONSTRAINT uq_standard_costs_material_frozen_on PRIMARY KEY (material, frozen_on),
    CONSTRAINT fk_standard_costs_material FOREIGN KEY (material) REFERENCES materials (id),
    CONSTRAINT ck_standard_costs_unit_cost CHECK (unit_cost >= 0),
    CONSTRAINT ck_standard_costs_currency CHECK (length(currency) = 3)
) {strict};
";

const SQLITE: &str = "
CREATE TRIGGER kept_standard_costs_update BEFORE UPDATE ON standard_costs
BEGIN SELECT RAISE(ABORT, 'kept_standard_costs'); END;

CREATE TRIGGER kept_standard_costs_delete BEFORE DELETE ON standard_costs
BEGIN SELECT RAISE(ABORT, 'kept_standard_costs'); END;
";

const POSTGRES: &str = "
CREATE TRIGGER kept_standard_costs BEFORE UPDATE OR DELETE ON standard_costs
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_standard_costs');
";
