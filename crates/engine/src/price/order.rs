//! One order of one offer's packs: how many, at which price, and what it costs landed.

use domain::quotations::{BreakCounts, Charge, ChargePer, DutyOn, FreightPer, PriceBasis, Quotation, Terms};
use kernel::{AmountError, Dimension, Exact, Quantity, UnitPrice};

use super::{LandedPrice, Question, Stop, Validity};
use crate::{
    EngineError, Gap, MaterialRef,
    landed::{ChargeUsed, DepositUsed, DutyUsed, Strength, TermsUsed},
    source::QuotationSource,
    view::{ChargeSeen, OfferSeen, QuotationSeen, RateUsed},
};

/// Why an offer's price does not hold for an order: another break of the same pack does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum OtherBreak {
    /// The order is too small for this one.
    NotReached,
    /// The order is large enough for a higher one.
    HigherReached,
}

/// An order's packs, in kg or pieces.
struct Packs {
    /// One pack.
    pack: Exact,
    /// How many.
    count: i128,
    /// All of them.
    ordered: Exact,
}

/// As few packs as cover what is wanted, at least one.
fn whole_packs(pack: Exact, wanted: &Exact) -> Result<Packs, AmountError> {
    let count = wanted.checked_div(&pack)?.ceil()?.max(1);
    let ordered = &pack * &Exact::whole(count);
    Ok(Packs { pack, count, ordered })
}

/// What an order of one offer's packs comes to. It is little enough to be worked out for every offer; where it all comes from is
/// written down ([`Order::explained`]) for the one that is chosen.
pub(super) struct Order<'q> {
    quotation: &'q QuotationSeen<'q>,
    offer: &'q OfferSeen,
    validity: Validity,
    packs: Packs,
    rate: Option<RateUsed>,
    freight: Option<Exact>,
    terms: TermsUsed,
    per_unit: Exact,
    /// What all of it costs.
    whole: Exact,
}

impl Order<'_> {
    /// Least money for the order; then least per kg or piece; then by reference, so that the choice never depends on chance.
    pub(super) fn is_better_than(&self, best: &Self) -> bool {
        fn key<'o>(order: &'o Order<'_>) -> (&'o Exact, &'o Exact, &'o str) {
            (&order.whole, &order.per_unit, &order.quotation.quotation.reference)
        }
        key(self) < key(best)
    }

    /// How it stands with its quotation.
    pub(super) const fn validity(&self) -> Validity {
        self.validity
    }

    /// One pack, kg or pieces.
    pub(super) const fn pack(&self) -> &Exact {
        &self.packs.pack
    }

    /// What a kg or piece of it costs, landed.
    pub(super) fn into_per_unit(self) -> Exact {
        self.per_unit
    }

    /// The same with where each figure of it comes from.
    pub(super) fn explained(self, question: &Question<'_, '_>) -> Result<LandedPrice, EngineError> {
        let entered = self.quotation.quotation;
        let supplier = question.view.supplier(entered.supplier)?;
        let offer = self.offer;
        Ok(LandedPrice {
            order_cost: self.whole,
            per_unit: self.per_unit,
            lead_time: entered.lead_time.or(supplier.lead_time),
            source: QuotationSource {
                quotation: entered.id,
                reference: entered.reference.clone(),
                supplier: supplier.id,
                supplier_code: supplier.code.clone(),
                supplier_name: supplier.name.clone(),
                pack: offer.pack,
                price: offer.price.clone(),
                currency: offer.currency,
                price_per: offer.price_per,
                from_quantity: offer.from_quantity,
                demanded: question.asked.ordered.clone(),
                demand: question.asked.demand.clone(),
                packs: self.packs.count,
                ordered: self.packs.ordered,
                dimension: question.material.stock_dimension(),
                freight: self.freight,
                terms: self.terms,
                rate: self.rate,
                validity: self.validity,
                assumed: offer.assumed,
            },
            notes: Vec::new(),
        })
    }
}

