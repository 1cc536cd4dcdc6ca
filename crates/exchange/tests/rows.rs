//! What each kind of sheet refuses, and what it makes of what it takes.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a test may stop at the first surprise"
)]

mod common;

use app::import::{ChargePerDraft, LotCost, MaterialDraft, TermsDraft};
use common::{check, check_with, comma};
use domain::{
    dates::Span,
    formulas::{AmountBasis, LineAmount, WrittenAs},
    packs::ComponentPer,
    quotations::{BreakCounts, DutyOn, FreightPer, PriceBasis},
};
use kernel::{Currency, DecimalMark, Quantity};

#[track_caller]
fn quantity(text: &str) -> Quantity {
    Quantity::parse(text, None, DecimalMark::Point).unwrap()
}

#[track_caller]
fn one_material(text: &str) -> MaterialDraft {
    let reading = check(&[("materials.csv", text)], &[]);
    assert_eq!(reading.set.materials.len(), 1);
    reading.set.materials.into_iter().next().unwrap()
}

#[test]
fn materials_in_any_column_order_with_units_beside_or_in_their_own_column() {
    let material = one_material(
        "Kind,CODE,density,density unit,Name,shelf life,shelf life unit,active matter,use_level-from,use level to,\
         use level kind,CAS number,hazard statements,flash point,signal word,caution group\n\
         Raw Material,ETOH,789,kg/m3,Ethanol 96 %,36,months,96%,1 %,80,legal,64-17-5; 7732-18-5,h225;H319,17 °C,\
         Danger,flammable; water\n",
    );
    assert_eq!(material.density.unwrap().to_string(), "0.789 kg/L");
    assert_eq!(material.shelf_life, Some(Span::Months(36)));
    assert_eq!(material.active_matter.unwrap().to_string(), "96 %");
    let level = material.use_level.unwrap();
    assert_eq!(level.from.unwrap().to_string(), "1 %");
    assert_eq!(level.to.unwrap().to_string(), "80 %");
    assert_eq!(level.kind, domain::materials::UseLevelKind::Legal);
    assert_eq!(material.cas.len(), 2);
    assert_eq!(
        material.hazard_statements.iter().map(ToString::to_string).collect::<Vec<_>>(),
        ["H225", "H319"]
    );
    assert_eq!(material.flash_point_celsius.unwrap().to_string(), "17");
    assert_eq!(material.caution_groups.len(), 2);
    assert_eq!(material.place.column("density"), "materials.csv, row 2, density");
}

#[test]
fn every_fault_of_a_row_is_told_at_once() {
    check(
        &[(
            "materials.csv",
            "code,name,kind,density,active matter,use level from,use level to,CAS number,shelf life,signal word,\
             hazard statements,incompatible with,flash point\n\
             ,Water,utility,13,120 %,5,2,7732-18-4,24,alarm,225,acids,60 °F\n",
        )],
        &[
            "materials.csv, row 2, code: needs a value",
            "materials.csv, row 2, CAS number: CAS number “7732-18-4” has a wrong check digit: it should end in 5",
            "materials.csv, row 2, density: a density is out of range: at most 8 kg/L",
            "materials.csv, row 2, active matter: a percent is out of range: at most 100 %",
            "materials.csv, row 2, use level from: 5 % is above the 2 % it goes to",
            "materials.csv, row 2, shelf life: “24” is not a span of time (write 24 months, 90 days, 6 weeks or 2 years)",
            "materials.csv, row 2, signal word: “alarm” is not a signal word (danger or warning)",
            "materials.csv, row 2, hazard statements: “225” is not a hazard statement code (H225, EUH031)",
            "materials.csv, row 2, incompatible with: “acids” is not a caution group (acid, alkali, hypochlorite, \
             ammonia or amine, peroxide, oxidiser, flammable, reducing agent, combustible dust, preservative, water)",
            "materials.csv, row 2, flash point: “°F” stands where °C is needed",
        ],
    );
}

#[test]
fn absurd_figures_are_refused() {
    let long = "9".repeat(200);
    let density = |figure: &str, expected: &str| {
        let text = format!("code,name,kind,density\nA,Alpha,raw material,{figure}\n");
        check(&[("materials.csv", &text)], &[&format!("materials.csv, row 2, density: {expected}")]);
    };
    density("13", "a density is out of range: at most 8 kg/L");
    density("-1", "a density must be above nought");
    density("0", "a density must be above nought");
    density(&long, "a figure of 200 characters is longer than the 40 that can be read");
    density("1.2.3", "“1.2.3” is not a figure");
    density("about 1", "“about 1” does not begin with a figure");
    density("\"1,06\"", "“1,06” has a decimal comma where a decimal point was agreed");
    density("1.0000000001", "a density is kept to 9 decimal places of kg/L; “1.0000000001” has more");
    density("1.06 lb", "“lb” is not a unit of density (kg/L, g/mL, kg/m3, lb/gal)");
}

