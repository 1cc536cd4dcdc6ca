//! Materials, suppliers, quotations, rates, formulas and packs.
//!
//! Amounts are whole numbers: masses in micrograms, volumes in nanolitres, counts in thousandths of a piece, money in millionths
//! and prices in 10⁻⁸ of the currency unit, percents and densities in 10⁻⁹. Where a quantity may be of several kinds, its
//! dimension stands beside it. Spans of time, exchange rates and temperatures are text.
//!
//! A check that comes out as NULL holds. So where two columns are filled together or not at all, that is said by comparing
//! `IS NULL` with `IS NULL`, which never is NULL itself; the bounds beside it may be.

crate::migration!("m0001_catalogue", both: BOTH, sqlite: SQLITE, postgres: POSTGRES);

const BOTH: &str = "
CREATE TABLE site_state (
    id {int} NOT NULL,
    catalogue_version {int} NOT NULL,
    CONSTRAINT uq_site_state_id PRIMARY KEY (id),
    CONSTRAINT ck_site_state_one_row CHECK (id = 1),
    CONSTRAINT ck_site_state_catalogue_version CHECK (catalogue_version >= 0)
) {strict};

INSERT INTO site_state (id, catalogue_version) VALUES (1, 0);

CREATE TABLE materials (
    id {id} NOT NULL,
    code {text} NOT NULL,
    code_key {text} NOT NULL,
    name {text} NOT NULL,
    kind {text} NOT NULL,
    inci {text},
    cas {text} NOT NULL,
    density {int},
    active_matter {int},
    use_level_from {int},
    use_level_to {int},
    use_level_kind {text},
    shelf_life {text},
    period_after_opening {text},
    minimum_remaining_life {text},
    inspection_time {text},
    signal_word {text},
    hazard_statements {text} NOT NULL,
    caution_groups {text} NOT NULL,
    incompatible_with {text} NOT NULL,
    flash_point_celsius {text},
    safety_data_sheet {text},
    note {text},
    CONSTRAINT uq_materials_id PRIMARY KEY (id),
    CONSTRAINT uq_materials_code_key UNIQUE (code_key),
    CONSTRAINT ck_materials_kind CHECK (kind IN ('raw-material', 'packaging-component', 'intermediate', 'bulk',
        'finished-product', 'utility')),
    CONSTRAINT ck_materials_density CHECK (density > 0),
    CONSTRAINT ck_materials_active_matter CHECK (active_matter BETWEEN 0 AND 100000000000),
    CONSTRAINT ck_materials_use_level_from CHECK (use_level_from BETWEEN 0 AND 100000000000),
    CONSTRAINT ck_materials_use_level_to CHECK (use_level_to BETWEEN 0 AND 100000000000),
    CONSTRAINT ck_materials_use_level CHECK (use_level_kind IN ('recommended', 'legal')
        AND (use_level_kind IS NOT NULL OR (use_level_from IS NULL AND use_level_to IS NULL))),
    CONSTRAINT ck_materials_signal_word CHECK (signal_word IN ('warning', 'danger'))
) {strict};

CREATE TABLE suppliers (
    id {id} NOT NULL,
    code {text} NOT NULL,
    code_key {text} NOT NULL,
    name {text} NOT NULL,
    country {text},
    currency {text} NOT NULL,
    lead_time {text},
    note {text},
    CONSTRAINT uq_suppliers_id PRIMARY KEY (id),
    CONSTRAINT uq_suppliers_code_key UNIQUE (code_key),
    CONSTRAINT ck_suppliers_currency CHECK (length(currency) = 3)
) {strict};

CREATE TABLE quotations (
    id {id} NOT NULL,
    reference {text} NOT NULL,
    reference_key {text} NOT NULL,
    supplier {id} NOT NULL,
    material {id} NOT NULL,
    currency {text} NOT NULL,
    valid_from {date} NOT NULL,
    valid_until {date},
    lead_time {text},
    minimum_order {int},
    minimum_order_dimension {text},
    freight_amount {int},
    freight_per {text},
    freight_quantity {int},
    freight_dimension {text},
    note {text},
    CONSTRAINT uq_quotations_id PRIMARY KEY (id),
    CONSTRAINT uq_quotations_supplier_reference_key_material UNIQUE (supplier, reference_key, material),
    CONSTRAINT fk_quotations_supplier FOREIGN KEY (supplier) REFERENCES suppliers (id),
    CONSTRAINT fk_quotations_material FOREIGN KEY (material) REFERENCES materials (id),
    CONSTRAINT ck_quotations_currency CHECK (length(currency) = 3),
    CONSTRAINT ck_quotations_valid CHECK (valid_until >= valid_from),
    CONSTRAINT ck_quotations_minimum_order CHECK ((minimum_order IS NULL) = (minimum_order_dimension IS NULL)
        AND minimum_order > 0 AND minimum_order_dimension IN ('mass', 'volume', 'count')),
    CONSTRAINT ck_quotations_freight CHECK ((freight_amount IS NULL) = (freight_per IS NULL)
        AND (freight_quantity IS NULL) = (freight_dimension IS NULL)
        AND (freight_quantity IS NULL) = (COALESCE(freight_per, '') <> 'quantity')
        AND freight_per IN ('quantity', 'pack', 'order') AND freight_amount >= 0 AND freight_quantity > 0
        AND freight_dimension IN ('mass', 'volume', 'count'))
) {strict};

