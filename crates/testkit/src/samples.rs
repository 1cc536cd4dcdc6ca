//! Samples of what the house knows, plain enough to be changed by the test that uses them. The maker and the people are invented.

use chrono::{DateTime, NaiveDate, TimeZone, Utc};
use domain::{
    dates::parse_date,
    formulas::{
        AmountBasis, Approval, Formula, FormulaLine, FormulaVersion, LineAmount, VersionStatus, WrittenAs,
    },
    lots::{Lot, LotStatus},
    making::{FillingRun, Making},
    materials::{Material, MaterialKind},
    packs::{ComponentPer, Pack, PackComponent},
    quotations::{Offer, Quotation, Terms},
    stock::MovementKind,
    suppliers::Supplier,
    tickets::{Ticket, TicketLine, TicketStatus},
};
use kernel::{
    Count, Currency, DecimalMark, Mass, Money, Percent, Quantity, UnitPrice,
    ids::{
        FormulaId, FormulaVersionId, LotId, MaterialId, MovementId, PackId, QuotationId, SupplierId,
        TicketId, TicketLineId,
    },
    parse_decimal,
};
use rust_decimal::Decimal;
use store::stock::NewMovement;

/// A date.
pub fn date(text: &str) -> NaiveDate {
    parse_date(text).unwrap()
}

/// An instant, to the second.
pub fn instant(text: &str) -> DateTime<Utc> {
    DateTime::parse_from_rfc3339(text).unwrap().to_utc()
}

/// A decimal.
pub fn decimal(text: &str) -> Decimal {
    parse_decimal(text, DecimalMark::Point).unwrap()
}

/// A quantity with its unit.
pub fn quantity(text: &str) -> Quantity {
    Quantity::parse(text, None, DecimalMark::Point).unwrap()
}

/// A mass with its unit.
pub fn mass(text: &str) -> Mass {
    match quantity(text) {
        Quantity::Mass(mass) => mass,
        other => panic!("{other} is no mass"),
    }
}

/// A percent.
pub fn percent(text: &str) -> Percent {
    Percent::from_percent(decimal(text)).unwrap()
}

/// Pounds.
pub fn pounds(text: &str) -> Money {
    Money::from_decimal(decimal(text), Currency::GBP).unwrap()
}

/// A raw material with nothing but its code and name.
pub fn material(code: &str) -> Material {
    Material {
        id: MaterialId::new(),
        code: code.to_owned(),
        name: format!("Sample {code}"),
        kind: MaterialKind::RawMaterial,
        inci: None,
        cas: Vec::new(),
        density: None,
        active_matter: None,
        use_level: None,
        shelf_life: None,
        period_after_opening: None,
        minimum_remaining_life: None,
        inspection_time: None,
        signal_word: None,
        hazard_statements: Vec::new(),
        caution_groups: Vec::new(),
        incompatible_with: Vec::new(),
        flash_point_celsius: None,
        safety_data_sheet: None,
        note: None,
    }
}

/// A supplier.
pub fn supplier(code: &str) -> Supplier {
    Supplier {
        id: SupplierId::new(),
        code: code.to_owned(),
        name: format!("{code} Supplies"),
        country: None,
        currency: Currency::GBP,
        lead_time: None,
        note: None,
    }
}

/// A quotation of one pack size: 25 kg, so much per kilogram.
pub fn quotation(reference: &str, supplier: &Supplier, material: &Material, price_per_kg: &str) -> Quotation {
    Quotation {
        id: QuotationId::new(),
        reference: reference.to_owned(),
        supplier: supplier.id,
        material: material.id,
        currency: supplier.currency,
        valid_from: date("2026-01-01"),
        valid_until: None,
        lead_time: None,
        minimum_order: None,
        freight: None,
        terms: Terms::default(),
        offers: vec![Offer {
            pack: quantity("25 kg"),
            price: UnitPrice::from_decimal(decimal(price_per_kg), supplier.currency).unwrap(),
            price_per: quantity("1 kg"),
            from_quantity: None,
        }],
        note: None,
    }
}

/// A formula with one draft of one line, all of it one material.
pub fn formula(code: &str, makes: &Material, of: &Material) -> Formula {
    let id = FormulaId::new();
    Formula {
        id,
        code: code.to_owned(),
        name: format!("Sample {code}"),
        makes: makes.id,
        versions: vec![version(id, 1, of)],
    }
}

