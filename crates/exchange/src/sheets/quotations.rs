//! Quotations: rows of one supplier with one reference are one quotation.

use app::import::{FreightDraft, OfferDraft, Place, QuotationDraft, TermsDraft};
use domain::{
    quotations::{FreightPer, PriceBasis},
    text::code_key,
};
use kernel::{Currency, DecimalMark, Dimension, Quantity, UnitPrice};
use rust_decimal::Decimal;
use std::collections::HashMap;

use crate::{
    collected::{Collected, seen_from},
    figures::per_quantity,
    kinds::SheetKind,
    names::plain,
    problems::Problems,
    row::Row,
    sheets::quotation_terms::terms,
};

/// One row: a quotation with a single offer.
#[derive(Debug)]
pub(crate) struct QuotationRow {
    draft: QuotationDraft,
    offer: OfferDraft,
}

pub(crate) fn read(row: &mut Row<'_>, out: &mut Collected) {
    if let Some(quotation) = draft(row, out)
        && !row.is_faulty()
    {
        out.quotations.push(quotation);
    }
}

fn draft(row: &mut Row<'_>, out: &mut Collected) -> Option<QuotationRow> {
    let reference = row.code("quotation");
    let reference = row.must("quotation", reference);
    let supplier = row.code("supplier");
    let supplier = row.must("supplier", supplier);
    let material = row.code("material");
    let material = row.must("material", material);
    let pack = row.quantity("pack", None);
    let pack = row.must("pack", pack);
    let price = row.money("price");
    let price = row.must("price", price);
    let price_per = price_per(row, pack);
    let price_per = row.must("price per", price_per);
    let per_pack = row.text("price per").is_some_and(|text| plain(&text) == "pack");
    let stated = row.currency("currency");
    let from_quantity = row.quantity("from quantity", None);
    let minimum_order = row.quantity("minimum order", None);
    let valid_from = row.date("valid from");
    let valid_from = row.must("valid from", valid_from);
    let valid_until = row.date("valid until");
    row.not_before("valid until", valid_until, valid_from, "it is valid from");
    let lead_time = row.span("lead time");
    let note = row.note("note");

    let beside = price.and_then(|(_, currency)| currency);
    if let Some((beside, stated)) = beside.zip(stated).filter(|(a, b)| a != b) {
        row.fault("price", format!("is in {beside}, and the currency column says {stated}"));
    }
    let currency = stated.or(beside);
    let price = price.and_then(|(figure, _)| unit_price(row, "price", figure));
    let freight = freight(row, currency);
    let terms = terms(row, currency);
    if terms.price_basis == Some(PriceBasis::ActiveMatter)
        && (per_pack || price_per.is_some_and(|per| per.dimension() != Dimension::Mass))
    {
        row.fault("price per", "a price of active matter is of so much of it by mass, such as kg or 1 t");
    }
    if let Some(pack) = pack {
        for (column, other) in
            [("price per", price_per), ("from quantity", from_quantity), ("minimum order", minimum_order)]
        {
            if let Some(other) = other.filter(|other| !comparable(pack, *other)) {
                row.fault(column, format!("{other} cannot be compared with a pack of {pack}"));
            }
        }
    }

    let (reference, supplier, material, pack) = (reference?, supplier?, material?, pack?);
    let key = format!(
        "{}\n{}\n{pack}\n{}",
        code_key(&supplier),
        code_key(&reference),
        from_quantity.map(|q| q.to_string()).unwrap_or_default()
    );
    out.once(SheetKind::Quotations, row, "pack", key, "a price for this pack and quantity");
    let place = row.place.clone();
    Some(QuotationRow {
        draft: QuotationDraft {
            place: place.clone(),
            reference,
            supplier,
            material,
            currency,
            valid_from: valid_from?,
            valid_until,
            lead_time,
            minimum_order,
            freight,
            terms,
            offers: Vec::new(),
            note,
        },
        offer: OfferDraft { place, pack, price: price?, price_per: price_per?, from_quantity },
    })
}

/// Pieces compare with pieces only; mass and volume through a density.
fn comparable(a: Quantity, b: Quantity) -> bool {
    (a.dimension() == Dimension::Count) == (b.dimension() == Dimension::Count)
}

/// A figure to at most the places a price is kept to.
pub(super) fn unit_price(row: &mut Row<'_>, column: &str, figure: Decimal) -> Option<Decimal> {
    // Any currency will do: the places kept are the same for all.
    let fits = UnitPrice::from_decimal(figure, Currency::EUR).map(|_| figure).map_err(|e| e.to_string());
    row.settle(column, fits)
}

fn price_per(row: &mut Row<'_>, pack: Option<Quantity>) -> Option<Quantity> {
    let mark = row.options.decimal;
    if plain(&row.text("price per")?) == "pack" {
        return pack;
    }
    row.read("price per", |text| per_quantity(text, mark).map_err(|message| or_word(&message, "pack")))
}

fn or_word(message: &str, word: &str) -> String {
    format!("{message}; or write {word}")
}

