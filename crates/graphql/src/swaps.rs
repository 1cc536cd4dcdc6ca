//! Exchanging one strength of an ingredient for another, and offers of several strengths by what their active matter costs.

use async_graphql::{Context, Enum, Object, SimpleObject, Union};
use engine::{
    present::{AMOUNT_PLACES, PER_KG_PLACES},
    swap::{self as answer, ActiveOffer as Offer, ActiveOffers as Compared, SwapLine as Line, SwapRefusal},
};
use kernel::{Currency, Exact, ids::MaterialId};

use crate::{
    amounts::{Money, Quantity, QuantityInput, kg, percent as percent_of},
    caller::{Desk, Find as _},
    compare::{dose, percent},
    costing::{CostSheet, costing},
    errors::Result,
    formulas::{FormulaVersion, LineAmountKind, kind_of, parts_in, percent_in, quantity_in},
    ids::Which,
    materials::{Material, material_of},
    notes::Gap,
    quotations::{Quotation, quotation_of},
    scalars::{CurrencyCode, Date, Decimal, Span},
    sources::{QuotationSource, Validity},
    suppliers::{Supplier, supplier_of},
    what_if::Figures,
};

/// Materials compared at most.
const MATERIALS_MAX: usize = 20;

/// What a swap does to a line.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "answer::SwapRole")]
pub enum SwapRole {
    /// Its material is exchanged.
    Exchanged,
    /// It takes up the difference.
    Diluent,
    /// It stays as it is.
    Unchanged,
}

/// Why a swap cannot be made.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
pub enum SwapRefusalCode {
    /// The two are the same material.
    SameMaterial,
    /// What is to be exchanged does not stand in the version.
    NotInVersion,
    /// What is to stand in its place is counted, not weighed.
    NotWeighed,
    /// The strength of one of the two is not known, or is nought.
    NoActiveMatter,
    /// Nothing takes up the difference.
    NoDiluent,
    /// The line that is to take up the difference holds what is exchanged.
    DiluentIsExchanged,
    /// Doses are not known, since something is missing.
    DosesNotKnown,
    /// Not enough is left of what takes up the difference.
    DiluentShort,
    /// The formula would come to contain itself.
    WouldLoop,
    /// Another reason; the text says which.
    Other,
}

/// A swap that cannot be made.
#[derive(SimpleObject)]
pub struct SwapRefused {
    /// Why, for programs.
    pub code: SwapRefusalCode,
    /// Why, in a sentence for a person.
    pub message: String,
    /// What takes up the difference; null where that is not the reason.
    pub diluent: Option<Material>,
    /// What stands of it, % w/w, to 6 places; null where that is not the reason.
    pub holds_percent: Option<Decimal>,
    /// What would have to be taken from it, % w/w, to 6 places; null where that is not the reason.
    pub wanted_percent: Option<Decimal>,
    /// What is missing, where doses are not known.
    pub gaps: Vec<Gap>,
}

impl SwapRefused {
    fn of(ctx: &Context<'_>, refusal: &SwapRefusal) -> Result<Self> {
        use SwapRefusal as R;
        let mut refused = Self {
            code: match refusal {
                R::SameMaterial { .. } => SwapRefusalCode::SameMaterial,
                R::NotInVersion { .. } => SwapRefusalCode::NotInVersion,
                R::NotWeighed { .. } => SwapRefusalCode::NotWeighed,
                R::NoActiveMatter { .. } => SwapRefusalCode::NoActiveMatter,
                R::NoDiluent { .. } => SwapRefusalCode::NoDiluent,
                R::DiluentIsExchanged { .. } => SwapRefusalCode::DiluentIsExchanged,
                R::DosesNotKnown { .. } => SwapRefusalCode::DosesNotKnown,
                R::DiluentShort { .. } => SwapRefusalCode::DiluentShort,
                R::WouldLoop { .. } => SwapRefusalCode::WouldLoop,
                _ => SwapRefusalCode::Other,
            },
            message: refusal.to_string(),
            diluent: None,
            holds_percent: None,
            wanted_percent: None,
            gaps: Vec::new(),
        };
        match refusal {
            R::DiluentShort { diluent, holds, wanted } => {
                refused.diluent = Some(material_of(ctx, diluent.id)?);
                refused.holds_percent = Some(dose(holds)?);
                refused.wanted_percent = Some(dose(wanted)?);
            }
            R::DosesNotKnown { gaps } => refused.gaps = gaps.iter().map(Gap::from).collect(),
            _ => {}
        }
        Ok(refused)
    }
}

