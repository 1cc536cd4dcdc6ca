//! Charges of a quotation by what goods or freight are worth: percents, and shares by value of what a delivery is charged.
//!
//! The worth is in 10⁻⁸ of the quotation's currency, as amounts are; a percent is so much of a hundred. SQLite cannot change a check,
//! so the table is made anew there; nothing refers to it.

crate::migration!("m0011_charges", both: "", sqlite: SQLITE, postgres: POSTGRES);

const SQLITE: &str = "
ALTER TABLE quotation_charges RENAME TO quotation_charges_before;

CREATE TABLE quotation_charges (
    quotation {id} NOT NULL,
    position {int} NOT NULL,
    name {text} NOT NULL,
    amount {int} NOT NULL,
    per {text} NOT NULL,
    per_quantity {int},
    per_dimension {text},
    per_worth {int},
    CONSTRAINT uq_quotation_charges_quotation_position PRIMARY KEY (quotation, position),
    CONSTRAINT fk_quotation_charges_quotation FOREIGN KEY (quotation) REFERENCES quotations (id),
    CONSTRAINT ck_quotation_charges_name CHECK (length(name) > 0),
    CONSTRAINT ck_quotation_charges_amount CHECK (amount >= 0),
    CONSTRAINT ck_quotation_charges_per CHECK (per IN ('quantity', 'pack', 'order', 'goods', 'freight')
        AND (per_quantity IS NULL) = (per_dimension IS NULL) AND (per_quantity IS NULL) = (per <> 'quantity')
        AND per_quantity > 0 AND per_dimension IN ('mass', 'volume', 'count')),
    CONSTRAINT ck_quotation_charges_worth CHECK ((per_worth IS NULL) = (per NOT IN ('goods', 'freight'))
        AND per_worth > 0)
) {strict};

INSERT INTO quotation_charges (quotation, position, name, amount, per, per_quantity, per_dimension)
SELECT quotation, position, name, amount, per, per_quantity, per_dimension FROM quotation_charges_before;

DROP TABLE quotation_charges_before;
";

const POSTGRES: &str = "
ALTER TABLE quotation_charges ADD COLUMN per_worth {int};
ALTER TABLE quotation_charges DROP CONSTRAINT ck_quotation_charges_per;
ALTER TABLE quotation_charges ADD CONSTRAINT ck_quotation_charges_per
    CHECK (per IN ('quantity', 'pack', 'order', 'goods', 'freight')
        AND (per_quantity IS NULL) = (per_dimension IS NULL) AND (per_quantity IS NULL) = (per <> 'quantity')
        AND per_quantity > 0 AND per_dimension IN ('mass', 'volume', 'count'));
ALTER TABLE quotation_charges ADD CONSTRAINT ck_quotation_charges_worth
    CHECK ((per_worth IS NULL) = (per NOT IN ('goods', 'freight')) AND per_worth > 0);
";
