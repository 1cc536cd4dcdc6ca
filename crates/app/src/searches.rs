//! Searches: how far a price or a dose may go, the cheapest way to buy, what uses up a lot. They write nothing.

use chrono::NaiveDate;
use domain::people::Actor;
use engine::{
    CostRequest, View,
    cheapest::{BuyPlan, cheapest_purchases},
    outlook::OutlookRequest,
    search::{FittingDose, FloorPrice, fitting_dose, floor_price},
    use_up::{UseUp, use_up},
};
use kernel::{
    Exact, Percent,
    ids::{LotId, MaterialId, PackId},
};

use crate::{App, Error};

impl App {
    /// The price of a material at which a pack's margin reaches a floor.
    ///
    /// # Errors
    /// [`Error::Forbidden`]; [`Error::Invalid`] when there is no answer at all.
    pub fn floor_price(
        &self,
        actor: &Actor,
        pack: PackId,
        material: MaterialId,
        floor: Percent,
        on: NaiveDate,
    ) -> Result<FloorPrice, Error> {
        let catalogue = self.catalogue(actor)?;
        let trim_use = self.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        Ok(floor_price(&view, pack, material, floor, on)?)
    }

    /// The greatest dose of a line at which a kg, or a unit of a pack, costs no more than so much.
    ///
    /// # Errors
    /// As [`App::floor_price`].
    pub fn fitting_dose(
        &self,
        actor: &Actor,
        request: &CostRequest,
        line: u32,
        against: Option<u32>,
        cost: &Exact,
    ) -> Result<FittingDose, Error> {
        let catalogue = self.catalogue(actor)?;
        let trim_use = self.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        Ok(fitting_dose(&view, request, line, against, cost)?)
    }

    /// The cheapest way to buy everything that planned runs are short of.
    ///
    /// # Errors
    /// [`Error::Forbidden`], or when the database cannot be read.
    pub async fn cheapest_purchases(
        &self,
        actor: &Actor,
        until: Option<NaiveDate>,
    ) -> Result<Vec<BuyPlan>, Error> {
        let (catalogue, shelf) = self.whole_shelf(actor).await?;
        let trim_use = self.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        Ok(cheapest_purchases(&view, &shelf, OutlookRequest { today: self.today(), until })?)
    }

    /// What to make to use up a lot before it expires.
    ///
    /// # Errors
    /// As [`App::cheapest_purchases`]; [`Error::Invalid`] for a lot of which nothing is left.
    pub async fn use_up(&self, actor: &Actor, lot: LotId) -> Result<UseUp, Error> {
        let (catalogue, shelf) = self.whole_shelf(actor).await?;
        let trim_use = self.trim_use();
        let view = View::plain(&catalogue).with_trim_use(&trim_use);
        Ok(use_up(&view, &shelf, lot, self.today())?)
    }
}
