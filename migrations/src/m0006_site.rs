//! Facts about the site as a whole, such as the currency its values are kept in.

crate::migration!("m0006_site", both: BOTH, sqlite: "", postgres: "");

const BOTH: &str = "
CREATE TABLE site_facts (
    name {text} NOT NULL,
    value {text} NOT NULL,
    CONSTRAINT uq_site_facts_name PRIMARY KEY (name)
) {strict};
";