#[test]
fn codes_stand_once() {
    let reading = check(
        &[
            ("book.csv", ""),
            ("materials.csv", "code,name,kind\nA,Alpha,bulk\na ,Again,bulk\nB,Beta,finished product\n"),
            ("suppliers.csv", "code,name,currency,country\nS,Sup,EUR,UK\nS,Sup,XAU,de\n"),
        ],
        &[
            "book.csv: is empty: it has no heading row",
            "materials.csv, row 3, code: the same code stands in row 2 already",
            "materials.csv, row 4, kind: “finished product” is not one of raw material, packaging component, \
             intermediate, bulk, utility",
            "suppliers.csv, row 2, country: “UK” is not an ISO 3166 two-letter country code",
            "suppliers.csv, row 3, code: the same code stands in row 2 already",
            "suppliers.csv, row 3, currency: “XAU” is not an ISO 4217 currency code",
        ],
    );
    // Whoever names them later is not told that they are unknown.
    assert_eq!(reading.set.unread.materials.iter().collect::<Vec<_>>(), ["A", "B"]);
    assert_eq!(reading.set.unread.suppliers.iter().collect::<Vec<_>>(), ["S"]);
}

const QUOTATION: &str = "quotation,supplier,material,pack,price,price per,currency,from quantity,minimum order,valid from,\
    valid until,freight,freight per\n";

#[test]
fn quotations_gather_their_rows() {
    let text = format!(
        "{QUOTATION}Q1,S,A,25 kg,41.50 EUR,pack,,,100 kg,2026-01-01,2026-06-30,0.12,kg\n\
         Q1,s,a,25 kg,38.00,pack,,250 kg,,2026-01-01,,,\n\
         Q2,S,BOTTLE,1000 pcs,31,1000 pcs,EUR,,,2026-01-01,,18.50,order\n"
    );
    let reading = check(&[("quotations.csv", &text)], &[]);
    let [first, second] = reading.set.quotations.as_slice() else { panic!("{:?}", reading.set.quotations) };
    assert_eq!(first.currency, Some(Currency::EUR));
    assert_eq!(first.valid_until.unwrap().to_string(), "2026-06-30");
    assert_eq!(first.minimum_order, Some(quantity("100 kg")));
    assert_eq!(first.offers.len(), 2);
    assert_eq!(first.offers[0].price_per, quantity("25 kg"));
    assert_eq!(first.offers[1].from_quantity, Some(quantity("250 kg")));
    assert_eq!(first.offers[1].place.row, 3);
    assert_eq!(first.freight.as_ref().unwrap().per, FreightPer::Quantity(quantity("1 kg")));
    assert_eq!(second.offers[0].price_per, quantity("1000 pcs"));
    assert_eq!(second.freight.as_ref().unwrap().per, FreightPer::Order);
}

const TERMS: &str = "quotation,supplier,material,pack,price,price per,currency,valid from,price basis,break counts,discount,\
    duty,duty on,charges,small order charge,small order below,deposit,deposit forfeited\n";

#[test]
fn quotations_with_terms() {
    let text = format!(
        "{TERMS}Q1,S,A,25 kg,520,1 t,EUR,2026-01-01,active matter,year,2.5 %,6.5,price and freight,\
         tail lift: 25 per order; ADR 3: 0.05 EUR per kg;cleaning: 1.5 per pack;insurance: 0.5 % of goods;carriage: 300 per 4000 EUR of goods;fuel: 12% of freight,40,250 EUR,8,12.5\n\
         Q1,S,A,50 kg,510,1 t,,2026-01-01,,,,,,,,,,\n\
         Q2,S,A,25 kg,1,kg,EUR,2026-01-01,,,,,,,,,,\n"
    );
    let reading = check(&[("quotations.csv", &text)], &[]);
    let [first, second] = reading.set.quotations.as_slice() else { panic!("{:?}", reading.set.quotations) };
    assert_eq!(first.offers.len(), 2);
    let terms = &first.terms;
    assert_eq!(terms.price_basis, Some(PriceBasis::ActiveMatter));
    assert_eq!(terms.break_counts, Some(BreakCounts::Year));
    assert_eq!(terms.discount.unwrap().to_string(), "2.5 %");
    assert_eq!(terms.duty.unwrap().to_string(), "6.5 %");
    assert_eq!(terms.duty_on, Some(DutyOn::PriceAndFreight));
    let charges: Vec<_> = terms
        .charges
        .iter()
        .flatten()
        .map(|charge| (charge.name.as_str(), charge.amount.to_string(), charge.per))
        .collect();
    assert_eq!(
        charges,
        [
            ("tail lift", "25".to_owned(), ChargePerDraft::By(FreightPer::Order)),
            ("ADR 3", "0.05".to_owned(), ChargePerDraft::By(FreightPer::Quantity(quantity("1 kg")))),
            ("cleaning", "1.5".to_owned(), ChargePerDraft::By(FreightPer::Pack)),
            ("insurance", "0.5".to_owned(), ChargePerDraft::Goods(100.into())),
            ("carriage", "300".to_owned(), ChargePerDraft::Goods(4000.into())),
            ("fuel", "12".to_owned(), ChargePerDraft::Freight(100.into())),
        ]
    );
    assert_eq!(terms.small_order.map(|(charge, below)| format!("{charge} {below}")).unwrap(), "40 250");
    assert_eq!(terms.deposit.unwrap().to_string(), "8");
    assert_eq!(terms.deposit_forfeited.unwrap().to_string(), "12.5 %");
    assert_eq!(second.terms, TermsDraft::default());
}

