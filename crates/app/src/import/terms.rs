//! Freight and terms of a quotation, from what the sheets say to what the house keeps.

use domain::quotations::{Charge, ChargePer, Deposit, Duty, Freight, SmallOrder, Terms};
use kernel::{Currency, UnitPrice};
use rust_decimal::Decimal;

use super::{
    drafts::{ChargePerDraft, FreightDraft, QuotationDraft},
    resolve::Codes,
};

/// An amount in the quotation's currency, or a problem.
fn amount(
    codes: &mut Codes<'_>,
    draft: &QuotationDraft,
    column: &str,
    figure: Decimal,
    currency: Currency,
) -> Option<UnitPrice> {
    UnitPrice::from_decimal(figure, currency).map_err(|error| codes.problem(&draft.place, column, error)).ok()
}

/// The freight of a quotation.
pub(super) fn freight_of(
    codes: &mut Codes<'_>,
    draft: &QuotationDraft,
    freight: &FreightDraft,
    currency: Currency,
) -> Option<Freight> {
    amount(codes, draft, "freight", freight.amount, currency)
        .map(|amount| Freight { amount, per: freight.per })
}

/// The terms of a quotation.
pub(super) fn terms_of(codes: &mut Codes<'_>, draft: &QuotationDraft, currency: Currency) -> Terms {
    let terms = &draft.terms;
    let mut money = |column, figure| amount(codes, draft, column, figure, currency);
    let mut charges = Vec::new();
    for charge in terms.charges.iter().flatten() {
        let per = match charge.per {
            ChargePerDraft::By(per) => Some(per.into()),
            ChargePerDraft::Goods(worth) => money("charges", worth).map(ChargePer::Goods),
            ChargePerDraft::Freight(worth) => money("charges", worth).map(ChargePer::Freight),
        };
        if let Some((amount, per)) = money("charges", charge.amount).zip(per) {
            charges.push(Charge { name: charge.name.clone(), amount, per });
        }
    }
    let small_order = terms.small_order.and_then(|(charge, below)| {
        let (charge, below) = (money("small order charge", charge), money("small order below", below));
        charge.zip(below).map(|(charge, below)| SmallOrder { charge, below })
    });
    let deposit = terms.deposit.and_then(|deposit| money("deposit", deposit));
    Terms {
        price_basis: terms.price_basis.unwrap_or_default(),
        discount: terms.discount.unwrap_or_default(),
        duty: terms.duty.map(|percent| Duty { percent, on: terms.duty_on.unwrap_or_default() }),
        charges,
        small_order,
        deposit: deposit
            .map(|amount| Deposit { amount, forfeited: terms.deposit_forfeited.unwrap_or_default() }),
        break_counts: terms.break_counts.unwrap_or_default(),
    }
}