/// What freight or a charge is by.
pub(super) fn charged_per(text: &str, mark: DecimalMark) -> Result<FreightPer, String> {
    match plain(text).as_str() {
        "pack" => Ok(FreightPer::Pack),
        "order" => Ok(FreightPer::Order),
        _ => per_quantity(text, mark)
            .map(FreightPer::Quantity)
            .map_err(|message| or_word(&message, "pack or order")),
    }
}

/// What is wrong with an amount whose currency stands beside it and is not the quotation's.
pub(super) fn other_currency(beside: Option<Currency>, currency: Option<Currency>) -> Option<String> {
    let beside = beside.filter(|beside| currency != Some(*beside))?;
    let quotation = currency.map_or("does not name one".to_owned(), |c| format!("is in {c}"));
    Some(format!("is in {beside}, and the quotation {quotation}"))
}

/// An amount of money in the quotation's currency, whether the currency stands beside it or not.
pub(super) fn amount(row: &mut Row<'_>, column: &str, currency: Option<Currency>) -> Option<Decimal> {
    let (figure, beside) = row.money(column)?;
    if let Some(message) = other_currency(beside, currency) {
        row.fault(column, message);
    }
    unit_price(row, column, figure)
}

fn freight(row: &mut Row<'_>, currency: Option<Currency>) -> Option<FreightDraft> {
    let mark = row.options.decimal;
    let amount = amount(row, "freight", currency);
    let per = row.read("freight per", |text| charged_per(text, mark));
    match (row.has("freight"), row.has("freight per")) {
        (true, false) => row.fault("freight per", "needs a value, since there is freight"),
        (false, true) => row.fault("freight", "needs a value, since there is freight per something"),
        _ => {}
    }
    Some(FreightDraft { amount: amount?, per: per? })
}

/// Takes from a further row what the first ones left open; something else than they said is a problem.
fn agree<T: PartialEq>(
    known: &mut Option<T>,
    told: Option<T>,
    column: &str,
    first: &Place,
    place: &Place,
    problems: &mut Problems,
) {
    match (&known, told) {
        (Some(known), Some(told)) if *known != told => {
            let message =
                format!("differs from {}, and both rows are of one quotation", seen_from(first, place));
            problems.cell(place, column, message);
        }
        (None, Some(told)) => *known = Some(told),
        _ => {}
    }
}

fn agree_on_terms(
    known: &mut TermsDraft,
    told: TermsDraft,
    first: &Place,
    place: &Place,
    problems: &mut Problems,
) {
    macro_rules! agree_on {
        ($($column:literal: $field:ident),* $(,)?) => {
            $(agree(&mut known.$field, told.$field, $column, first, place, problems);)*
        };
    }
    agree_on! {
        "price basis": price_basis,
        "break counts": break_counts,
        "discount": discount,
        "duty": duty,
        "duty on": duty_on,
        "charges": charges,
        "small order charge": small_order,
        "deposit": deposit,
        "deposit forfeited": deposit_forfeited,
    }
}

/// Puts the rows of each quotation together.
pub(crate) fn assemble(rows: Vec<QuotationRow>, problems: &mut Problems) -> Vec<QuotationDraft> {
    let mut quotations: Vec<QuotationDraft> = Vec::new();
    let mut at: HashMap<(String, String), usize> = HashMap::new();
    let mut supplier_of: HashMap<String, (String, Place)> = HashMap::new();
    for QuotationRow { draft, offer } in rows {
        let key = (code_key(&draft.supplier), code_key(&draft.reference));
        let first_of_reference = supplier_of
            .entry(key.1.clone())
            .or_insert_with(|| (draft.supplier.clone(), draft.place.clone()))
            .clone();
        let Some(known) = at.get(&key).and_then(|at| quotations.get_mut(*at)) else {
            if code_key(&first_of_reference.0) != key.0 {
                let first = seen_from(&first_of_reference.1, &draft.place);
                let message = format!("{first} has this reference from {}", first_of_reference.0);
                problems.warn(&draft.place, "supplier", message);
            }
            at.insert(key, quotations.len());
            quotations.push(QuotationDraft { offers: vec![offer], ..draft });
            continue;
        };
        let (first, place) = (known.place.clone(), draft.place);
        let differs = |column: &str, problems: &mut Problems| {
            let message =
                format!("differs from {}, and both rows are of one quotation", seen_from(&first, &place));
            problems.cell(&place, column, message);
        };
        if code_key(&known.material) != code_key(&draft.material) {
            differs("material", problems);
        }
        if known.valid_from != draft.valid_from {
            differs("valid from", problems);
        }
        agree(&mut known.currency, draft.currency, "currency", &first, &place, problems);
        agree(&mut known.valid_until, draft.valid_until, "valid until", &first, &place, problems);
        agree(&mut known.lead_time, draft.lead_time, "lead time", &first, &place, problems);
        agree(&mut known.minimum_order, draft.minimum_order, "minimum order", &first, &place, problems);
        agree(&mut known.freight, draft.freight, "freight", &first, &place, problems);
        agree_on_terms(&mut known.terms, draft.terms, &first, &place, problems);
        if known.note.is_none() {
            known.note = draft.note;
        }
        known.offers.push(offer);
    }
    quotations
}
