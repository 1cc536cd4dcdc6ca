//! What makes a landed price of a quotation: discount, duty, charges, small orders, deposits, what a price is of, and what a price
//! break counts.
//!
//! Percents are in 10⁻⁹ and amounts of money in 10⁻⁸ of the quotation's currency, as its prices are. A quotation from before has none
//! of it: its price is of the material as supplied, and its breaks count the order line.

crate::migration!("m0008_landed_price", both: BOTH, sqlite: "", postgres: "");

const BOTH: &str = "
ALTER TABLE quotations ADD COLUMN price_basis {text} NOT NULL DEFAULT 'as-supplied'
    CONSTRAINT ck_quotations_price_basis CHECK (price_basis IN ('as-supplied', 'active-matter'));

ALTER TABLE quotations ADD COLUMN break_counts {text} NOT NULL DEFAULT 'line'
    CONSTRAINT ck_quotations_break_counts CHECK (break_counts IN ('line', 'order', 'year'));

ALTER TABLE quotations ADD COLUMN discount {int} NOT NULL DEFAULT 0
    CONSTRAINT ck_quotations_discount CHECK (discount >= 0 AND discount < 100000000000);

ALTER TABLE quotations ADD COLUMN duty {int};

ALTER TABLE quotations ADD COLUMN duty_on {text}
    CONSTRAINT ck_quotations_duty CHECK ((duty IS NULL) = (duty_on IS NULL) AND duty >= 0
        AND duty_on IN ('price', 'price-and-freight'));

ALTER TABLE quotations ADD COLUMN small_order_charge {int};

ALTER TABLE quotations ADD COLUMN small_order_below {int}
    CONSTRAINT ck_quotations_small_order CHECK ((small_order_charge IS NULL) = (small_order_below IS NULL)
        AND small_order_charge >= 0 AND small_order_below >= 0);

ALTER TABLE quotations ADD COLUMN deposit {int};

ALTER TABLE quotations ADD COLUMN deposit_forfeited {int}
    CONSTRAINT ck_quotations_deposit CHECK ((deposit IS NULL) = (deposit_forfeited IS NULL)
        AND deposit >= 0 AND deposit_forfeited >= 0 AND deposit_forfeited <= 100000000000);

CREATE TABLE quotation_charges (
    quotation {id} NOT NULL,
    position {int} NOT NULL,
    name {text} NOT NULL,
    amount {int} NOT NULL,
    per {text} NOT NULL,
    per_quantity {int},
    per_dimension {text},
    CONSTRAINT uq_quotation_charges_quotation_position PRIMARY KEY (quotation, position),
    CONSTRAINT fk_quotation_charges_quotation FOREIGN KEY (quotation) REFERENCES quotations (id),
    CONSTRAINT ck_quotation_charges_name CHECK (length(name) > 0),
    CONSTRAINT ck_quotation_charges_amount CHECK (amount >= 0),
    CONSTRAINT ck_quotation_charges_per CHECK (per IN ('quantity', 'pack', 'order')
        AND (per_quantity IS NULL) = (per_dimension IS NULL) AND (per_quantity IS NULL) = (per <> 'quantity')
        AND per_quantity > 0 AND per_dimension IN ('mass', 'volume', 'count'))
) {strict};
";