#[test]
fn terms_that_make_no_sense() {
    let text = format!(
        "{TERMS}Q1,S,A,25 kg,1,pack,EUR,2026-01-01,active matter,week,100,-1,,tail lift 25,,,,\n\
         Q2,S,A,25 kg,1,kg,EUR,2026-01-01,,,,,price,a: 1 per order;a: 2 per order,40,,,101\n\
         Q3,S,A,25 kg,1,kg,EUR,2026-01-01,,,,,,fuel: 1 USD per order,,250,,\n\
         Q4,S,A,25 kg,1,kg,EUR,2026-01-01,,,2,,,,,,,\n\
         Q4,S,A,50 kg,1,kg,EUR,2026-01-01,,order,3,,,,,,,\n\
         Q5,S,A,25 kg,1,kg,EUR,2026-01-01,,,,,,fuel: 1 % of luck,,,,\n\
         Q6,S,A,25 kg,1,kg,EUR,2026-01-01,,,,,,fuel: 1 per 0 of goods,,,,\n\
         Q7,S,A,25 kg,1,kg,EUR,2026-01-01,,,,,,fuel: 1 per 100 USD of goods,,,,\n"
    );
    check(
        &[("quotations.csv", &text)],
        &[
            "quotations.csv, row 2, break counts: “week” is not one of line, order, year",
            "quotations.csv, row 2, discount: a loss is out of range: at most less than 100 %",
            "quotations.csv, row 2, duty: a percent must not be below nought",
            "quotations.csv, row 2, charges: “tail lift 25” is not a charge; write them as “tail lift: 25 per order; hazard: 0.05 per kg; insurance: 0.5 % of goods”",
            "quotations.csv, row 2, price per: a price of active matter is of so much of it by mass, such as kg or 1 t",
            "quotations.csv, row 3, charges: “a” stands twice",
            "quotations.csv, row 3, deposit forfeited: a percent is out of range: at most 100 %",
            "quotations.csv, row 3, small order below: needs a value, since there is a small order charge",
            "quotations.csv, row 3, duty: needs a value, since it says what duty is on",
            "quotations.csv, row 3, deposit: needs a value, since a share of it is forfeited",
            "quotations.csv, row 4, charges: fuel is in USD, and the quotation is in EUR",
            "quotations.csv, row 4, small order charge: needs a value, since it says which orders are small",
            "quotations.csv, row 6, discount: differs from row 5, and both rows are of one quotation",
            "quotations.csv, row 7, charges: “fuel: 1 % of luck” is not a charge; write them as “tail lift: 25 per order; hazard: 0.05 per kg; insurance: 0.5 % of goods”",
            "quotations.csv, row 8, charges: fuel is for a worth of nought; it must be above",
            "quotations.csv, row 9, charges: fuel is in USD, and the quotation is in EUR",
        ],
    );
}

