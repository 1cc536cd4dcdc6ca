//! Rates of the house.

use domain::{
    house_rates::{HouseRate, HouseRateAmount},
    text::code_key,
};
use kernel::{Currency, Money, Percent, UnitPrice, ids::HouseRateId};

use crate::{
    StoreError,
    codes::{At, Word, to_text},
    rows::code,
};

super::table! {
    /// One of price, percent and cost is filled; capacities stand beside a cost.
    house_rate, "house_rates" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        name: String,
        name_key: String,
        rate_of: String,
        price: Option<i64>,
        percent: Option<i64>,
        cost: Option<i64>,
        currency: Option<String>,
        normal_capacity: Option<String>,
        capacity_used: Option<String>,
        valid_from: NaiveDate,
        note: Option<String>,
    }
}

impl house_rate::Model {
    pub(crate) fn of(r: &HouseRate) -> Self {
        let mut row = Self {
            id: r.id.0,
            name: r.name.clone(),
            name_key: code_key(&r.name),
            rate_of: r.of.column_word().to_owned(),
            price: None,
            percent: None,
            cost: None,
            currency: r.currency().map(code),
            normal_capacity: None,
            capacity_used: None,
            valid_from: r.from,
            note: r.note.clone(),
        };
        match &r.amount {
            HouseRateAmount::Stated(price) => row.price = Some(price.scaled()),
            HouseRateAmount::Percent(percent) => row.percent = Some(percent.nano()),
            HouseRateAmount::Budget { cost, normal_capacity, capacity_used } => {
                row.cost = Some(cost.micros());
                row.normal_capacity = Some(to_text(*normal_capacity));
                row.capacity_used = capacity_used.map(to_text);
            }
        }
        row
    }

    pub(crate) fn into_rate(self) -> Result<HouseRate, StoreError> {
        let id = self.id;
        let at = At::new("house_rates", &id);
        let currency: Option<Currency> = at.text_opt("currency", self.currency.as_deref())?;
        let normal_capacity = at.decimal_opt("normal_capacity", self.normal_capacity.as_deref())?;
        let amount = match (self.price, self.percent, self.cost, currency, normal_capacity) {
            (Some(price), None, None, Some(currency), None) => {
                HouseRateAmount::Stated(UnitPrice::from_scaled(price, currency))
            }
            (None, Some(percent), None, None, None) => HouseRateAmount::Percent(Percent::from_nano(percent)),
            (None, None, Some(cost), Some(currency), Some(normal_capacity)) => HouseRateAmount::Budget {
                cost: Money::from_micros(cost, currency),
                normal_capacity,
                capacity_used: at.decimal_opt("capacity_used", self.capacity_used.as_deref())?,
            },
            _ => return Err(at.corrupt("price", "price, percent, cost and capacity make no sense together")),
        };
        let rate = HouseRate {
            id: HouseRateId(id),
            name: self.name,
            of: at.word("rate_of", &self.rate_of)?,
            amount,
            from: self.valid_from,
            note: self.note,
        };
        rate.require_sound().map_err(|reason| at.corrupt("rate_of", reason))?;
        Ok(rate)
    }
}