/// A swap, or why it cannot be made.
#[derive(Union)]
pub enum SwapResult {
    /// The swap.
    Swap(Swap),
    /// Why not.
    Refused(SwapRefused),
}

impl SwapResult {
    pub(crate) async fn ask(
        ctx: &Context<'_>,
        sheet: &CostSheet,
        old: &Which,
        new: &Which,
        against: Option<u32>,
    ) -> Result<Self> {
        let catalogue = ctx.catalogue()?;
        let (old, new) = (catalogue.material(old, "old")?.id, catalogue.material(new, "new")?.id);
        let question = &sheet.asked.question;
        // The ledger's history of the new one, where the basis asks for it.
        let costing = costing(ctx, &[question], &[new]).await?;
        Ok(match costing.swap(question, old, new, against)? {
            Ok(swap) => Self::Swap(Swap(Box::new(swap))),
            Err(refusal) => Self::Refused(SwapRefused::of(ctx, &refusal)?),
        })
    }
}

/// A swap that can be made.
pub struct Swap(Box<answer::Swap>);

/// One material exchanged for another of the same active matter on every line it stands on: new dose = old dose × old active matter ÷
/// new active matter, and another line takes the difference. Nothing is written.
#[Object]
impl Swap {
    /// The version it is worked out for.
    async fn version(&self, ctx: &Context<'_>) -> Result<FormulaVersion> {
        FormulaVersion::find(ctx, self.0.version)
    }

    /// What stands there now.
    #[graphql(name = "old")]
    async fn old_material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.old.id)
    }

    /// Its active matter, %.
    async fn old_active_percent(&self) -> Decimal {
        percent_of(self.0.old_active)
    }

    /// What is to stand there.
    #[graphql(name = "new")]
    async fn new_material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.new.id)
    }

    /// Its active matter, %.
    async fn new_active_percent(&self) -> Decimal {
        percent_of(self.0.new_active)
    }

    /// New dose over old, to 6 places.
    async fn factor(&self) -> Result<Decimal> {
        Decimal::rounded(&self.0.factor, AMOUNT_PLACES)
    }

    /// All lines, before and after.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn lines(&self) -> Vec<SwapLine> {
        let written = |position: u32| self.0.written.iter().find(|line| line.position == position);
        let one = |line: &Line| SwapLine { line: line.clone(), written: written(line.position).cloned() };
        self.0.lines.iter().map(one).collect()
    }

    /// Whether exactly nothing is left of what takes up the difference.
    async fn uses_up_diluent(&self) -> bool {
        self.0.uses_up_diluent
    }

    /// Costs as it is.
    async fn before(&self) -> Result<Figures> {
        Figures::of(&self.0.before, self.0.currency)
    }

    /// Costs after the swap.
    async fn after(&self) -> Result<Figures> {
        Figures::of(&self.0.after, self.0.currency)
    }

    /// What the cost changes by, per unit where units are known, else per kg, as printed.
    async fn difference(&self) -> Result<Money> {
        let printed = self.0.comparison.print()?;
        Ok(crate::costing::money(printed.difference, self.0.currency))
    }

    /// Use levels broken after the swap, by this material or another, in sentences.
    async fn breaks(&self) -> &[String] {
        &self.0.breaks
    }

    /// Whether one of them is a legal one.
    async fn breaks_legal(&self) -> bool {
        self.0.breaks_legal
    }
}

/// One line before and after a swap.
pub struct SwapLine {
    line: Line,
    written: Option<domain::formulas::FormulaLine>,
}