#[test]
fn quotations_that_contradict_themselves() {
    let text = format!(
        "{QUOTATION}Q1,S,A,25 kg,41.50 EUR,pack,USD,,,2026-06-01,2026-05-31,1,\n\
         Q2,S,A,25 kg,-1,bag,,,,2026-01-01,,,kg\n\
         Q3,S,A,25 kg,1.2 EUR,pcs,,10 pcs,,2026-01-01,,1 GBP,order\n\
         Q4,S,A,25 kg,1,kg,EUR,,,2026-01-01,2026-12-31,,\n\
         Q4,S,B,25 kg,1,kg,USD,100 kg,,2026-02-01,2026-11-30,,\n\
         Q4,S,A,25 kg,2,kg,EUR,,,2026-01-01,2026-12-31,,\n\
         Q4,T,A,25 kg,1,kg,EUR,,,2026-01-01,,,\n\
         Q5,S,A,25 kg,1.123456789,kg,euro,,,2026-02-30,,,\n"
    );
    check(
        &[("quotations.csv", &text)],
        &[
            "quotations.csv, row 2, valid until: 2026-05-31 is before it is valid from 2026-06-01",
            "quotations.csv, row 2, price: is in EUR, and the currency column says USD",
            "quotations.csv, row 2, freight per: needs a value, since there is freight",
            "quotations.csv, row 3, price: money must not be below nought",
            "quotations.csv, row 3, price per: “bag” is not a known unit (use kg, g, mg, lb, oz, L, mL, gal, fl oz, pcs, \
             % or their UCUM codes); or write pack",
            "quotations.csv, row 3, freight: needs a value, since there is freight per something",
            "quotations.csv, row 4, freight: is in GBP, and the quotation is in EUR",
            "quotations.csv, row 4, price per: 1 pcs cannot be compared with a pack of 25 kg",
            "quotations.csv, row 4, from quantity: 10 pcs cannot be compared with a pack of 25 kg",
            "quotations.csv, row 6, material: differs from row 5, and both rows are of one quotation",
            "quotations.csv, row 6, valid from: differs from row 5, and both rows are of one quotation",
            "quotations.csv, row 6, currency: differs from row 5, and both rows are of one quotation",
            "quotations.csv, row 6, valid until: differs from row 5, and both rows are of one quotation",
            "quotations.csv, row 7, pack: a price for this pack and quantity stands in row 5 already",
            "quotations.csv, row 9, currency: “euro” is not an ISO 4217 currency code",
            "quotations.csv, row 9, valid from: “2026-02-30” is not a date (write 2026-03-31)",
            "quotations.csv, row 9, price: a price is kept to 8 decimal places of the currency unit; “1.123456789” has more",
            "warning: quotations.csv, row 8, supplier: row 5 has this reference from S",
        ],
    );
}

#[test]
fn exchange_rates() {
    let reading = check(
        &[(
            "exchange-rates.csv",
            "from,to,rate,date,source\nEUR,GBP,0.8520,2026-06-01,Bank\nUSD,GBP,0.748,2026-06-01,Bank\n",
        )],
        &[],
    );
    assert_eq!(reading.set.rates[0].rate.decimal().to_string(), "0.852");
    check(
        &[(
            "rates.csv",
            "from,to,rate,date,source\nEUR,EUR,0,2026-06-01,\nEUR,GBP,1,2023-02-29,Bank\nEUR,GBP,1,2026-06-01,Bank\n\
             EUR,GBP,2,2026-06-01,Bank\n",
        )],
        &[
            "rates.csv, row 2, rate: an exchange rate must be above nought",
            "rates.csv, row 2, source: needs a value",
            "rates.csv, row 2, to: EUR to itself is no exchange",
            "rates.csv, row 3, date: “2023-02-29” is not a date (write 2026-03-31)",
            "rates.csv, row 5, date: a rate of these currencies and this date stands in row 4 already",
        ],
    );
}

const FORMULA: &str = "formula,name,version,status,makes,written as,total,usual batch,smallest batch,largest batch,approved by,approved on\n";
const LINE: &str = "formula,version,line,material,amount,basis\n";

#[test]
fn formulas_written_in_three_manners() {
    let formulas = format!(
        "{FORMULA}P,Per,2,draft,BP,percent,,100 kg,,,,\n\
         P,Per,1,approved,BP,percent,,100 kg,,,Ann Other,2026-01-02\n\
         G,Grams,1,draft,BG,grams,1000 g,100 kg,,,,\n\
         V,Vol,1,draft,BV,volume,10 L,10 kg,,,,\n"
    );
    let lines = format!(
        "{LINE}P,1,2,B,q.s.,\nP,1,1,A,40 %,\nP,2,1,A,12.5,\nP,2,2,B,87.5,\n\
         G,1,1,A,120,active matter\nG,1,2,B,0.5 lb,\nG,1,3,C,5 %,\nG,1,4,D,10 mL,\n\
         V,1,1,A,145,\nV,1,2,B,8.333 L,\nV,1,3,C,1 kg,\nV,1,4,W,QS,\n"
    );
    let reading = check(&[("formulas.csv", &formulas), ("formula lines.csv", &lines)], &[]);
    let [per, grams, volume] = reading.set.formulas.as_slice() else { panic!("{:?}", reading.set.formulas) };
    assert_eq!(per.versions.iter().map(|v| v.number).collect::<Vec<_>>(), [1, 2]);
    assert_eq!(per.versions[0].approval.as_ref().unwrap().by, "Ann Other");
    assert_eq!(per.versions[0].lines[1].amount, LineAmount::QuantitySufficient);
    assert!(
        matches!(grams.versions[0].written_as, WrittenAs::Grams { total } if total.to_string() == "1 kg")
    );
    let shown = |at: usize| match grams.versions[0].lines[at].amount {
        LineAmount::Percent(p) => p.to_string(),
        LineAmount::Mass(m) => m.to_string(),
        LineAmount::Volume(v) => v.to_string(),
        other => format!("{other:?}"),
    };
    assert_eq!([shown(0), shown(1), shown(2), shown(3)], ["0.12 kg", "0.226796185 kg", "5 %", "0.01 L"]);
    assert_eq!(grams.versions[0].lines[0].basis, AmountBasis::ActiveMatter);
    assert!(
        matches!(volume.versions[0].lines[0].amount, LineAmount::Volume(v) if v.to_string() == "0.145 L")
    );
}

