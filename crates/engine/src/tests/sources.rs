//! The published cases that costing is held to: where each was published, and the test that asserts it.
//!
//! Books are named without edition where the tests name it. What stands in them and cannot be asked here: last in first out (not
//! permitted by IAS 2 and not offered); degrees of completion of work in process and a month's ledger of jobs, whose totals are a
//! bookkeeper's (jobs are costed one by one); cost of sales and write-downs as entries of an account; water's and brines' densities
//! as formulas of temperature (a density is measured here, never worked out).

/// Source, case, file of the test, test.
const CASES: &[(&str, &str, &str, &str)] = &[
    // Cost flow of inventory.
    (
        "OpenStax, Principles of Accounting 1, 10.1 and 10.2",
        "periodic, GPS trackers",
        INVENTORY,
        "trackers_periodic",
    ),
    (
        "OpenStax, Principles of Accounting 1, 10.3",
        "perpetual, GPS trackers",
        INVENTORY,
        "trackers_perpetual",
    ),
    (
        "worked exercise on justaaa.com",
        "moving average without remainder",
        INVENTORY,
        "moving_average_of_large_numbers",
    ),
    (
        "OpenStax, Principles of Accounting 1, chapter 10",
        "three companies, periodic",
        INVENTORY,
        "periodic_exercises",
    ),
    ("R package FinCal 0.6.3, cogs()", "seven of ten", INVENTORY, "a_librarys_example"),
    (
        "IAS 2, 9",
        "lower of cost and market, item by item",
        INVENTORY,
        "lower_of_cost_and_market_item_by_item",
    ),
    ("IAS 2, 10 and 11", "cost of a purchase", STANDARDS, "what_is_in_the_cost_of_a_purchase"),
    ("IAS 2, 13", "overheads on normal capacity", MAKING, "overheads_rest_on_normal_capacity"),
    ("IAS 2, 16", "abnormal waste", STANDARDS, "abnormal_waste_is_no_cost_of_the_product"),
    ("IAS 2, 25", "no last in first out", STANDARDS, "no_basis_is_last_in_first_out"),
    (
        "IAS 2, 32",
        "write-down only with the product",
        INVENTORY,
        "a_raw_material_is_written_down_only_with_its_product",
    ),
    (
        "OpenStax, Principles of Accounting 1, 10.4",
        "a wrong count",
        INVENTORY,
        "a_wrong_count_comes_right_in_the_next_period",
    ),
    // Roll-up, variances, losses, overhead, landed cost, break-even.
    ("OpenStax, Principles of Accounting 2, 8.2", "shampoo", VARIANCES, "shampoo"),
    ("OpenStax, Principles of Accounting 2, 8.2", "candy", VARIANCES, "candy"),
    (
        "OpenStax, Principles of Accounting 2, 8.2",
        "ice cream, standard cost",
        PUBLISHED,
        "a_standard_cost_scales",
    ),
    ("OpenStax, Principles of Accounting 2, 8.2", "ice cream, variances", VARIANCES, "ice_cream"),
    ("ACCA PM specimen and two more", "mix and yield", VARIANCES, "mix_and_yield"),
    ("OpenStax, Principles of Accounting 2, 8.4", "variable overhead", VARIANCES, "overhead"),
    (
        "OpenStax, Principles of Accounting 2, 5.3 and 5.4",
        "two departments",
        STANDARDS,
        "two_departments_in_a_row",
    ),
    ("basiccollegeaccounting.com", "normal loss of a drink", MAKING, "normal_loss_of_a_drink"),
    ("ACCA F2 study text, page 140", "normal loss", MAKING, "normal_loss_with_labour_and_overhead"),
    ("cdquestions", "abnormal loss", MAKING, "abnormal_loss_is_not_in_the_cost_of_the_product"),
    ("cdquestions", "abnormal loss and gain of a batch", VARIANCES, "abnormal_loss_and_gain"),
    ("OpenStax, Principles of Accounting 2, 4.2 to 4.6", "a job", MAKING, "a_job_with_overhead_on_labour"),
    ("OpenStax, Principles of Accounting 2, 8.1", "a standard cost card", MAKING, "a_standard_cost_card"),
    (
        "OpenStax, Principles of Accounting 2, 4.2 to 4.6",
        "under-applied overhead",
        HOUSE_RATES,
        "under_applied",
    ),
    ("allinterview.com", "landed cost through a currency", PUBLISHED, "landed_cost_through_a_currency"),
    ("allinterview.com", "charges by value and by weight", LANDING, "charges_shared_by_value_and_by_weight"),
    (
        "OpenStax, Principles of Accounting 2, 3.2 and 3.3",
        "break-even",
        SENSITIVITIES,
        "volumes_that_break_even",
    ),
    (
        "OpenStax, Principles of Accounting 2, 3.3",
        "a dearer cup",
        WHAT_IF,
        "a_cup_that_costs_five_cents_more",
    ),
    ("power.one, calcreal.com", "margin and markup", LADDERS, "margin_is_not_markup"),
    ("Stevenson, Operations Management, 12", "price breaks", LANDING, "a_year_in_orders_of_each_break"),
    (
        "Stevenson, Operations Management, 12",
        "holding by the price",
        LANDING,
        "a_year_with_holding_by_the_price",
    ),
    // Units and rounding.
    ("NIST SP 811, B; Handbook 44, C", "factors", UNITS, "exact_factors"),
    ("NIST SP 811, B; Handbook 44, C", "compound units", ROUNDING, "factors_of_compound_units"),
    (
        "NIST SP 811, B.7.2; SP 1038, 4.4.1",
        "rounding a conversion",
        ROUNDING,
        "converted_figures_are_rounded_once",
    ),
    ("NIST SP 811, B.7.1", "half to even", EXACT, "rounds_half_even_as_sp811"),
    (
        "IBM General Decimal Arithmetic test cases",
        "sums and quantize",
        ROUNDING,
        "decimal_arithmetic_test_cases",
    ),
    ("USP, General Notices 7.20", "limits", ROUNDING, "rounding_to_the_places_of_a_limit"),
    (
        "Cowlishaw, telco benchmark",
        "three kinds of rounding",
        ROUNDING,
        "money_under_three_kinds_of_rounding",
    ),
    (
        "OpenStax, Contemporary Mathematics, 11.3 and 11.4",
        "largest remainder",
        APPORTION,
        "published_apportionments",
    ),
    // Density and volume.
    ("IAPWS-95 and IAPWS-IF97", "water", LIQUIDS, "water_at_temperatures"),
    ("OIML R 22; Perry's Handbook", "ethanol by mass and volume", LIQUIDS, "ethanol_by_mass_and_by_volume"),
    ("OIML R 22", "the table by volume", LIQUIDS, "the_alcohol_table_by_volume"),
    ("OIML R 22", "volumes do not add", PUBLISHED, "a_litre_of_product_is_not_a_litre_poured"),
    ("OIML R 22", "ideal mixing", MAKING, "ideal_mixing_is_an_estimate_and_never_used"),
    ("Poradnik fizykochemiczny; Laliberté and Cooper; CoolProp", "brines", LIQUIDS, "brines"),
    ("Directive 76/211/EEC", "tolerable negative error", FILL_LAW, "table"),
    // Strength and dilution.
    (
        "OpenStax, Chemistry 2e, 3",
        "an impure solid, dilution by mass",
        STRENGTH,
        "impure_solids_and_dilution_by_mass",
    ),
    (
        "OpenStax, Chemistry 2e, 3",
        "active matter as supplied",
        PUBLISHED,
        "active_matter_is_weighed_as_supplied",
    ),
    ("OpenStax, Chemistry 2e, 3", "active in a volume", POTENCY, "mass_of_active_in_a_volume"),
    ("OpenStax, Chemistry 2e, 3", "dilution by volume", POTENCY, "dilution_by_volume"),
    ("OpenStax, Chemistry 2e, 3", "no rounding on the way", POTENCY, "no_rounding_on_the_way"),
    ("US Army Medical Department, MD0802", "alligation", POTENCY, "alligation"),
    ("worked examples on public pages", "dried and as is", POTENCY, "as_is_for_dry"),
    // Formulas.
    ("WHO Guide to Local Production of handrub", "formulation 1", PUBLISHED, "handrub_by_volume"),
    (
        "British Pharmacopoeia",
        "aqueous cream through three levels",
        PUBLISHED,
        "aqueous_cream_through_three_levels",
    ),
    ("common practice, no source", "cost of a hand wash", PUBLISHED, "formula_cost_of_a_hand_wash"),
    ("common practice, no source", "from kilogram to bottle", PUBLISHED, "from_kilogram_to_bottle"),
];

