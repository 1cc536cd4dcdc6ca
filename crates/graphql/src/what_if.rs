//! What-if: assumed changes in, differences out.

use async_graphql::{Context, Enum, InputObject, Object, OneofObject, SimpleObject};
use engine::{
    Change, CostSubject, PriceBy, PriceOf, RateBy, RunOf, Scenario,
    present::{PER_KG_PLACES, PER_UNIT_PLACES, PERCENT_PLACES},
    reach::Path,
    what_if as answer,
};
use kernel::{Currency, Exact, Percent, Rate, limits::SCENARIO_CHANGES_MAX};

use crate::{
    amounts::{Money, MoneyInput, Quantity, QuantityInput},
    caller::{Desk, Find as _, lot_named},
    errors::Result,
    formulas::{Formula, FormulaVersion, formula_of},
    ids::Which,
    lots::Lot,
    materials::{Material, material_of, materials_of},
    packs::{Pack, pack_of},
    planned::{Purchase, Run, Take, takes},
    run_check::{RunAmountInput, RunSubjectInput},
    scalars::{CurrencyCode, Date, Decimal},
    shelf::{LotOnDay, lot_of},
    tickets::{Ticket, ticket_of},
};

/// One assumed change. Changes are laid over the house in their order, and nothing is written.
#[derive(OneofObject)]
pub enum ChangeInput {
    /// Prices become others than quoted. Freight stays.
    Price(PriceChangeInput),
    /// An exchange rate becomes another. The opposite pair changes with it.
    ExchangeRate(ExchangeRateChangeInput),
    /// A lot's expiry date becomes another; it may be used on that day.
    LotExpires(LotOnDayInput),
    /// A lot is rejected; it may not be used on that day.
    LotRejected(LotOnDayInput),
    /// A lot is set aside; it may not be used on that day.
    LotOnHold(LotOnDayInput),
    /// Nobody delivers a material before a day. What is on the shelf stays usable.
    MaterialUnavailable(MaterialUnavailableInput),
    /// One more run is planned.
    PlannedRun(PlannedRunInput),
    /// A delivery arrives; it can be used after the material's inspection time.
    Delivery(DeliveryInput),
}

/// Prices that become others than quoted.
#[derive(InputObject)]
pub struct PriceChangeInput {
    /// Whose prices.
    pub of: PriceOfInput,
    /// How they change.
    pub by: PriceByInput,
    /// From which day on; always, when nothing is said.
    pub from: Option<Date>,
}

/// Whose prices change.
#[derive(OneofObject)]
pub enum PriceOfInput {
    /// One quotation; by `code`, the supplier's reference of it, when only one quotation has it.
    Quotation(Which),
    /// Every quotation of a material.
    Material(Which),
    /// Every quotation of a supplier.
    Supplier(Which),
}

/// How prices change.
#[derive(OneofObject)]
pub enum PriceByInput {
    /// Up by so many percent, or down below nought: "12" or "-5".
    Percent(Decimal),
    /// To this price.
    To(UnitPriceInput),
}

/// A price and what it is the price of.
#[derive(InputObject)]
pub struct UnitPriceInput {
    /// The price, to at most 8 decimal places.
    pub price: MoneyInput,
    /// What that buys: 1 kg, 1 L, 1000 pcs.
    pub per: QuantityInput,
}

/// An exchange rate that becomes another.
#[derive(InputObject)]
pub struct ExchangeRateChangeInput {
    /// The currency given.
    pub give: CurrencyCode,
    /// The currency got for it.
    pub get: CurrencyCode,
    /// How it changes.
    pub by: RateByInput,
    /// From which day on; always, when nothing is said.
    pub from: Option<Date>,
}

/// How an exchange rate changes.
#[derive(OneofObject)]
pub enum RateByInput {
    /// Up by so many percent, or down below nought.
    Percent(Decimal),
    /// To so many units of the currency got for one of the currency given.
    To(Decimal),
}

/// A lot and a day.
#[derive(InputObject)]
pub struct LotOnDayInput {
    /// A lot on the shelf.
    pub lot: Which,
    /// The day.
    pub on: Date,
}