#[test]
fn versions_that_cannot_be() {
    let formulas = format!(
        "{FORMULA}A,Alpha,1,approved,BA,percent,100 g,100 kg,,,,\n\
         B,Beta,1,draft,BB,grams,,100 kg,200 kg,,Ann,\n\
         C,Gamma,1,draft,BC,volume,1000 g,100 L,,,,\n\
         D,Delta,0,draft,BD,percent,,-5 kg,,,,\n\
         E,Epsilon,1,draft,BE,percent,,100 kg,50 kg,20 kg,,\n\
         F,Phi,1,final,BF,ratio,,100 kg,,90 kg,,\n\
         G,Chi,1,draft,BG,percent,,100 kg,,,,\n\
         G,Psi,1,draft,BH,percent,,100 kg,,,,\n\
         G,Psi,2,draft,BH,percent,,100 kg,,,,\n"
    );
    let lines = format!("{LINE}G,1,1,A,100,\nG,2,1,A,100,\n");
    check(
        &[("formulas.csv", &formulas), ("formula-lines.csv", &lines)],
        &[
            "formulas.csv, row 2, total: must be empty for a formula written as percent: its total is 100 %",
            "formulas.csv, row 2, approved by: needs a value, since the version is approved",
            "formulas.csv, row 2, approved on: needs a value, since the version is approved",
            "formulas.csv, row 3, total: needs a value (g): the nominal total the lines are written for",
            "formulas.csv, row 3, usual batch: 100 kg is less than the smallest batch, 200 kg",
            "formulas.csv, row 3, approved on: needs a value, since one of the two is given",
            "formulas.csv, row 4, total: “1 kg” is a mass, where a volume is needed",
            "formulas.csv, row 4, usual batch: “100 L” is a volume, where a mass is needed",
            "formulas.csv, row 5, version: “0” is not a whole number from 1 up",
            "formulas.csv, row 5, usual batch: a mass must not be below nought",
            "formulas.csv, row 6, smallest batch: 50 kg is more than the largest batch, 20 kg",
            "formulas.csv, row 7, status: “final” is not one of draft, approved, retired",
            "formulas.csv, row 7, written as: “ratio” is not one of percent, grams, volume, parts",
            "formulas.csv, row 7, usual batch: 100 kg is more than the largest batch, 90 kg",
            "formulas.csv, row 9, version: the same version stands in row 8 already",
            "formulas.csv, row 10, name: row 8 calls the same formula “Chi”",
            "formulas.csv, row 10, makes: row 8 says the same formula makes BG",
        ],
    );
}