/// A draft of one line.
pub fn version(formula: FormulaId, number: u32, of: &Material) -> FormulaVersion {
    FormulaVersion {
        id: FormulaVersionId::new(),
        formula,
        number,
        status: VersionStatus::Draft,
        written_as: WrittenAs::Percent,
        lines: vec![FormulaLine {
            position: 1,
            phase: None,
            material: of.id,
            amount: LineAmount::Percent(Percent::HUNDRED),
            basis: AmountBasis::AsSupplied,
            function: None,
            use_level_from: None,
            use_level_to: None,
            weighing_tolerance: None,
            instruction: None,
            trim: None,
        }],
        density: None,
        process_loss: Percent::ZERO,
        heel: Mass::ZERO,
        usual_batch: mass("100 kg"),
        smallest_batch: None,
        largest_batch: None,
        cost_per_batch: None,
        making: Making::default(),
        shelf_life: None,
        approval: None,
        note: None,
    }
}

/// An approval on New Year's Day.
pub fn approval() -> Approval {
    Approval { by: "Ada Sample".to_owned(), on: date("2026-01-01") }
}

/// A pack of half a litre in one component.
pub fn pack(code: &str, formula: &Formula, product: &Material, component: &Material) -> Pack {
    Pack {
        id: PackId::new(),
        code: code.to_owned(),
        name: format!("Sample {code}"),
        formula: formula.id,
        product: product.id,
        fill: quantity("500 mL"),
        overfill: Percent::ZERO,
        filling_loss: Percent::ZERO,
        components: vec![PackComponent {
            material: component.id,
            quantity: Count::from_thousandths(1_000),
            per: ComponentPer::Unit,
            loss: Percent::ZERO,
        }],
        units_per_case: None,
        line_labour: None,
        run: FillingRun::default(),
        price: None,
        units_a_year: None,
        note: None,
    }
}

/// A released lot that has received so much, worth so many pounds, and holds nothing yet.
pub fn lot(number: &str, material: &Material, received: &str, value: Option<&str>) -> Lot {
    let received = quantity(received);
    let nothing = Quantity::from_raw(0, received.dimension());
    let received_value = value.map(pounds);
    Lot {
        id: LotId::new(),
        number: number.to_owned(),
        material: material.id,
        supplier: None,
        supplier_lot: None,
        made_by: None,
        status: LotStatus::Released,
        received_on: date("2026-01-05"),
        made_on: None,
        expires_on: None,
        retest_on: None,
        opened_on: None,
        density: None,
        active_matter: None,
        location: None,
        received,
        received_value,
        on_hand: nothing,
        value: received_value.map(|value| Money::zero(value.currency())),
        reserved: nothing,
        note: None,
        terms: domain::lots::LotTerms::default(),
    }
}

/// The receipt of a lot.
pub fn receipt(lot: &Lot) -> NewMovement {
    NewMovement { value: lot.received_value, ..movement(lot, MovementKind::Receipt, lot.received) }
}

/// A movement of a lot, without a value.
pub fn movement(lot: &Lot, kind: MovementKind, quantity: Quantity) -> NewMovement {
    NewMovement {
        id: MovementId::new(),
        lot: lot.id,
        kind,
        quantity,
        value: None,
        on: date("2026-01-05"),
        entered_at: Utc.with_ymd_and_hms(2026, 1, 5, 9, 30, 0).unwrap(),
        by: "Ada Sample".to_owned(),
        ticket: None,
        reverses: None,
        cause: None,
        container: None,
        reason: None,
    }
}

/// So much of a lot weighed.
pub fn weighed(lot: &Lot, amount: &str) -> NewMovement {
    let amount = quantity(amount);
    movement(lot, MovementKind::Weighing, Quantity::from_raw(-amount.raw(), amount.dimension()))
}

/// A planned ticket for the first version of a formula, with its lines.
pub fn ticket(number: &str, formula: &Formula, batch: &str) -> Ticket {
    let version = formula.versions.first().expect("a version");
    Ticket {
        id: TicketId::new(),
        number: number.to_owned(),
        formula: formula.id,
        version: version.id,
        pack: None,
        units: None,
        batch: mass(batch),
        planned_for: date("2026-02-02"),
        status: TicketStatus::Planned,
        lines: version
            .lines
            .iter()
            .map(|line| TicketLine {
                id: TicketLineId::new(),
                position: line.position,
                phase: line.phase.clone(),
                material: line.material,
                target: mass(batch),
                tolerance: line.weighing_tolerance,
                instruction: line.instruction.clone(),
                asks: domain::tickets::LineAsks::default(),
            })
            .collect(),
        allocations: Vec::new(),
        weighings: Vec::new(),
        completion: None,
        written_by: "Ada Sample".to_owned(),
        written_at: instant("2026-01-20T08:00:00Z"),
        note: None,
        paused: None,
        planned_batch: None,
        steps: Vec::new(),
    }
}
