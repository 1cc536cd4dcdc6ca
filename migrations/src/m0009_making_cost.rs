//! What else leaves a batch, named costs of making it, filling runs, and rates of the house.
//!
//! Times of work are in milliseconds, the percent of an overhead in 10⁻⁹, its cost of a period in millionths and prices in 10⁻⁸ of
//! the currency unit; capacities are text, for they may be hours, batches or money. The rates of the house are history: a row is
//! never changed.

crate::migration!("m0009_making_cost", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
ALTER TABLE formula_versions ADD COLUMN evaporation {int} NOT NULL DEFAULT 0
    CONSTRAINT ck_formula_versions_evaporation CHECK (evaporation >= 0 AND evaporation + process_loss < 100000000000);
ALTER TABLE formula_versions ADD COLUMN samples {int} NOT NULL DEFAULT 0
    CONSTRAINT ck_formula_versions_samples CHECK (samples >= 0);
ALTER TABLE formula_versions ADD COLUMN retains {int} NOT NULL DEFAULT 0
    CONSTRAINT ck_formula_versions_retains CHECK (retains >= 0);

CREATE TABLE making_costs (
    version {id} NOT NULL,
    position {int} NOT NULL,
    name {text} NOT NULL,
    name_key {text} NOT NULL,
    kind {text} NOT NULL,
    amount_kind {text} NOT NULL,
    amount {int} NOT NULL,
    currency {text},
    rate {text},
    CONSTRAINT uq_making_costs_version_position PRIMARY KEY (version, position),
    CONSTRAINT uq_making_costs_version_name_key UNIQUE (version, name_key),
    CONSTRAINT fk_making_costs_version FOREIGN KEY (version) REFERENCES formula_versions (id),
    CONSTRAINT ck_making_costs_kind CHECK (kind IN ('labour', 'machine', 'cleaning', 'tests', 'disposal', 'other')),
    CONSTRAINT ck_making_costs_amount CHECK (amount_kind IN ('per-batch', 'hours', 'per-kg-charged', 'per-kg-of-waste')
        AND amount >= 0 AND (amount_kind = 'hours') = (rate IS NOT NULL)
        AND (amount_kind = 'hours') = (currency IS NULL) AND (amount_kind <> 'hours' OR amount > 0)),
    CONSTRAINT ck_making_costs_currency CHECK (length(currency) = 3)
) {strict};

ALTER TABLE packs ADD COLUMN units_kept_back {int} NOT NULL DEFAULT 0
    CONSTRAINT ck_packs_units_kept_back CHECK (units_kept_back >= 0);
ALTER TABLE packs ADD COLUMN changeover {int} CONSTRAINT ck_packs_changeover CHECK (changeover >= 0);
ALTER TABLE packs ADD COLUMN changeover_currency {text} CONSTRAINT ck_packs_changeover_currency CHECK (
    (changeover IS NULL) = (changeover_currency IS NULL) AND length(changeover_currency) = 3);
ALTER TABLE packs ADD COLUMN units_per_hour {int} CONSTRAINT ck_packs_units_per_hour CHECK (
    units_per_hour > 0 AND (units_per_hour IS NULL OR line_labour IS NULL));
ALTER TABLE packs ADD COLUMN people {int} CONSTRAINT ck_packs_people CHECK (
    people >= 0 AND (people IS NULL) = (units_per_hour IS NULL));
ALTER TABLE packs ADD COLUMN labour_rate {text} CONSTRAINT ck_packs_labour_rate CHECK (
    labour_rate IS NULL OR (units_per_hour IS NOT NULL AND people > 0));
ALTER TABLE packs ADD COLUMN machine_rate {text} CONSTRAINT ck_packs_machine_rate CHECK (
    machine_rate IS NULL OR units_per_hour IS NOT NULL);

CREATE TABLE house_rates (
    id {id} NOT NULL,
    name {text} NOT NULL,
    name_key {text} NOT NULL,
    rate_of {text} NOT NULL,
    price {int},
    percent {int},
    cost {int},
    currency {text},
    normal_capacity {text},
    capacity_used {text},
    valid_from {date} NOT NULL,
    note {text},
    CONSTRAINT uq_house_rates_id PRIMARY KEY (id),
    CONSTRAINT uq_house_rates_name_key_valid_from UNIQUE (name_key, valid_from),
    CONSTRAINT ck_house_rates_of CHECK (rate_of IN ('labour-hour', 'machine-hour', 'overhead-per-labour-hour',
        'overhead-per-machine-hour', 'overhead-per-batch', 'overhead-on-labour')),
    CONSTRAINT ck_house_rates_price CHECK (price >= 0 AND (price IS NULL OR rate_of <> 'overhead-on-labour')),
    CONSTRAINT ck_house_rates_percent CHECK (percent >= 0 AND (percent IS NULL OR rate_of = 'overhead-on-labour')),
    CONSTRAINT ck_house_rates_cost CHECK (cost >= 0
        AND (cost IS NULL OR rate_of NOT IN ('labour-hour', 'machine-hour'))),
    CONSTRAINT ck_house_rates_one_amount CHECK (
        (price IS NOT NULL AND percent IS NULL AND cost IS NULL)
        OR (price IS NULL AND (percent IS NULL) <> (cost IS NULL))),
    CONSTRAINT ck_house_rates_currency CHECK ((currency IS NULL) = (price IS NULL AND cost IS NULL)
        AND length(currency) = 3),
    CONSTRAINT ck_house_rates_capacity CHECK ((normal_capacity IS NULL) = (cost IS NULL)
        AND (capacity_used IS NULL OR cost IS NOT NULL))
) {strict};
";

/// An approved version never changes; what was added to it neither.
const SQLITE: &str = "
CREATE TRIGGER fixed_formula_versions_making BEFORE UPDATE OF evaporation, samples, retains
ON formula_versions WHEN OLD.status <> 'draft'
BEGIN SELECT RAISE(ABORT, 'fixed_formula_versions'); END;

CREATE TRIGGER fixed_making_costs_insert BEFORE INSERT ON making_costs
WHEN EXISTS (SELECT 1 FROM formula_versions WHERE id = NEW.version AND status <> 'draft')
BEGIN SELECT RAISE(ABORT, 'fixed_making_costs'); END;

CREATE TRIGGER fixed_making_costs_update BEFORE UPDATE ON making_costs
WHEN EXISTS (SELECT 1 FROM formula_versions WHERE id IN (OLD.version, NEW.version) AND status <> 'draft')
BEGIN SELECT RAISE(ABORT, 'fixed_making_costs'); END;

CREATE TRIGGER fixed_making_costs_delete BEFORE DELETE ON making_costs
WHEN EXISTS (SELECT 1 FROM formula_versions WHERE id = OLD.version AND status <> 'draft')
BEGIN SELECT RAISE(ABORT, 'fixed_making_costs'); END;

CREATE TRIGGER kept_house_rates_update BEFORE UPDATE ON house_rates
BEGIN SELECT RAISE(ABORT, 'kept_house_rates'); END;

CREATE TRIGGER kept_house_rates_delete BEFORE DELETE ON house_rates
BEGIN SELECT RAISE(ABORT, 'kept_house_rates'); END;
";

/// As for SQLite.
const POSTGRES: &str = "
CREATE FUNCTION refuse_change_of_fixed_making_costs() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (TG_OP <> 'INSERT' AND EXISTS (SELECT 1 FROM formula_versions WHERE id = OLD.version AND status <> 'draft'))
        OR (TG_OP <> 'DELETE' AND EXISTS (SELECT 1 FROM formula_versions WHERE id = NEW.version AND status <> 'draft'))
    THEN
        RAISE EXCEPTION USING ERRCODE = 'restrict_violation', CONSTRAINT = 'fixed_making_costs',
            MESSAGE = 'fixed_making_costs';
    END IF;
    IF TG_OP = 'DELETE' THEN
        RETURN OLD;
    END IF;
    RETURN NEW;
END $$;

CREATE TRIGGER fixed_formula_versions_making BEFORE UPDATE OF evaporation, samples, retains
ON formula_versions FOR EACH ROW WHEN (OLD.status <> 'draft')
EXECUTE FUNCTION refuse_change('fixed_formula_versions');

CREATE TRIGGER fixed_making_costs BEFORE INSERT OR UPDATE OR DELETE ON making_costs
FOR EACH ROW EXECUTE FUNCTION refuse_change_of_fixed_making_costs();

CREATE TRIGGER kept_house_rates BEFORE UPDATE OR DELETE ON house_rates
FOR EACH ROW EXECUTE FUNCTION refuse_change('kept_house_rates');

CREATE TRIGGER kept_house_rates_truncate BEFORE TRUNCATE ON house_rates
FOR EACH STATEMENT EXECUTE FUNCTION refuse_change('kept_house_rates');
";