#[test]
fn lines_that_cannot_be() {
    let version = |code: &str, manner: &str, total: &str| {
        format!("{code},{code},1,approved,B{code},{manner},{total},100 kg,,,Ann Other,2026-01-02\n")
    };
    let formulas = [
        FORMULA.to_owned(),
        version("SHORT", "percent", ""),
        version("TWOQS", "percent", ""),
        version("OVER", "percent", ""),
        version("UNITS", "percent", ""),
        version("EMPTY", "percent", ""),
        version("BENCH", "grams", "1000 g"),
        version("FULL", "grams", "1000 g"),
        version("FAR", "grams", "1000 g"),
        version("VOL", "volume", "10 L"),
        version("LOST", "percent", ""),
        version("DRAFT", "percent", "").replace("approved", "draft"),
        version("BLUNT", "grams", "1000 g").replace("approved", "draft"),
    ]
    .concat();
    let lines = format!(
        "{LINE}SHORT,1,1,A,40,\nSHORT,1,2,B,59.5,\n\
         TWOQS,1,1,A,q.s.,\nTWOQS,1,2,B,q.s.,\n\
         OVER,1,1,A,60,\nOVER,1,2,B,50,\nOVER,1,3,C,q. s.,\n\
         UNITS,1,1,A,120 %,\nUNITS,1,2,B,5 g,\nUNITS,1,3,C,0,\nUNITS,1,4,D,5 pcs,\nUNITS,1,4,E,5 %,of all\n\
         BENCH,1,1,A,400,\nBENCH,1,2,B,597,\n\
         FULL,1,1,A,1001,\nFULL,1,2,B,q.s.,\n\
         FAR,1,1,A,100,\n\
         VOL,1,1,A,5 %,\n\
         NOWHERE,1,1,A,5 %,\n\
         LOST,1,1,A,5 %,\nLOST,1,2,B,x,\n\
         DRAFT,1,1,A,48,\nDRAFT,1,2,B,60,\n\
         BLUNT,1,1,A,1020,\nBLUNT,1,2,B,q.s.,\n"
    );
    check(
        &[("formulas.csv", &formulas), ("formula_lines.csv", &lines)],
        &[
            "formulas.csv, row 2, version: the lines of version 1 of SHORT add up to 99.5 %, not 100 %, and none is q.s.",
            "formulas.csv, row 6, version: no sheet of formula lines in this import has a line of version 1 of EMPTY",
            "formula_lines.csv, row 5, amount: row 4 is q.s. already, and one line at most can be",
            "formula_lines.csv, row 8, amount: the other lines add up to 110 % already; nothing is left for q.s.",
            "formula_lines.csv, row 9, amount: a percent is out of range: at most 100 %",
            "formula_lines.csv, row 10, amount: a formula in percent is written in % and q.s.; for masses write it as grams",
            "formula_lines.csv, row 11, amount: an amount must be above nought; for a line that is added until a \
             result is reached, say the result under “trim to”",
            "formula_lines.csv, row 12, amount: an amount is a percent, a mass or a volume, not a count",
            "formula_lines.csv, row 13, line: the same line of this version stands in row 12 already",
            "formula_lines.csv, row 13, basis: “of all” is not one of as supplied, active matter",
            "formula_lines.csv, row 17, amount: the other lines add up to 1.001 kg of 1 kg already; nothing is left for q.s.",
            "formula_lines.csv, row 19, amount: in a formula by volume a percent could be w/w, w/v or v/v; say which, as in \
             “5 % w/v”",
            "formula_lines.csv, row 20, version: no sheet of formulas in this import has version 1 of NOWHERE",
            "formula_lines.csv, row 22, amount: “x” does not begin with a figure",
            "warning: formulas.csv, row 9, total: the lines of version 1 of FAR add up to 0.1 kg of 1 kg",
            "warning: formulas.csv, row 12, version: the lines of version 1 of DRAFT add up to 108 %, not 100 %, and none is \
             q.s.; a draft may stand so, but is not approved before it is put right",
            "warning: formula_lines.csv, row 26, amount: the other lines add up to 1.02 kg of 1 kg already; nothing is left for \
             q.s.; a draft may stand so, but is not approved before it is put right",
        ],
    );
}

/// % w/v and % v/v, parts, pounds and gallons, and lines that are added until a result is reached.
#[test]
fn lines_as_they_are_really_written() {
    let formulas = format!(
        "{FORMULA}V,Vol,1,draft,BV,volume,10 L,10 kg,,,,\n\
         P,Parts,1,draft,BP,parts,,10 kg,,,,\n\
         C,Coat,1,draft,BC,volume,100 [gal_us],400 kg,,,,\n\
         T,Trim,1,draft,BT,percent,,10 kg,,,,\n"
    );
    let lines = "formula,version,line,material,amount,amount unit,trim to,trim at most,trim at most unit\n\
         V,1,1,A,5,% w/v,,,\nV,1,2,B,3.5 % v/v,,,,\nV,1,3,C,1 % w/w,,,,\nV,1,4,W,q.s.,,,,\n\
         P,1,1,A,3,,,,\nP,1,2,B,1.5 parts,,,,\n\
         C,1,1,A,210.5 lb,,,,\nC,1,2,B,55,[gal_us],,,\n\
         T,1,1,W,q.s.,,,,\nT,1,2,ACID,0,,pH 5.75 to 6.25,,\nT,1,3,SALT,1.2 %,,2500 to 4000 mPa·s,2,%\n";
    let reading = check(&[("formulas.csv", &formulas), ("formula lines.csv", lines)], &[]);
    let shown: Vec<String> = reading
        .set
        .formulas
        .iter()
        .flat_map(|formula| &formula.versions[0].lines)
        .map(|line| match &line.trim {
            None => format!("{:?}", line.amount),
            Some(trim) => format!("{:?} to {} ({:?})", line.amount, trim.result, trim.stop),
        })
        .collect();
    assert_eq!(
        shown,
        [
            "PercentWeightInVolume(5 %)",
            "PercentVolumeInVolume(3.5 %)",
            "Percent(1 %)",
            "QuantitySufficient",
            "Parts(3 parts)",
            "Parts(1.5 parts)",
            "Mass(95.481193885 kg)",
            "Volume(208.19764812 L)",
            "QuantitySufficient",
            "Percent(0 %) to pH 5.75 to 6.25 (None)",
            "Percent(1.2 %) to 2500 to 4000 mPa·s (Some(Percent(2 %)))",
        ]
    );
    assert!(
        matches!(reading.set.formulas[2].versions[0].written_as, WrittenAs::Volume { total } if total.to_string() == "378.5411784 L")
    );
}

