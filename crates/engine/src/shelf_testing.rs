//! Small builders for the tests of the shelf half: a house with a few materials, lots, tickets and formulas.

use chrono::NaiveDate;
use domain::{
    catalogue::{Catalogue, CatalogueParts, Settings},
    dates::parse_date,
    formulas::{
        AmountBasis, Approval, Formula, FormulaLine, FormulaVersion, LineAmount, VersionStatus, WrittenAs,
    },
    lots::{Lot, LotStatus},
    making::{FillingRun, Making},
    materials::{Material, MaterialKind},
    packs::Pack,
    quotations::{Offer, Quotation, Terms},
    suppliers::Supplier,
    tickets::{Allocation, Ticket, TicketLine, TicketStatus},
};
use kernel::{
    Count, Currency, DecimalMark, Mass, Money, Percent, Quantity, UnitPrice,
    ids::{
        FormulaId, FormulaVersionId, LotId, MaterialId, PackId, QuotationId, SupplierId, TicketId,
        TicketLineId,
    },
    parse_decimal,
};

pub fn dec(text: &str) -> rust_decimal::Decimal {
    parse_decimal(text, DecimalMark::Point).unwrap()
}

pub fn day(text: &str) -> NaiveDate {
    parse_date(text).unwrap()
}

pub fn quantity(text: &str) -> Quantity {
    Quantity::parse(text, None, DecimalMark::Point).unwrap()
}

pub fn mass(text: &str) -> Mass {
    Mass::from_kg(dec(text)).unwrap()
}

pub fn percent(text: &str) -> Percent {
    Percent::from_percent(dec(text)).unwrap()
}

pub fn money(text: &str) -> Money {
    Money::from_decimal(dec(text), Currency::GBP).unwrap()
}

pub fn price(text: &str) -> UnitPrice {
    UnitPrice::from_decimal(dec(text), Currency::GBP).unwrap()
}

