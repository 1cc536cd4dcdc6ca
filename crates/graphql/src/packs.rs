//! Packs.

use std::sync::Arc;

use async_graphql::{Context, Enum, ID, Object, SimpleObject};
use domain::{packs::Pack as Row, text::code_key};
use engine::{CostRequest, CostSubject};
use kernel::ids::{FormulaVersionId, PackId};

use crate::{
    amounts::{Money, MoneyInput, Quantity, QuantityInput, percent},
    bases::Basis,
    caller::Desk,
    cost_inputs::{OrderInput, StatedOrderInput, question},
    costing::CostSheet,
    errors::{Result, internal},
    fill_aid::{FillAid, fill_aid},
    formulas::{Formula, formula_of},
    ids::{global_id, read},
    making::FillingRun,
    materials::{Material, holds, material_of, search_key},
    pages::{Listed, Paging, page_of},
    scalars::{Date, Decimal},
};

/// Whether a component's pieces are for each unit or each case.
#[derive(Enum, Debug, Clone, Copy, PartialEq, Eq)]
#[graphql(remote = "domain::packs::ComponentPer")]
pub enum ComponentPer {
    /// For each unit.
    Unit,
    /// For each case.
    Case,
}

/// A bottle, closure, label or case of a pack.
#[derive(SimpleObject)]
pub struct PackComponent {
    /// The packaging component.
    pub material: Material,
    /// How many pieces.
    pub quantity: Quantity,
    /// Of what.
    pub per: ComponentPer,
    /// Scrapped on the line, % of what is used.
    pub loss_percent: Decimal,
}

/// A pack.
#[derive(Clone)]
pub struct Pack(pub Arc<Row>);

/// A sales unit: what is filled, into what, at which price.
#[Object]
impl Pack {
    /// The global id.
    pub(crate) async fn id(&self) -> ID {
        global_id(self.0.id)
    }

    /// The house's short code.
    async fn code(&self) -> &str {
        &self.0.code
    }

    /// Name.
    async fn name(&self) -> &str {
        &self.0.name
    }

    /// What is filled into it.
    async fn formula(&self, ctx: &Context<'_>) -> Result<Formula> {
        formula_of(ctx, self.0.formula)
    }

    /// The finished product its filled units are kept as.
    async fn product(&self, ctx: &Context<'_>) -> Result<Material> {
        material_of(ctx, self.0.product)
    }

    /// The declared quantity of one unit: a volume (L) or a mass (kg).
    async fn fill(&self) -> Quantity {
        Quantity(self.0.fill)
    }

    /// Filled beyond the declared quantity, % of it.
    async fn overfill_percent(&self) -> Decimal {
        percent(self.0.overfill)
    }

    /// Share of the liquid lost at the filler, %.
    async fn filling_loss_percent(&self) -> Decimal {
        percent(self.0.filling_loss)
    }

    /// Its components.
    #[graphql(complexity = "crate::limits::list(child_complexity)")]
    async fn components(&self, ctx: &Context<'_>) -> Result<Vec<PackComponent>> {
        let component = |component: &domain::packs::PackComponent| {
            Ok(PackComponent {
                material: material_of(ctx, component.material)?,
                quantity: Quantity(kernel::Quantity::Count(component.quantity)),
                per: component.per.into(),
                loss_percent: percent(component.loss),
            })
        };
        self.0.components.iter().map(component).collect()
    }

    /// Units in one case; null when nobody has entered it.
    async fn units_per_case(&self) -> Option<u32> {
        self.0.units_per_case
    }

    /// Filling and labelling, money per unit; null when nobody has entered it.
    async fn line_labour(&self) -> Option<Money> {
        self.0.line_labour.map(Into::into)
    }

    /// How it is filled: units kept back, speed of the line, changeover.
    async fn filling(&self) -> FillingRun {
        FillingRun::of(&self.0.run)
    }

    /// Selling price per unit without tax; null when nobody has entered it.
    async fn price(&self) -> Option<Money> {
        self.0.price.map(Into::into)
    }

    /// Expected sales in a year, whole units; null when nobody has entered it.
    async fn units_a_year(&self) -> Option<Decimal> {
        self.0.units_a_year.map(Decimal::whole)
    }

    /// Remarks.
    async fn note(&self) -> Option<&str> {
        self.0.note.as_deref()
    }