#[test]
fn lines_that_do_not_fit_how_their_version_is_written() {
    let formulas = format!(
        "{FORMULA}P,Parts,1,draft,BP,parts,100 g,10 kg,,,,\n\
         Q,Parts,1,draft,BQ,parts,,10 kg,,,,\n\
         T,Trim,1,draft,BT,percent,,10 kg,,,,\n"
    );
    let lines = "formula,version,line,material,amount,basis,trim to,trim at most\n\
         Q,1,1,A,3,,,\nQ,1,2,B,q.s.,,,\nQ,1,3,C,5 %,,,\nQ,1,4,C,5 g,,,\n\
         T,1,1,A,5 % w/v,,,\nT,1,2,B,2 parts,,,\nT,1,3,C,q.s.,,pH 5,\nT,1,4,D,1,,pH 5,0.5\nT,1,5,E,1,,,2\n\
         T,1,6,F,1,,pH 5,20 g\nT,1,7,G,-1,,pH 5,\nT,1,8,H,1,,pH 5,q.s.\nT,1,9,I,1 % x/y,,,\n";
    check(
        &[("formulas.csv", &formulas), ("formula lines.csv", lines)],
        &[
            "formulas.csv, row 2, total: must be empty for a formula written in parts: its total is what the lines add up to",
            "formula lines.csv, row 3, amount: no line of a formula in parts is q.s., for its total is what the lines add up to",
            "formula lines.csv, row 4, amount: a formula in parts is written in parts only",
            "formula lines.csv, row 5, amount: a formula in parts is written in parts only",
            "formula lines.csv, row 6, amount: % w/v and % v/v stand in formulas by volume only",
            "formula lines.csv, row 7, amount: parts stand in formulas written in parts only",
            "formula lines.csv, row 8, trim to: a line is either q.s. or added until a result is reached, not both",
            "formula lines.csv, row 9, trim at most: what is added at most is less than the amount expected",
            "formula lines.csv, row 10, trim at most: stands without the result to reach: say it under “trim to”",
            "formula lines.csv, row 11, trim at most: a formula in percent is written in % and q.s.; for masses write it as grams",
            "formula lines.csv, row 12, amount: an amount must be above nought",
            "formula lines.csv, row 13, trim at most: “q.s.” does not begin with a figure",
            "formula lines.csv, row 14, amount: “% x/y” stands where % is needed",
        ],
    );
}

const PACK: &str =
    "pack,name,formula,fill,fill unit,overfill,units per case,line labour,price,units a year\n";

#[test]
fn packs_with_their_components() {
    let packs = format!("{PACK}P,Bottle,F,500,mL,1 %,12,0.14,2.60 GBP,6000\n");
    let alone = check(&[("packs.csv", &packs)], &[]);
    assert_eq!(alone.set.packs[0].components, None);
    assert_eq!(alone.set.packs[0].fill, quantity("500 mL"));
    let components = "pack,component,quantity,per,loss\np,BT,1,unit,1 %\nP,CASE,1 pcs,case,\n";
    let reading = check(&[("packs.csv", &packs), ("pack-components.csv", components)], &[]);
    let components = reading.set.packs[0].components.as_ref().unwrap();
    assert_eq!(
        components.iter().map(|c| c.per).collect::<Vec<_>>(),
        [ComponentPer::Unit, ComponentPer::Case]
    );
    assert_eq!(components[0].loss.to_string(), "1 %");
}

#[test]
fn packs_that_cannot_be() {
    let packs = format!(
        "{PACK}P,Bottle,F,500,,101 %,1.5,-0.14,2.60 EUR,0\nQ,Bottle,F,5 pcs,,,,,,\nR,Bottle,F,500 mL,L,,,,,\nS,Sachet,F,5,mL,,,,,\n"
    );
    let components = "pack,component,quantity,per,loss\nS,BT,1 kg,unit,100 %\nS,CASE,1,case,\nNONE,BT,1,unit,\nP,BT,1,unit,\nS,BOX,1,pallet,\nS,case,2,case,\n";
    check(
        &[("packs.csv", &packs), ("pack components.csv", components)],
        &[
            "packs.csv, row 2, fill: “500” needs a unit",
            "packs.csv, row 2, overfill: a percent is out of range: at most 100 %",
            "packs.csv, row 2, units per case: “1.5” is not a whole number from 1 up",
            "packs.csv, row 2, line labour: money must not be below nought",
            "packs.csv, row 2, price: is in EUR; this column is in the house's currency, GBP",
            "packs.csv, row 2, units a year: “0” is not a whole number from 1 up",
            "packs.csv, row 3, fill: is a count, where a volume or a mass is needed",
            "packs.csv, row 4, fill: has the unit “mL”, and its unit column says “L”",
            "pack components.csv, row 2, quantity: “1 kg” is a mass, where a count is needed",
            "pack components.csv, row 2, loss: a loss is out of range: at most less than 100 %",
            "pack components.csv, row 3, per: pack S does not say how many units go into a case",
            "pack components.csv, row 4, pack: no sheet of packs in this import has a pack NONE",
            "pack components.csv, row 6, per: “pallet” is not one of unit, case",
            "pack components.csv, row 7, component: the same component of this pack stands in row 3 already",
        ],
    );
}