/// One line before and after a swap. Doses are % w/w as supplied, to 6 places.
#[Object]
impl SwapLine {
    /// The line's position.
    async fn position(&self) -> u32 {
        self.line.position
    }

    /// Its phase.
    async fn phase(&self) -> Option<&str> {
        self.line.phase.as_deref()
    }

    /// What the swap does to it.
    async fn role(&self) -> SwapRole {
        self.line.role.into()
    }

    /// What stands on it.
    async fn material_before(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.line.material_before.id)
    }

    /// What is to stand on it.
    async fn material_after(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.line.material_after.id)
    }

    /// Its dose.
    async fn dose_before_percent(&self) -> Result<Decimal> {
        dose(&self.line.dose_before)
    }

    /// Its dose after.
    async fn dose_after_percent(&self) -> Result<Decimal> {
        dose(&self.line.dose_after)
    }

    /// Active matter it holds, % w/w, to 6 places; null where the strength is not known.
    async fn active_before_percent(&self) -> Result<Option<Decimal>> {
        self.line.active_before.as_ref().map(dose).transpose()
    }

    /// Active matter it holds after, % w/w, to 6 places; null where the strength is not known.
    async fn active_after_percent(&self) -> Result<Option<Decimal>> {
        self.line.active_after.as_ref().map(dose).transpose()
    }

    /// How its amount is to be written in a new version.
    async fn written_kind(&self) -> Option<LineAmountKind> {
        self.written.as_ref().map(|line| kind_of(line.amount))
    }

    /// Its amount to be written in percent; null when it is written otherwise.
    async fn written_percent(&self) -> Option<Decimal> {
        self.written.as_ref().and_then(|line| percent_in(line.amount))
    }

    /// Its amount to be written in parts by weight; null when it is written otherwise.
    async fn written_parts(&self) -> Option<Decimal> {
        self.written.as_ref().and_then(|line| parts_in(line.amount))
    }

    /// Its amount to be written by mass (kg) or by volume (L); null when it is written otherwise.
    async fn written_quantity(&self) -> Option<Quantity> {
        self.written.as_ref().and_then(|line| quantity_in(line.amount))
    }
}

/// Offers compared by what a kg of active matter costs.
pub struct ActiveOffers(Compared);

/// What each offer of some materials costs, landed, per kg of active matter, when so much active matter is ordered: whole packs,
/// minimum orders, price breaks and freight as for any price.
#[Object]
impl ActiveOffers {
    /// The house's currency.
    async fn currency(&self) -> CurrencyCode {
        CurrencyCode(self.0.currency)
    }

    /// The day asked.
    async fn on(&self) -> Date {
        Date(self.0.on)
    }

    /// Active matter that every order has to cover, kg.
    async fn active_kg(&self) -> Decimal {
        kg(self.0.active)
    }

    /// The offers: those whose quotation holds on the day first, and of each kind the cheapest per kg of active matter first.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn offers(&self) -> Vec<ActiveOffer> {
        let one = |offer: &Offer| ActiveOffer { offer: offer.clone(), currency: self.0.currency };
        self.0.offers.iter().map(one).collect()
    }

    /// What could not be compared.
    async fn not_compared(&self, ctx: &Context<'_>) -> Result<Vec<NotCompared>> {
        let one = |not: &answer::NotCompared| {
            Ok(NotCompared { material: material_of(ctx, not.material.id)?, gap: Gap::from(&not.gap) })
        };
        self.0.not_compared.iter().map(one).collect()
    }
}

/// What could not be compared, and why.
#[derive(SimpleObject)]
pub struct NotCompared {
    /// The material.
    pub material: Material,
    /// What is missing.
    pub gap: Gap,
}

/// One offer's order that covers the active matter.
pub struct ActiveOffer {
    offer: Offer,
    currency: Currency,
}

impl ActiveOffer {
    fn money(&self, value: &Exact, places: u32) -> Result<Money> {
        Money::rounded(value, places, self.currency)
    }
}