impl Question<'_, '_> {
    /// The order of one offer's packs that covers the demand; the inner error says which break stands against it. The lowest break of
    /// a pack works like a minimum order.
    pub(super) fn order<'q>(
        &self,
        quotation: &'q QuotationSeen<'q>,
        offer: &'q OfferSeen,
    ) -> Result<Result<Order<'q>, OtherBreak>, Stop> {
        let entered = quotation.quotation;
        let price_per = self.in_stock_unit(offer.price_per, entered)?;
        let packs = match self.packs(quotation, offer)? {
            Ok(packs) => packs,
            Err(other_break) => return Ok(Err(other_break)),
        };

        let strength = self.strength(entered)?;
        let needed_for = || format!("quotation {}", entered.reference);
        let (price, rate) = self.view.in_house_currency(&offer.price, offer.currency, self.on, needed_for)?;
        let mut goods = price.checked_div(&price_per)?;
        if let Some(strength) = &strength {
            goods = &goods * &strength.percent.fraction();
        }
        if !quotation.terms.discount.is_zero() {
            goods = &goods * &(Exact::ONE - quotation.terms.discount.fraction());
        }
        let freight = match &quotation.freight {
            Some(freight) => Some(self.charge_of(freight, entered, &packs, "the freight")?),
            None => None,
        };
        let bare = freight.as_ref().map_or_else(|| goods.clone(), |freight| &goods + freight);
        let terms = self.terms(&quotation.terms, entered, (goods, &bare), strength, &packs)?;
        let per_unit = &bare + &terms.additions();
        let whole = &per_unit * &packs.ordered;
        let validity = self.validity;
        Ok(Ok(Order { quotation, offer, validity, packs, rate, freight, terms, per_unit, whole }))
    }

    /// Whole packs that cover the demand and the minimum order, when the offer's price holds for so many.
    fn packs(
        &self,
        quotation: &QuotationSeen<'_>,
        offer: &OfferSeen,
    ) -> Result<Result<Packs, OtherBreak>, Stop> {
        let entered = quotation.quotation;
        let pack = self.in_stock_unit(offer.pack, entered)?;
        if entered.offers.iter().all(|offer| offer.from_quantity.is_none()) {
            // No breaks: as many packs as are wanted.
            let mut wanted = self.asked.ordered.clone();
            if let Some(minimum) = entered.minimum_order {
                wanted = wanted.max(self.in_stock_unit(minimum, entered)?);
            }
            return Ok(Ok(whole_packs(pack, &wanted)?));
        }
        let own_break = self.price_break(offer, entered)?;
        let mut other_breaks = Vec::new();
        for other in quotation.offers.iter().filter(|other| other.pack == offer.pack) {
            other_breaks.push(self.price_break(other, entered)?);
        }
        // What is committed to for the year counts beside what is ordered now, where breaks are by the year.
        let committed = match entered.terms.break_counts {
            BreakCounts::Year => self.asked.a_year.cloned().unwrap_or_default(),
            BreakCounts::Line | BreakCounts::Order => Exact::ZERO,
        };
        let mut wanted = self.asked.ordered.clone();
        if let Some(minimum) = entered.minimum_order {
            wanted = wanted.max(self.in_stock_unit(minimum, entered)?);
        }
        if committed < own_break && other_breaks.iter().all(|other| *other >= own_break) {
            wanted = wanted.max(own_break.clone());
        }
        let packs = whole_packs(pack, &wanted)?;
        let reached = committed.max(packs.ordered.clone());
        if own_break > reached {
            return Ok(Err(OtherBreak::NotReached));
        }
        if other_breaks.iter().any(|other| *other > own_break && *other <= reached) {
            return Ok(Err(OtherBreak::HigherReached));
        }
        Ok(Ok(packs))
    }

    fn price_break(&self, offer: &OfferSeen, entered: &Quotation) -> Result<Exact, Gap> {
        offer.from_quantity.map_or(Ok(Exact::ZERO), |quantity| self.in_stock_unit(quantity, entered))
    }

    /// The strength a price of active matter goes through: the lot's, where one is asked about, else the material's.
    fn strength(&self, entered: &Quotation) -> Result<Option<Strength>, Gap> {
        if entered.terms.price_basis == PriceBasis::AsSupplied {
            return Ok(None);
        }
        let of_lot = self.asked.strength.map(|percent| Strength { percent, of_lot: true });
        let of_material = || self.material.active_matter.map(|percent| Strength { percent, of_lot: false });
        let strength = of_lot.or_else(of_material).filter(|strength| strength.percent.is_positive());
        strength.map(Some).ok_or_else(|| Gap::NoStrength {
            material: MaterialRef::from(self.material),
            reference: entered.reference.clone(),
        })
    }

    /// What stands beside price and freight; `bare` is goods and freight.
    fn terms(
        &self,
        terms: &Terms,
        entered: &Quotation,
        (goods, bare): (Exact, &Exact),
        strength: Option<Strength>,
        packs: &Packs,
    ) -> Result<TermsUsed, Stop> {
        let duty = terms.duty.map(|duty| {
            let of = match duty.on {
                DutyOn::Price => &goods,
                DutyOn::PriceAndFreight => bare,
            };
            DutyUsed { percent: duty.percent, on: duty.on, per_unit: of * &duty.percent.fraction() }
        });
        let mut charges = Vec::with_capacity(terms.charges.len());
        for charge in &terms.charges {
            let per_unit = self.named_charge(charge, entered, (&goods, bare), packs)?;
            let (by, percent) = (charge.per, charge.percent());
            charges.push(ChargeUsed { name: charge.name.clone(), by, percent, per_unit });
        }
        let mut small_order = None;
        if let Some(small) = terms.small_order {
            let (below, _) = self.in_house(small.below, entered, "the small order limit")?;
            if &goods * &packs.ordered < below {
                let what = "the small order charge";
                small_order = Some(self.charge(small.charge, FreightPer::Order, entered, packs, what)?);
            }
        }
        let mut deposit_used = None;
        if let Some(deposit) = terms.deposit {
            let (per_pack, _) = self.in_house(deposit.amount, entered, "the deposit")?;
            let forfeited = &per_pack * &deposit.forfeited.fraction();
            let per_unit = forfeited.checked_div(&packs.pack)?;
            deposit_used = Some(DepositUsed { per_pack, forfeited: deposit.forfeited, per_unit });
        }
        Ok(TermsUsed {
            goods,
            strength,
            discount: terms.discount,
            break_counts: terms.break_counts,
            a_year: self.asked.a_year.filter(|_| terms.break_counts == BreakCounts::Year).cloned(),
            duty,
            charges,
            small_order,
            deposit: deposit_used,
        })
    }

    /// A charge besides freight per kg or piece, in the house's currency; `bare` is goods and freight.
    fn named_charge(
        &self,
        charge: &Charge,
        entered: &Quotation,
        (goods, bare): (&Exact, &Exact),
        packs: &Packs,
    ) -> Result<Exact, Stop> {
        let per = match charge.per {
            ChargePer::Quantity(quantity) => FreightPer::Quantity(quantity),
            ChargePer::Pack => FreightPer::Pack,
            ChargePer::Order => FreightPer::Order,
            // Amount and worth are in one currency, so what they are of decides in which the charge comes out.
            ChargePer::Goods(worth) => {
                return Ok((goods * &charge.amount.to_exact()).checked_div(&worth.to_exact())?);
            }
            ChargePer::Freight(worth) => {
                return Ok((&(bare - goods) * &charge.amount.to_exact()).checked_div(&worth.to_exact())?);
            }
        };
        self.charge(charge.amount, per, entered, packs, &charge.name)
    }

    /// A charge per kg or piece, in the house's currency.
    fn charge(
        &self,
        amount: UnitPrice,
        per: FreightPer,
        entered: &Quotation,
        packs: &Packs,
        what: &str,
    ) -> Result<Exact, Stop> {
        let charge = ChargeSeen { amount: amount.to_exact(), currency: amount.currency(), per };
        self.charge_of(&charge, entered, packs, what)
    }

    fn charge_of(
        &self,
        charge: &ChargeSeen,
        entered: &Quotation,
        packs: &Packs,
        what: &str,
    ) -> Result<Exact, Stop> {
        let needed_for = || format!("{what} of quotation {}", entered.reference);
        let (amount, _) =
            self.view.in_house_currency(&charge.amount, charge.currency, self.on, needed_for)?;
        let over = match charge.per {
            FreightPer::Quantity(quantity) => &self.in_stock_unit(quantity, entered)?,
            FreightPer::Pack => &packs.pack,
            FreightPer::Order => &packs.ordered,
        };
        Ok(amount.checked_div(over)?)
    }

    fn in_house(
        &self,
        amount: UnitPrice,
        entered: &Quotation,
        what: &str,
    ) -> Result<(Exact, Option<RateUsed>), Gap> {
        let needed_for = || format!("{what} of quotation {}", entered.reference);
        self.view.in_house_currency(&amount.to_exact(), amount.currency(), self.on, needed_for)
    }

    /// A quantity of a quotation in the unit the material is kept by: kg, through the density where it is a volume, or pieces.
    fn in_stock_unit(&self, quantity: Quantity, entered: &Quotation) -> Result<Exact, Gap> {
        let named = || MaterialRef::from(self.material);
        let do_not_meet = |why: String| Gap::UnitsDoNotMeet {
            material: named(),
            reference: entered.reference.clone(),
            why,
        };
        if !quantity.is_positive() {
            return Err(do_not_meet(format!("a quantity of {quantity} stands in it")));
        }
        match (self.material.stock_dimension(), quantity) {
            (Dimension::Count, Quantity::Count(count)) => Ok(count.to_exact()),
            (Dimension::Mass | Dimension::Volume, Quantity::Mass(mass)) => Ok(mass.to_exact()),
            (Dimension::Mass | Dimension::Volume, Quantity::Volume(volume)) => self
                .material
                .density
                .filter(|density| density.is_positive())
                .map(|density| density.mass_of(&volume.to_exact()))
                .ok_or_else(|| Gap::NoDensity {
                    material: named(),
                    needed_for: format!("quotation {}", entered.reference),
                }),
            (kept, other) => Err(do_not_meet(format!(
                "it is offered by {} and kept by {}",
                other.dimension().name(),
                kept.name()
            ))),
        }
    }
}
