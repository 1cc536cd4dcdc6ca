//! What makes a landed price of a quoted one: the strength of what is quoted by active matter, discount, duty, charges, small orders,
//! and the deposits that are never claimed back.
//!
//! Order of work: the price, by strength where it is of active matter; less discount: the goods; freight; duty, of the goods or of both;
//! charges; a small order charge when the goods of the whole order are worth less than its limit; forfeited deposits. Returnable
//! deposits are shown and never counted.

use domain::quotations::{BreakCounts, ChargePer, DutyOn};
use kernel::{Exact, Percent};
use rust_decimal::Decimal;
use std::fmt;

use crate::words::figure;

/// What else than freight makes a landed price of a price. Money is in the house's currency, per kg or piece unless said otherwise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TermsUsed {
    /// The price less discount, of the material as supplied.
    pub goods: Exact,
    /// The strength a price of active matter went through.
    pub strength: Option<Strength>,
    /// Taken off the price.
    pub discount: Percent,
    /// What had to reach the price break.
    pub break_counts: BreakCounts,
    /// The year's use that counted for a break by the year, kg or pieces; `None` where it was not looked at.
    pub a_year: Option<Exact>,
    /// Import duty.
    pub duty: Option<DutyUsed>,
    /// Charges besides freight.
    pub charges: Vec<ChargeUsed>,
    /// What was charged for a small order; `None` when the order is not small.
    pub small_order: Option<Exact>,
    /// Deposits.
    pub deposit: Option<DepositUsed>,
}

/// The strength a price of active matter went through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Strength {
    /// Active or dry matter in what is supplied.
    pub percent: Percent,
    /// Whether it is that of a lot (else the material's).
    pub of_lot: bool,
}

impl fmt::Display for Strength {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.percent)?;
        if self.of_lot { f.write_str(" as the lot has") } else { Ok(()) }
    }
}

/// Duty as it was taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DutyUsed {
    /// How much.
    pub percent: Percent,
    /// Of what.
    pub on: DutyOn,
    /// What it came to, per kg or piece.
    pub per_unit: Exact,
}

/// A charge as it was shared out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChargeUsed {
    /// What it is for.
    pub name: String,
    /// What it is by, as the quotation has it.
    pub by: ChargePer,
    /// The percent it is, where it is one.
    pub percent: Option<Decimal>,
    /// Per kg or piece.
    pub per_unit: Exact,
}

impl ChargeUsed {
    /// What share of the goods or of freight it is, where it is by their worth.
    fn write_share(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let of = match self.by {
            ChargePer::Goods(_) => "goods",
            ChargePer::Freight(_) => "freight",
            ChargePer::Quantity(_) | ChargePer::Pack | ChargePer::Order => return Ok(()),
        };
        match self.percent {
            Some(percent) => write!(f, " of {} % of {of}", percent.normalize()),
            None => write!(f, " by the value of {of}"),
        }
    }
}

/// A deposit: what is paid, and what of it is a cost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DepositUsed {
    /// Paid for each pack.
    pub per_pack: Exact,
    /// The share of deposits that is forfeited.
    pub forfeited: Percent,
    /// The forfeited share, per kg or piece; nought when deposits are returned.
    pub per_unit: Exact,
}

impl TermsUsed {
    /// Everything besides goods and freight, per kg or piece.
    pub fn additions(&self) -> Exact {
        let duty = self.duty.iter().map(|duty| &duty.per_unit);
        let charges = self.charges.iter().map(|charge| &charge.per_unit);
        let deposit = self.deposit.iter().map(|deposit| &deposit.per_unit);
        duty.chain(charges).chain(&self.small_order).chain(deposit).sum()
    }

    pub(crate) fn write_discount(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.discount.is_zero() { Ok(()) } else { write!(f, "; less {} discount", self.discount) }
    }

    pub(crate) fn write_additions(&self, f: &mut fmt::Formatter<'_>, unit: &str) -> fmt::Result {
        if let Some(duty) = &self.duty {
            let on = match duty.on {
                DutyOn::Price => "",
                DutyOn::PriceAndFreight => " on price and freight",
            };
            write!(f, "; duty of {}{on} {} per {unit}", duty.percent, figure(&duty.per_unit, 6))?;
        }
        for charge in &self.charges {
            write!(f, "; {}", charge.name)?;
            charge.write_share(f)?;
            write!(f, " {} per {unit}", figure(&charge.per_unit, 6))?;
        }
        if let Some(small_order) = &self.small_order {
            write!(f, "; small order charge {} per {unit}", figure(small_order, 6))?;
        }
        if let Some(deposit) = &self.deposit {
            write!(f, "; deposit of {} a pack, ", figure(&deposit.per_pack, 6))?;
            if deposit.per_unit.is_zero() {
                f.write_str("returned and no cost")?;
            } else {
                write!(f, "{} forfeited: {} per {unit}", deposit.forfeited, figure(&deposit.per_unit, 6))?;
            }
        }
        Ok(())
    }
}