/// A material that nobody delivers for a while.
#[derive(InputObject)]
pub struct MaterialUnavailableInput {
    /// The material.
    pub material: Which,
    /// The first day it is delivered again.
    pub until: Date,
}

/// One more run.
#[derive(InputObject)]
pub struct PlannedRunInput {
    /// What is made.
    pub of: RunSubjectInput,
    /// How much.
    pub amount: RunAmountInput,
    /// The day.
    pub on: Date,
}

/// A delivery.
#[derive(InputObject)]
pub struct DeliveryInput {
    /// The material.
    pub material: Which,
    /// How much: by mass or count, or a volume of a material whose density is known.
    pub quantity: QuantityInput,
    /// The day it arrives.
    pub on: Date,
    /// Its last day of use; null when nothing limits it.
    pub expires_on: Option<Date>,
}

/// Asks what the changes would do.
pub(crate) async fn ask(ctx: &Context<'_>, changes: Vec<ChangeInput>, as_of: Option<Date>) -> Result<WhatIf> {
    if changes.len() > SCENARIO_CHANGES_MAX {
        let text = format!("a scenario has at most {SCENARIO_CHANGES_MAX} changes");
        return Err(app::Error::invalid("changes", text).into());
    }
    let mut read = Vec::with_capacity(changes.len());
    for (at, change) in changes.into_iter().enumerate() {
        read.push(change_of(ctx, change, &format!("changes[{at}]")).await?);
    }
    let scenario = Scenario { name: None, changes: read };
    Ok(WhatIf(ctx.house()?.what_if(ctx.actor()?, &scenario, ctx.day(as_of)?).await?))
}

fn checked<T, E: ToString>(place: &str, result: std::result::Result<T, E>) -> Result<T> {
    Ok(result.map_err(|error| app::Error::invalid(place, error))?)
}

async fn change_of(ctx: &Context<'_>, change: ChangeInput, place: &str) -> Result<Change> {
    let catalogue = ctx.catalogue()?;
    Ok(match change {
        ChangeInput::Price(input) => {
            let place = format!("{place}.price");
            Change::Price {
                of: price_of(ctx, &input.of, &format!("{place}.of"))?,
                by: price_by(input.by, &format!("{place}.by"))?,
                from: input.from.map(|day| day.0),
            }
        }
        ChangeInput::ExchangeRate(input) => {
            let by = match input.by {
                RateByInput::Percent(figure) => RateBy::Percent(checked(
                    &format!("{place}.exchangeRate.by.percent"),
                    Percent::from_percent(figure.0),
                )?),
                RateByInput::To(figure) => {
                    RateBy::Rate(checked(&format!("{place}.exchangeRate.by.to"), Rate::new(figure.0))?)
                }
            };
            Change::ExchangeRate {
                give: input.give.0,
                get: input.get.0,
                by,
                from: input.from.map(|day| day.0),
            }
        }
        ChangeInput::LotExpires(input) => {
            let lot = lot_named(ctx, &input.lot, &format!("{place}.lotExpires.lot")).await?.id;
            Change::LotExpires { lot, on: input.on.0 }
        }
        ChangeInput::LotRejected(input) => {
            let lot = lot_named(ctx, &input.lot, &format!("{place}.lotRejected.lot")).await?.id;
            Change::LotRejected { lot, on: input.on.0 }
        }
        ChangeInput::LotOnHold(input) => {
            let lot = lot_named(ctx, &input.lot, &format!("{place}.lotOnHold.lot")).await?.id;
            Change::LotOnHold { lot, on: input.on.0 }
        }
        ChangeInput::MaterialUnavailable(input) => {
            let place = format!("{place}.materialUnavailable.material");
            let material = catalogue.material(&input.material, &place)?.id;
            Change::MaterialUnavailable { material, until: input.until.0 }
        }
        ChangeInput::PlannedRun(input) => {
            let place = format!("{place}.plannedRun");
            let of = match crate::run_check::subject(ctx, &input.of, input.on.0, &format!("{place}.of"))? {
                CostSubject::Pack { pack, .. } => RunOf::Pack(pack),
                CostSubject::Version(version) => RunOf::Version(version),
            };
            let amount = crate::run_check::amount(&input.amount, &format!("{place}.amount"))?;
            Change::PlannedRun { of, amount, on: input.on.0 }
        }
        ChangeInput::Delivery(input) => {
            let place = format!("{place}.delivery");
            Change::Delivery {
                material: catalogue.material(&input.material, &format!("{place}.material"))?.id,
                quantity: checked(&format!("{place}.quantity"), input.quantity.quantity())?,
                on: input.on.0,
                expires_on: input.expires_on.map(|day| day.0),
            }
        }
    })
}