    /// Where to set the filler so that net content holds by Directive 76/211/EEC: an aid for choosing the overfill.
    async fn fill_aid(
        &self,
        #[graphql(desc = "The standard deviation of the fill: a mass or a volume, as the pack declares.")]
        standard_deviation: QuantityInput,
        #[graphql(
            desc = "To be filled on top, for drift: a mass or a volume; nothing when nothing is said."
        )]
        allowance: Option<QuantityInput>,
    ) -> Result<FillAid> {
        fill_aid(&self.0, standard_deviation, allowance)
    }

    /// What a batch, a kilogram, a litre, a unit and a case of it costs, and where each figure comes from; its margin at a price.
    #[graphql(complexity = "crate::limits::calculation(child_complexity)")]
    async fn cost_sheet(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "What is charged in all, a mass; the version's usual batch when nothing is said.")]
        batch: Option<QuantityInput>,
        #[graphql(desc = "Prices, rates and approved versions of this day; today when nothing is said.")]
        as_of: Option<Date>,
        #[graphql(
            desc = "The version filled, by global id; the one approved on the day when nothing is said."
        )]
        version: Option<ID>,
        #[graphql(
            desc = "The selling price of one unit to work the margin out at; the pack's own when nothing is said."
        )]
        price: Option<MoneyInput>,
        #[graphql(default, desc = "Which price is used for what is bought.")] basis: Basis,
        #[graphql(
            desc = "How much of each material is ordered at once, which decides pack and price break; what the batch needs when nothing is said."
        )]
        order: Option<OrderInput>,
        #[graphql(desc = "Orders that are stated, at most 100, whatever else is said of orders.")]
        orders: Option<Vec<StatedOrderInput>>,
    ) -> Result<CostSheet> {
        let version = version.map(|id| read::<FormulaVersionId>(&id, "version")).transpose()?;
        let price = price
            .map(|price| price.money().map_err(|error| app::Error::invalid("price", error)))
            .transpose()?;
        let mut request = CostRequest::pack(self.0.id, ctx.day(as_of)?);
        request.subject = CostSubject::Pack { pack: self.0.id, version };
        request.price = price;
        let request = request.on_basis(basis.into());
        CostSheet::ask(ctx, question(ctx, request, batch, order, orders)?).await
    }
}

/// Packs.
#[derive(Default)]
pub struct PacksQuery;

/// Packs.
#[Object]
impl PacksQuery {
    /// The pack of a code, letter case aside; null when there is none.
    async fn pack(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "The house's code.")] code: String,
    ) -> Result<Option<Pack>> {
        Ok(ctx.catalogue()?.packs.by_code(&code).cloned().map(Pack))
    }

    /// Packs, by code.
    #[graphql(complexity = "crate::limits::page(first, last, child_complexity)")]
    async fn packs(
        &self,
        ctx: &Context<'_>,
        #[graphql(desc = "Only those with this text in code or name, letter case aside.")] search: Option<
            String,
        >,
        #[graphql(desc = "Rows after this cursor.")] after: Option<String>,
        #[graphql(desc = "Rows before this cursor.")] before: Option<String>,
        #[graphql(desc = "At most so many rows from the front, 1 to 100; 20 when nothing is said.")]
        first: Option<i32>,
        #[graphql(desc = "At most so many rows from the back, 1 to 100.")] last: Option<i32>,
    ) -> Result<Listed<Pack>> {
        let paging = Paging::read("packs", after.as_deref(), before.as_deref(), first, last)?;
        let catalogue = ctx.catalogue()?;
        let search = search.as_deref().map(search_key);
        let rows: Vec<_> = catalogue
            .packs
            .iter()
            .filter(|p| search.as_deref().is_none_or(|text| holds(&p.code, text) || holds(&p.name, text)))
            .collect();
        Ok(page_of("packs", &paging, &rows, |p| code_key(&p.code), |p| Pack(Arc::clone(p))))
    }
}

/// The pack of some answer.
pub(crate) fn pack_of(ctx: &Context<'_>, id: PackId) -> Result<Pack> {
    let found = ctx.catalogue()?.packs.get(id).cloned();
    found.map(Pack).ok_or_else(|| internal(format!("pack {id} is not in the catalogue")))
}