const LOT: &str = "lot,material,quantity,value,unit cost,received,made,expiry,retest,opened,status\n";

#[test]
fn lots_with_month_only_dates() {
    let text = format!(
        "{LOT}L1,A,55 [gal_us],,8.41,2024-01-10,2023-12,2024-02,2025-02,2024-01-11,on hold\n\
         L2,B,2000 pcs,63.10,,2026-03-31,,2026-03-31,,,Quarantine\n"
    );
    let reading = check(&[("lots.csv", &text)], &[]);
    let [first, second] = reading.set.lots.as_slice() else { panic!("{:?}", reading.set.lots) };
    assert_eq!(first.quantity.to_string(), "208.19764812 L");
    assert_eq!(first.made_on.unwrap().to_string(), "2023-12-01");
    assert_eq!(first.expires_on.unwrap().to_string(), "2024-02-29");
    assert_eq!(first.retest_on.unwrap().to_string(), "2025-02-28");
    assert!(matches!(first.cost, Some(LotCost::UnitCost(cost)) if cost.to_string() == "8.41 GBP"));
    assert!(matches!(second.cost, Some(LotCost::Value(value)) if value.to_string() == "63.1 GBP"));
}

#[test]
fn lots_that_cannot_be() {
    let text = format!(
        "{LOT}L1,A,5 kg,1,1,2026-03-10,2026-03-11,2026-03-09,2026-02,2026-03-09,released\n\
         l1,A,-5 kg,,,2026-03-10,,,,,expired\n\
         L3,A,5 bags,,,10/03/2026,2023-02-29,2026-13,,,released\n\
         L4,,5,-1,,,,,,,\n"
    );
    check(
        &[("lots.csv", &text)],
        &[
            "lots.csv, row 2, unit cost: stands beside a value; give one of the two",
            "lots.csv, row 2, received: 2026-03-10 is before it was made on 2026-03-11",
            "lots.csv, row 2, expiry: 2026-03-09 is before it was received on 2026-03-10",
            "lots.csv, row 2, opened: 2026-03-09 is before it was received on 2026-03-10",
            "lots.csv, row 2, retest: 2026-02-28 is before it was made on 2026-03-11",
            "lots.csv, row 3, lot: the same lot number stands in row 2 already",
            "lots.csv, row 3, quantity: a mass must be above nought",
            "lots.csv, row 3, status: “expired” is not one of quarantine, released, on hold, rejected",
            "lots.csv, row 4, quantity: “bags” is not a known unit (use kg, g, mg, lb, oz, L, mL, gal, fl oz, pcs, % or \
             their UCUM codes)",
            "lots.csv, row 4, received: “10/03/2026” is not a date (write 2026-03-31)",
            "lots.csv, row 4, made: “2023-02-29” is not a date or a month (write 2026-03-31 or 2026-03)",
            "lots.csv, row 4, expiry: “2026-13” is not a date or a month (write 2026-03-31 or 2026-03)",
            "lots.csv, row 5, material: needs a value",
            "lots.csv, row 5, quantity: “5” needs a unit",
            "lots.csv, row 5, value: money must not be below nought",
            "lots.csv, row 5, received: needs a value",
            "lots.csv, row 5, status: needs a value",
        ],
    );
}

#[test]
fn a_decimal_comma_once_agreed_holds_for_every_figure() {
    let reading = check_with(
        &comma(),
        &[
            ("materials.csv", "code;name;kind;density;active matter\nA;Alpha;raw material;1,06;27,5 %\n"),
            (
                "quotations.csv",
                "quotation;supplier;material;pack;price;price per;valid from\nQ;S;A;12,5 kg;41,50 EUR;0,5 kg;2026-01-01\n",
            ),
        ],
        &[],
    );
    assert_eq!(reading.set.materials[0].density.unwrap().to_string(), "1.06 kg/L");
    let offer = &reading.set.quotations[0].offers[0];
    assert_eq!((offer.pack, offer.price_per), (quantity("12.5 kg"), quantity("0.5 kg")));
    assert_eq!(offer.price.to_string(), "41.5");
    check_with(
        &comma(),
        &[("materials.csv", "code;name;kind;density\nA;Alpha;raw material;1.06\n")],
        &["materials.csv, row 2, density: “1.06” has a decimal point where a decimal comma was agreed"],
    );
}