fn price_of(ctx: &Context<'_>, of: &PriceOfInput, place: &str) -> Result<PriceOf> {
    let catalogue = ctx.catalogue()?;
    Ok(match of {
        PriceOfInput::Material(which) => {
            PriceOf::Material(catalogue.material(which, &format!("{place}.material"))?.id)
        }
        PriceOfInput::Supplier(which) => {
            PriceOf::Supplier(catalogue.supplier(which, &format!("{place}.supplier"))?.id)
        }
        PriceOfInput::Quotation(Which::Id(id)) => {
            PriceOf::Quotation(catalogue.quotation_of_id(id, &format!("{place}.quotation.id"))?.id)
        }
        PriceOfInput::Quotation(Which::Code(reference)) => {
            let key = domain::text::code_key(reference);
            let mut found =
                catalogue.quotations().iter().filter(|q| domain::text::code_key(&q.reference) == key);
            match (found.next(), found.next()) {
                (Some(quotation), None) => PriceOf::Quotation(quotation.id),
                (Some(_), Some(_)) => {
                    let text = "several quotations have this reference; name one by its id";
                    return Err(app::Error::invalid(format!("{place}.quotation.code"), text).into());
                }
                (None, _) => return Err(app::Error::not_found("quotation", key).into()),
            }
        }
    })
}

fn price_by(by: PriceByInput, place: &str) -> Result<PriceBy> {
    Ok(match by {
        PriceByInput::Percent(figure) => {
            PriceBy::Percent(checked(&format!("{place}.percent"), Percent::from_percent(figure.0))?)
        }
        PriceByInput::To(to) => PriceBy::Price {
            price: checked(&format!("{place}.to.price"), to.price.unit_price())?,
            per: checked(&format!("{place}.to.per"), to.per.quantity())?,
        },
    })
}

/// What a scenario does.
pub struct WhatIf(answer::WhatIf);

/// What the assumed changes would do. The ordinary calculation over the house as it is and as it would be; what does not differ is not
/// listed, and nothing was written.
#[Object]
impl WhatIf {
    /// The day asked.
    async fn as_of(&self) -> Date {
        Date(self.0.as_of)
    }

    /// The day both sides are costed for: the first on which every change of price and rate holds, and not before the day asked.
    async fn costed_on(&self) -> Date {
        Date(self.0.costed_on)
    }

    /// The house's currency; all money is in it.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.0.currency)
    }

    /// The version of the catalogue it was worked out from.
    async fn catalogue_version(&self) -> Decimal {
        Decimal::whole(self.0.catalogue_version)
    }

    /// Whether nothing differs.
    async fn hits_nothing(&self) -> bool {
        self.0.hits_nothing()
    }

    /// Formulas whose cost changes, by code.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn formulas(&self) -> Vec<CostHit> {
        self.0.formulas.iter().map(|hit| CostHit { hit: hit.clone(), currency: self.0.currency }).collect()
    }

    /// Packs whose cost or margin changes: those that can be ranked by money a year, the most first, then the others by percent.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn packs(&self) -> Vec<CostHit> {
        self.0.packs.iter().map(|hit| CostHit { hit: hit.clone(), currency: self.0.currency }).collect()
    }

    /// The yearly effect of all packs that can be ranked; above nought is dearer.
    async fn yearly_effect(&self) -> Result<Money> {
        Money::rounded(&self.0.yearly_effect, self.0.currency.minor_places(), self.0.currency)
    }

    /// Open tickets whose cost changes on their day, by day.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn ticket_costs(&self) -> Vec<TicketCostHit> {
        let hits = self.0.ticket_costs.iter();
        hits.map(|hit| TicketCostHit { hit: hit.clone(), currency: self.0.currency }).collect()
    }

    /// Runs that come up short, have to take other lots, or are relieved, by day; assumed runs always.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn runs(&self) -> Vec<RunHit> {
        self.0.runs.iter().cloned().map(RunHit).collect()
    }

    /// Lots of which more, or less, is stranded.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lots(&self) -> Vec<LotHit> {
        self.0.lots.iter().cloned().map(LotHit).collect()
    }

    /// What could not be costed, and why, each in a sentence.
    async fn problems(&self) -> &[String] {
        &self.0.problems
    }
}