CREATE INDEX ix_quotations_material ON quotations (material);

CREATE TABLE quotation_offers (
    quotation {id} NOT NULL,
    position {int} NOT NULL,
    pack {int} NOT NULL,
    pack_dimension {text} NOT NULL,
    price {int} NOT NULL,
    price_per {int} NOT NULL,
    price_per_dimension {text} NOT NULL,
    from_quantity {int},
    from_dimension {text},
    CONSTRAINT uq_quotation_offers_quotation_position PRIMARY KEY (quotation, position),
    CONSTRAINT fk_quotation_offers_quotation FOREIGN KEY (quotation) REFERENCES quotations (id),
    CONSTRAINT ck_quotation_offers_pack CHECK (pack > 0 AND pack_dimension IN ('mass', 'volume', 'count')),
    CONSTRAINT ck_quotation_offers_price CHECK (price >= 0 AND price_per > 0
        AND price_per_dimension IN ('mass', 'volume', 'count')),
    CONSTRAINT ck_quotation_offers_from CHECK ((from_quantity IS NULL) = (from_dimension IS NULL)
        AND from_quantity >= 0 AND from_dimension IN ('mass', 'volume', 'count'))
) {strict};

CREATE TABLE exchange_rates (
    id {id} NOT NULL,
    from_currency {text} NOT NULL,
    to_currency {text} NOT NULL,
    rate {text} NOT NULL,
    date {date} NOT NULL,
    source {text} NOT NULL,
    CONSTRAINT uq_exchange_rates_id PRIMARY KEY (id),
    CONSTRAINT uq_exchange_rates_from_currency_to_currency_date UNIQUE (from_currency, to_currency, date),
    CONSTRAINT ck_exchange_rates_pair CHECK (length(from_currency) = 3 AND length(to_currency) = 3
        AND from_currency <> to_currency)
) {strict};

CREATE TABLE formulas (
    id {id} NOT NULL,
    code {text} NOT NULL,
    code_key {text} NOT NULL,
    name {text} NOT NULL,
    makes {id} NOT NULL,
    CONSTRAINT uq_formulas_id PRIMARY KEY (id),
    CONSTRAINT uq_formulas_code_key UNIQUE (code_key),
    CONSTRAINT uq_formulas_makes UNIQUE (makes),
    CONSTRAINT fk_formulas_makes FOREIGN KEY (makes) REFERENCES materials (id)
) {strict};

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
    CONSTRAINT ck_formula_versions_written CHECK (written_as IN ('percent', 'grams', 'volume')
        AND (written_as = 'percent') = (written_total IS NULL) AND written_total > 0),
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
    CONSTRAINT uq_formula_lines_version_position PRIMARY KEY (version, position),
    CONSTRAINT fk_formula_lines_version FOREIGN KEY (version) REFERENCES formula_versions (id),
    CONSTRAINT fk_formula_lines_material FOREIGN KEY (material) REFERENCES materials (id),
    CONSTRAINT ck_formula_lines_position CHECK (position >= 0),
    CONSTRAINT ck_formula_lines_amount CHECK (amount_kind IN ('percent', 'mass', 'volume', 'quantity-sufficient')
        AND (amount_kind = 'quantity-sufficient') = (amount IS NULL) AND amount >= 0),
    CONSTRAINT ck_formula_lines_basis CHECK (basis IN ('as-supplied', 'active-matter')),
    CONSTRAINT ck_formula_lines_use_level_from CHECK (use_level_from BETWEEN 0 AND 100000000000),
    CONSTRAINT ck_formula_lines_use_level_to CHECK (use_level_to BETWEEN 0 AND 100000000000),
    CONSTRAINT ck_formula_lines_tolerance CHECK (weighing_tolerance >= 0)
) {strict};

CREATE INDEX ix_formula_lines_material ON formula_lines (material);