const INVENTORY: &str = include_str!("inventory.rs");
const STANDARDS: &str = include_str!("standards.rs");
const MAKING: &str = include_str!("making.rs");
const VARIANCES: &str = include_str!("variances.rs");
const PUBLISHED: &str = include_str!("published.rs");
const LANDING: &str = include_str!("landing.rs");
const LADDERS: &str = include_str!("ladders.rs");
const SENSITIVITIES: &str = include_str!("sensitivities.rs");
const LIQUIDS: &str = include_str!("liquids.rs");
const POTENCY: &str = include_str!("potency.rs");
const WHAT_IF: &str = include_str!("../what_if/tests.rs");
const FILL_LAW: &str = include_str!("../fill_law.rs");
const STRENGTH: &str = include_str!("../strength.rs");
const HOUSE_RATES: &str = include_str!("../../../domain/src/house_rates.rs");
const APPORTION: &str = include_str!("../../../kernel/src/apportion.rs");
const EXACT: &str = include_str!("../../../kernel/src/exact/tests.rs");
const ROUNDING: &str = include_str!("../../../kernel/src/published.rs");
const UNITS: &str = include_str!("../../../kernel/src/units.rs");

/// Whoever renames or drops a test has to say here what became of its case.
#[test]
fn every_case_has_its_test() {
    for (source, case, file, test) in CASES {
        let written = file.split("#[test]").skip(1).any(|rest| {
            let name = rest.trim_start().strip_prefix("fn ").and_then(|rest| rest.split_once('('));
            name.is_some_and(|(name, _)| name == *test)
        });
        assert!(written, "{source}: {case}: no test {test}");
    }
}