/// Costs of one side of a comparison. Partial when not complete.
#[derive(SimpleObject)]
pub struct Figures {
    /// The batch, to the currency's minor unit.
    pub per_batch: Money,
    /// The liquid per kg of good output, to 6 places.
    pub per_kg: Money,
    /// The liquid per litre, to 6 places; null without a density.
    pub per_litre: Option<Money>,
    /// One unit, to 4 places; null for a formula.
    pub per_unit: Option<Money>,
    /// One case, to 4 places; null for a formula.
    pub per_case: Option<Money>,
    /// Margin at the selling price, %, to 2 places; null without a price.
    pub margin_percent: Option<Decimal>,
    /// Whether nothing is missing.
    pub complete: bool,
}

impl Figures {
    fn of(figures: &answer::Figures, currency: Currency) -> Result<Self> {
        let money = |value: &Exact, places| Money::rounded(value, places, currency);
        let optional =
            |value: &Option<Exact>, places| value.as_ref().map(|value| money(value, places)).transpose();
        Ok(Self {
            per_batch: money(&figures.per_batch, currency.minor_places())?,
            per_kg: money(&figures.per_kg, PER_KG_PLACES)?,
            per_litre: optional(&figures.per_litre, PER_KG_PLACES)?,
            per_unit: optional(&figures.per_unit, PER_UNIT_PLACES)?,
            per_case: optional(&figures.per_case, PER_UNIT_PLACES)?,
            margin_percent: percent(figures.margin.as_ref())?,
            complete: figures.complete,
        })
    }
}

/// A fraction of one as a percent to 2 places.
fn percent(fraction: Option<&Exact>) -> Result<Option<Decimal>> {
    fraction.map(|fraction| Decimal::rounded(&(fraction * &Exact::whole(100)), PERCENT_PLACES)).transpose()
}

/// Why a pack cannot be ranked, or its margin cannot be told.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "answer::NotKnown")]
pub enum NotKnown {
    /// No expected sales are entered.
    NoYearlyVolume,
    /// No selling price is entered.
    NoSellingPrice,
    /// No density, so nothing per litre and nothing for a fill by volume.
    NoDensity,
    /// The cost has gaps.
    CostWithGaps,
}

/// A formula or a pack whose cost changes.
pub struct CostHit {
    hit: answer::CostHit,
    currency: Currency,
}

impl CostHit {
    fn money(&self, value: Option<&Exact>, places: u32) -> Result<Option<Money>> {
        value.map(|value| Money::rounded(value, places, self.currency)).transpose()
    }
}