CREATE TABLE packs (
    id {id} NOT NULL,
    code {text} NOT NULL,
    code_key {text} NOT NULL,
    name {text} NOT NULL,
    formula {id} NOT NULL,
    product {id} NOT NULL,
    fill {int} NOT NULL,
    fill_dimension {text} NOT NULL,
    overfill {int} NOT NULL,
    filling_loss {int} NOT NULL,
    units_per_case {int},
    line_labour {int},
    line_labour_currency {text},
    price {int},
    price_currency {text},
    units_a_year {int},
    note {text},
    CONSTRAINT uq_packs_id PRIMARY KEY (id),
    CONSTRAINT uq_packs_code_key UNIQUE (code_key),
    CONSTRAINT fk_packs_formula FOREIGN KEY (formula) REFERENCES formulas (id),
    CONSTRAINT fk_packs_product FOREIGN KEY (product) REFERENCES materials (id),
    CONSTRAINT ck_packs_fill CHECK (fill > 0 AND fill_dimension IN ('mass', 'volume', 'count')),
    CONSTRAINT ck_packs_overfill CHECK (overfill >= 0),
    CONSTRAINT ck_packs_filling_loss CHECK (filling_loss >= 0 AND filling_loss < 100000000000),
    CONSTRAINT ck_packs_units_per_case CHECK (units_per_case > 0),
    CONSTRAINT ck_packs_line_labour CHECK ((line_labour IS NULL) = (line_labour_currency IS NULL)
        AND line_labour >= 0 AND length(line_labour_currency) = 3),
    CONSTRAINT ck_packs_price CHECK ((price IS NULL) = (price_currency IS NULL)
        AND price >= 0 AND length(price_currency) = 3),
    CONSTRAINT ck_packs_units_a_year CHECK (units_a_year >= 0)
) {strict};

CREATE INDEX ix_packs_formula ON packs (formula);

CREATE TABLE pack_components (
    pack {id} NOT NULL,
    position {int} NOT NULL,
    material {id} NOT NULL,
    quantity {int} NOT NULL,
    per {text} NOT NULL,
    loss {int} NOT NULL,
    CONSTRAINT uq_pack_components_pack_position PRIMARY KEY (pack, position),
    CONSTRAINT fk_pack_components_pack FOREIGN KEY (pack) REFERENCES packs (id),
    CONSTRAINT fk_pack_components_material FOREIGN KEY (material) REFERENCES materials (id),
    CONSTRAINT ck_pack_components_quantity CHECK (quantity > 0),
    CONSTRAINT ck_pack_components_per CHECK (per IN ('unit', 'case')),
    CONSTRAINT ck_pack_components_loss CHECK (loss >= 0 AND loss < 100000000000)
) {strict};

CREATE INDEX ix_pack_components_material ON pack_components (material);
";

/// An approved version never changes: neither what is written about it nor its lines. Its status may still move on.
const SQLITE: &str = "
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

/// As for SQLite. [`refuse_change`](POSTGRES) names the trigger's list as the broken constraint, so that the store can tell.
const POSTGRES: &str = "
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION USING ERRCODE = 'restrict_violation', CONSTRAINT = TG_ARGV[0], MESSAGE = TG_ARGV[0];
END $$;

CREATE FUNCTION refuse_change_of_fixed_lines() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF (TG_OP <> 'INSERT' AND EXISTS (SELECT 1 FROM formula_versions WHERE id = OLD.version AND status <> 'draft'))
        OR (TG_OP <> 'DELETE' AND EXISTS (SELECT 1 FROM formula_versions WHERE id = NEW.version AND status <> 'draft'))
    THEN
        RAISE EXCEPTION USING ERRCODE = 'restrict_violation', CONSTRAINT = 'fixed_formula_lines',
            MESSAGE = 'fixed_formula_lines';
    END IF;
    IF TG_OP = 'DELETE' THEN
        RETURN OLD;
    END IF;
    RETURN NEW;
END $$;

CREATE TRIGGER fixed_formula_versions_update BEFORE UPDATE OF id, formula, number, written_as, written_total, density,
    density_measured_on, density_celsius, process_loss, heel, usual_batch, smallest_batch, largest_batch, cost_per_batch,
    cost_currency, shelf_life, note
ON formula_versions FOR EACH ROW WHEN (OLD.status <> 'draft')
EXECUTE FUNCTION refuse_change('fixed_formula_versions');

CREATE TRIGGER fixed_formula_versions_delete BEFORE DELETE ON formula_versions FOR EACH ROW WHEN (OLD.status <> 'draft')
EXECUTE FUNCTION refuse_change('fixed_formula_versions');

CREATE TRIGGER fixed_formula_versions_status BEFORE UPDATE OF status ON formula_versions
FOR EACH ROW WHEN (NEW.status = 'draft' AND OLD.status <> 'draft')
EXECUTE FUNCTION refuse_change('fixed_formula_versions');

CREATE TRIGGER fixed_formula_lines BEFORE INSERT OR UPDATE OR DELETE ON formula_lines
FOR EACH ROW EXECUTE FUNCTION refuse_change_of_fixed_lines();
";