pub fn material(code: &str, kind: MaterialKind) -> Material {
    Material {
        id: MaterialId::new(),
        code: code.to_owned(),
        name: code.to_owned(),
        kind,
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

pub fn raw(code: &str) -> Material {
    material(code, MaterialKind::RawMaterial)
}

pub fn lot(material: &Material, number: &str, amount: &str) -> Lot {
    let amount = quantity(amount);
    Lot {
        id: LotId::new(),
        number: number.to_owned(),
        material: material.id,
        supplier: None,
        supplier_lot: None,
        made_by: None,
        status: LotStatus::Released,
        received_on: day("2026-01-01"),
        made_on: None,
        expires_on: None,
        retest_on: None,
        opened_on: None,
        density: None,
        active_matter: None,
        location: None,
        received: amount,
        received_value: None,
        on_hand: amount,
        value: None,
        reserved: Quantity::from_raw(0, amount.dimension()),
        note: None,
        terms: domain::lots::LotTerms::default(),
    }
}

pub fn expiring(material: &Material, number: &str, amount: &str, on: &str) -> Lot {
    Lot { expires_on: Some(day(on)), ..lot(material, number, amount) }
}

/// A formula with one approved version; amounts in percent by weight.
pub fn formula(code: &str, makes: &Material, lines: &[(&Material, &str)]) -> Formula {
    let id = FormulaId::new();
    let lines = lines
        .iter()
        .zip(1..)
        .map(|((material, share), position)| FormulaLine {
            position,
            phase: None,
            material: material.id,
            amount: match *share {
                "q.s." => LineAmount::QuantitySufficient,
                share => LineAmount::Percent(percent(share)),
            },
            basis: AmountBasis::AsSupplied,
            function: None,
            use_level_from: None,
            use_level_to: None,
            weighing_tolerance: None,
            instruction: None,
            trim: None,
        })
        .collect();
    let version = FormulaVersion {
        id: FormulaVersionId::new(),
        formula: id,
        number: 1,
        status: VersionStatus::Approved,
        written_as: WrittenAs::Percent,
        lines,
        density: None,
        process_loss: Percent::ZERO,
        heel: Mass::ZERO,
        usual_batch: mass("100"),
        smallest_batch: None,
        largest_batch: None,
        cost_per_batch: None,
        making: Making::default(),
        shelf_life: None,
        approval: Some(Approval { by: "R. Ashdown".to_owned(), on: day("2025-01-01") }),
        note: None,
    };
    Formula { id, code: code.to_owned(), name: code.to_owned(), makes: makes.id, versions: vec![version] }
}

pub fn pack(code: &str, formula: &Formula, product: &Material, fill: &str) -> Pack {
    Pack {
        id: PackId::new(),
        code: code.to_owned(),
        name: code.to_owned(),
        formula: formula.id,
        product: product.id,
        fill: quantity(fill),
        overfill: Percent::ZERO,
        filling_loss: Percent::ZERO,
        components: Vec::new(),
        units_per_case: None,
        line_labour: None,
        run: FillingRun::default(),
        price: None,
        units_a_year: None,
        note: None,
    }
}

/// A planned ticket that weighs so much of each material.
pub fn ticket(number: &str, formula: &Formula, on: &str, lines: &[(&Material, &str)]) -> Ticket {
    let lines: Vec<TicketLine> = lines
        .iter()
        .zip(1..)
        .map(|((material, amount), position)| TicketLine {
            id: TicketLineId::new(),
            position,
            phase: None,
            material: material.id,
            target: mass(amount),
            tolerance: None,
            instruction: None,
            asks: domain::tickets::LineAsks::default(),
        })
        .collect();
    let batch = lines.iter().map(|line| line.target.micrograms()).sum();
    Ticket {
        id: TicketId::new(),
        number: number.to_owned(),
        formula: formula.id,
        version: formula.versions[0].id,
        pack: None,
        units: None,
        batch: Mass::from_micrograms(batch),
        planned_for: day(on),
        status: TicketStatus::Planned,
        lines,
        allocations: Vec::new(),
        weighings: Vec::new(),
        completion: None,
        written_by: "R. Ashdown".to_owned(),
        written_at: chrono::DateTime::UNIX_EPOCH,
        note: None,
        paused: None,
        planned_batch: None,
        steps: Vec::new(),
    }
}

/// Promises so much of a lot to the ticket's line at a position.
pub fn promise(ticket: &mut Ticket, position: u32, lot: &mut Lot, amount: &str) {
    let line = ticket.line_at(position).unwrap().id;
    let quantity = quantity(amount);
    lot.reserved = Quantity::from_raw(lot.reserved.raw() + quantity.raw(), quantity.dimension());
    ticket.allocations.push(Allocation { line, lot: lot.id, quantity });
    ticket.status = TicketStatus::Allocated;
}

pub fn supplier(code: &str) -> Supplier {
    Supplier {
        id: SupplierId::new(),
        code: code.to_owned(),
        name: code.to_owned(),
        country: None,
        currency: Currency::GBP,
        lead_time: Some("10 days".parse().unwrap()),
        note: None,
    }
}

/// A quotation in pounds: pack, price of the pack, order quantity from which it holds.
pub fn quotation(
    reference: &str,
    supplier: &Supplier,
    material: &Material,
    offers: &[(&str, &str, Option<&str>)],
) -> Quotation {
    Quotation {
        id: QuotationId::new(),
        reference: reference.to_owned(),
        supplier: supplier.id,
        material: material.id,
        currency: Currency::GBP,
        valid_from: day("2025-01-01"),
        valid_until: None,
        lead_time: None,
        minimum_order: None,
        freight: None,
        terms: Terms::default(),
        offers: offers
            .iter()
            .map(|(pack, pack_price, from)| Offer {
                pack: quantity(pack),
                price: price(pack_price),
                price_per: quantity(pack),
                from_quantity: from.map(quantity),
            })
            .collect(),
        note: None,
    }
}

pub fn catalogue(parts: CatalogueParts) -> Catalogue {
    Catalogue::new(1, Settings { currency: Currency::GBP, lapses_soon_days: 14 }, parts)
}

pub fn pieces(text: &str) -> Count {
    Count::from_pieces(dec(text)).unwrap()
}