/// A formula or a pack whose cost changes.
#[Object]
impl CostHit {
    /// The formula.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Formula> {
        formula_of(ctx, self.hit.formula)
    }

    /// The version that is costed.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.hit.version)
    }

    /// The pack; null for a formula.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Option<Pack>> {
        self.hit.pack.map(|id| pack_of(ctx, id)).transpose()
    }

    /// The code of the pack or formula.
    async fn code(&self) -> &str {
        &self.hit.code
    }

    /// The name of the pack or formula.
    async fn name(&self) -> &str {
        &self.hit.name
    }

    /// How the change reaches it.
    async fn paths(&self) -> Vec<ReachPath> {
        self.hit.paths.iter().cloned().map(ReachPath).collect()
    }

    /// As it is.
    async fn before(&self) -> Result<Figures> {
        Figures::of(&self.hit.before, self.currency)
    }

    /// As it would be.
    async fn after(&self) -> Result<Figures> {
        Figures::of(&self.hit.after, self.currency)
    }

    /// What changes per unit of a pack, or per kg of a formula, to 6 places; null where one side has no figure or is partial.
    async fn change(&self) -> Result<Option<Money>> {
        self.money(self.hit.change.as_ref(), PER_KG_PLACES)
    }

    /// The same, % of the cost before, to 2 places.
    async fn change_percent(&self) -> Result<Option<Decimal>> {
        percent(self.hit.change_share.as_ref())
    }

    /// What the margin changes by, in percentage points, to 2 places; null without a margin on both sides.
    async fn margin_change_points(&self) -> Result<Option<Decimal>> {
        percent(self.hit.margin_change.as_ref())
    }

    /// The price per unit that keeps the margin as it was, to 4 places.
    async fn price_to_hold_margin(&self) -> Result<Option<Money>> {
        self.money(self.hit.price_to_hold_margin.as_ref(), PER_UNIT_PLACES)
    }

    /// The price per unit that keeps the money earned per unit as it was, to 4 places.
    async fn price_to_hold_cash(&self) -> Result<Option<Money>> {
        self.money(self.hit.price_to_hold_cash.as_ref(), PER_UNIT_PLACES)
    }

    /// Expected sales in a year, whole units.
    async fn units_a_year(&self) -> Option<Decimal> {
        self.hit.units_a_year.map(Decimal::whole)
    }

    /// Units a year times the change per unit; above nought is dearer. Null when it cannot be ranked; `notKnown` says why.
    async fn yearly_effect(&self) -> Result<Option<Money>> {
        self.money(self.hit.yearly_effect.as_ref(), self.currency.minor_places())
    }

    /// What is not known, so that it cannot be ranked or its margin cannot be told.
    async fn not_known(&self) -> Vec<NotKnown> {
        self.hit.not_known.iter().copied().map(Into::into).collect()
    }
}

/// A way a change reaches something.
pub struct ReachPath(Path);

/// One way a change reaches a formula or a pack.
#[Object]
impl ReachPath {
    /// The material that is touched, then the intermediates it goes through; the last one stands in the formula or pack itself.
    async fn through(&self, ctx: &Context<'_>) -> Result<Vec<Material>> {
        materials_of(ctx, self.0.through.iter().map(|material| material.id))
    }

    /// How much of the formula's charge the touched material is this way, % w/w, to 6 places; null for packaging.
    async fn share_percent(&self) -> Result<Option<Decimal>> {
        let share = self.0.share.as_ref();
        share.map(|share| Decimal::rounded(&(share * &Exact::whole(100)), PER_KG_PLACES)).transpose()
    }
}

/// A ticket whose cost changes.
pub struct TicketCostHit {
    hit: answer::TicketCostHit,
    currency: Currency,
}

/// An open ticket whose cost changes.
#[Object]
impl TicketCostHit {
    /// The ticket.
    async fn ticket(&self, ctx: &Context<'_>) -> Result<Option<Ticket>> {
        ticket_of(ctx, self.hit.ticket).await
    }

    /// Its number.
    async fn number(&self) -> &str {
        &self.hit.number
    }

    /// The day it is costed for: its own, or the day asked when it is overdue.
    async fn on(&self) -> Date {
        Date(self.hit.on)
    }

    /// As it is.
    async fn before(&self) -> Result<Figures> {
        Figures::of(&self.hit.before, self.currency)
    }

    /// As it would be.
    async fn after(&self) -> Result<Figures> {
        Figures::of(&self.hit.after, self.currency)
    }

    /// What the batch costs more, to the currency's minor unit.
    async fn change(&self) -> Result<Money> {
        Money::rounded(&self.hit.change, self.currency.minor_places(), self.currency)
    }
}

/// What a scenario does to a run.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "answer::RunEffect")]
pub enum RunEffect {
    /// It comes up short, or shorter than before.
    Short,
    /// It was short already, and what would cover it no longer comes in time.
    CoverTooLate,
    /// It can be made once an intermediate is made that was there before, or more of it.
    MakeFirst,
    /// It is covered, by other lots than before.
    OtherLots,
    /// It is less short than before, or no longer.
    Relieved,
    /// It is assumed, and everything is there.
    CanBeMade,
}

