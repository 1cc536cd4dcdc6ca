//! Planning figures of the shelf, and what it is worth.

use chrono::Days;
use domain::people::{Actor, Capability};
use engine::{
    View,
    basis::Basis,
    stock_figures::{MaterialPlan, PlanRequest, ShelfWorth, Used, WorthRequest, shelf_worth, stock_plan},
};
use kernel::ids::MaterialId;

use crate::{App, Error, require};

impl App {
    /// Cover, reorder point, order size and what does not move, for every material that has stock or is used.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn stock_plan(&self, actor: &Actor, request: &PlanRequest) -> Result<Vec<MaterialPlan>, Error> {
        let (catalogue, shelf) = self.whole_shelf(actor).await?;
        let back = u64::from(request.weeks_back).saturating_mul(7);
        let from = request.today.checked_sub_days(Days::new(back)).unwrap_or(request.today);
        let used: Vec<Used> = store::usage::used_by_day(self.store(), from, request.today)
            .await?
            .into_iter()
            .map(|(material, on, raw)| Used { material, on, raw })
            .collect();
        Ok(stock_plan(&View::plain(&catalogue), &shelf, &used, request)?)
    }

    /// What the shelf is worth, lot by lot, at the lower of cost and what it would bring.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn shelf_worth(&self, actor: &Actor, request: &WorthRequest) -> Result<ShelfWorth, Error> {
        require(actor, Capability::Look)?;
        let (catalogue, shelf) = self.whole_shelf(actor).await?;
        let mut materials: Vec<MaterialId> = shelf.lots.iter().map(|lot| lot.material).collect();
        materials.sort_unstable();
        materials.dedup();
        if request.basis.is_none_or(|basis| basis == Basis::Replacement) {
            return Ok(shelf_worth(&View::plain(&catalogue), &shelf.lots, request)?);
        }
        let book = self.history_book(&catalogue, &materials).await?;
        Ok(shelf_worth(&View::plain(&catalogue).with_history(&book), &shelf.lots, request)?)
    }
}