/// One offer's order that covers the active matter. Money is in the house's currency, landed.
#[Object]
impl ActiveOffer {
    /// What is offered.
    async fn material(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.offer.material.id)
    }

    /// Its active matter, %.
    async fn strength_percent(&self) -> Decimal {
        percent_of(self.offer.strength)
    }

    /// The quotation.
    async fn quotation(&self, ctx: &Context<'_>) -> Result<Quotation> {
        quotation_of(ctx, self.offer.quotation)
    }

    /// Who offers.
    async fn supplier(&self, ctx: &Context<'_>) -> Result<Supplier> {
        supplier_of(ctx, self.offer.supplier)
    }

    /// What is sold as one.
    async fn pack(&self) -> Quantity {
        Quantity(self.offer.pack)
    }

    /// Packs of the order.
    async fn packs(&self) -> Result<Decimal> {
        Decimal::rounded(&Exact::whole(self.offer.packs), 0)
    }

    /// Supplied, kg, that the active matter takes, to 6 places.
    async fn demanded_kg(&self) -> Result<Decimal> {
        Decimal::rounded(&self.offer.demanded, AMOUNT_PLACES)
    }

    /// Supplied, kg, that the order brings, to 6 places.
    async fn ordered_kg(&self) -> Result<Decimal> {
        Decimal::rounded(&self.offer.ordered, AMOUNT_PLACES)
    }

    /// Per kg as supplied, to 6 places.
    async fn per_kg(&self) -> Result<Money> {
        self.money(&self.offer.per_kg, PER_KG_PLACES)
    }

    /// Per kg of active matter, to 6 places.
    async fn per_kg_active(&self) -> Result<Money> {
        self.money(&self.offer.per_kg_active, PER_KG_PLACES)
    }

    /// What it is dearer by than the first, % of that, to 2 places; null when the first costs nothing.
    async fn dearer_by_percent(&self) -> Result<Option<Decimal>> {
        percent(self.offer.dearer_by.as_ref())
    }

    /// The whole order, to the currency's minor unit.
    async fn order_cost(&self) -> Result<Money> {
        self.money(&self.offer.order_cost, self.currency.minor_places())
    }

    /// From order to delivery; null when nobody has entered it.
    async fn lead_time(&self) -> Option<Span> {
        self.offer.lead_time.map(Span)
    }

    /// How it stands with the quotation on the day.
    async fn validity(&self) -> Validity {
        Validity(self.offer.validity)
    }

    /// How the price came about.
    async fn source(&self) -> QuotationSource {
        QuotationSource(self.offer.source.clone())
    }
}

/// Questions about strengths.
#[derive(Default)]
pub struct SwapsQuery;

/// Questions about strengths.
#[Object]
impl SwapsQuery {
    /// Offers of several strengths, suppliers and packs by what a kg of active matter costs, landed.
    #[graphql(complexity = "crate::limits::calculations(materials.len(), child_complexity)")]
    async fn offers_per_active(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The materials, 1 to 20: strengths and grades that could stand for each other.")]
        materials: Vec<Which>,
        #[graphql(desc = "Active matter that every order has to cover, a mass.")] active: QuantityInput,
        #[graphql(desc = "The day; today when nothing is said.")] on: Option<Date>,
    ) -> Result<ActiveOffers> {
        if materials.is_empty() || materials.len() > MATERIALS_MAX {
            let message = format!("1 to {MATERIALS_MAX} materials are compared");
            return Err(app::Error::invalid("materials", message).into());
        }
        let catalogue = ctx.catalogue()?;
        let mut ids: Vec<MaterialId> = Vec::with_capacity(materials.len());
        for (at, which) in materials.iter().enumerate() {
            let id = catalogue.material(which, &format!("materials[{at}]"))?.id;
            if !ids.contains(&id) {
                ids.push(id);
            }
        }
        let active = active.mass().map_err(|error| app::Error::invalid("active", error))?;
        let costing = costing(ctx, &[], &[]).await?;
        Ok(ActiveOffers(costing.offers_per_active(&ids, active, ctx.day(on)?)?))
    }
}