/// A run that is hit.
pub struct RunHit(answer::RunHit);

/// A run that is hit.
#[Object]
impl RunHit {
    /// The run.
    async fn run(&self) -> Run {
        Run(self.0.run.clone())
    }

    /// Its formula.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Formula> {
        formula_of(ctx, self.0.formula)
    }

    /// The pack it is filled into.
    async fn pack(&self, ctx: &Context<'_>) -> Result<Option<Pack>> {
        self.0.pack.map(|id| pack_of(ctx, id)).transpose()
    }

    /// Its day.
    async fn on(&self) -> Date {
        Date(self.0.on)
    }

    /// What happens to it.
    async fn effect(&self) -> RunEffect {
        self.0.effect.into()
    }

    /// What it is short of, on either side.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn short(&self) -> Vec<ShortHit> {
        self.0.short.iter().cloned().map(ShortHit).collect()
    }

    /// Materials it takes from elsewhere than before.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn other_lots(&self) -> Vec<OtherLots> {
        self.0.other_lots.iter().cloned().map(OtherLots).collect()
    }
}

/// A material a run is short of.
pub struct ShortHit(answer::ShortHit);

/// A material a run is short of.
#[Object]
impl ShortHit {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// Short by so much as it is.
    async fn before(&self) -> Quantity {
        Quantity(self.0.before)
    }

    /// Short by so much as it would be.
    async fn after(&self) -> Quantity {
        Quantity(self.0.after)
    }

    /// Intermediates it is missed behind, outermost first.
    async fn behind(&self, ctx: &Context<'_>) -> Result<Vec<Material>> {
        materials_of(ctx, self.0.behind.iter().map(|material| material.id))
    }

    /// Lots that hold some of it and cannot be taken as things stand.
    async fn might_help(&self) -> Vec<LotOnDay> {
        self.0.might_help.iter().cloned().map(LotOnDay).collect()
    }

    /// What to buy for what would be short.
    async fn buy(&self) -> Option<Purchase> {
        self.0.buy.clone().map(Purchase)
    }
}

/// A material a run takes from elsewhere.
pub struct OtherLots(answer::OtherLots);

/// A material a run takes from elsewhere than before.
#[Object]
impl OtherLots {
    /// The material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// What it takes as it is.
    async fn before(&self) -> Vec<Take> {
        takes(&self.0.before)
    }

    /// What it would take.
    async fn after(&self) -> Vec<Take> {
        takes(&self.0.after)
    }
}

/// A lot of which more or less is stranded.
pub struct LotHit(answer::LotHit);

/// A lot of which more, or less, is stranded.
#[Object]
impl LotHit {
    /// The lot.
    async fn lot(&self, ctx: &Context<'_>) -> Result<Lot> {
        lot_of(ctx, self.0.lot).await
    }

    /// The house's number for it.
    async fn number(&self) -> &str {
        &self.0.number
    }

    /// Its material.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.material.id)
    }

    /// Stranded as it is.
    async fn stranded_before(&self) -> Quantity {
        Quantity(self.0.stranded_before)
    }

    /// Stranded as it would be.
    async fn stranded_after(&self) -> Quantity {
        Quantity(self.0.stranded_after)
    }

    /// The value of what would be stranded; null where the lot's value is not known.
    async fn value_after(&self) -> Option<Money> {
        self.0.value_after.map(Into::into)
    }

    /// What more of its value is stranded; below nought when it is less.
    async fn value_change(&self) -> Option<Money> {
        self.0.value_change.map(Into::into)
    }

    /// The last day a run would take from it; null when none would.
    async fn last_taken_on(&self) -> Option<Date> {
        self.0.last_taken_on.map(Date)
    }

    /// Formulas whose approved version takes the material, which could use it up; by code.
    async fn could_be_used_in(&self, ctx: &Context<'_>) -> Result<Vec<Formula>> {
        let catalogue = ctx.catalogue()?;
        let codes = self.0.could_be_used_in.iter();
        Ok(codes.filter_map(|code| catalogue.formulas.by_code(code).cloned()).map(Formula).collect())
    }
}
