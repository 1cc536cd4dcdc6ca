//! Packs and their components.

use domain::{
    making::{FillingRun, LineSpeed},
    packs::{Pack, PackComponent},
    text::code_key,
};
use kernel::{
    Count, Money, Percent,
    ids::{FormulaId, MaterialId, PackId},
};

use crate::{
    StoreError,
    codes::{At, Word, dimension, to_whole},
    rows::currency_of,
};

super::table! {
    pack, "packs" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        code: String,
        code_key: String,
        name: String,
        formula: Uuid,
        product: Uuid,
        fill: i64,
        fill_dimension: String,
        overfill: i64,
        filling_loss: i64,
        units_per_case: Option<i64>,
        line_labour: Option<i64>,
        line_labour_currency: Option<String>,
        price: Option<i64>,
        price_currency: Option<String>,
        units_a_year: Option<i64>,
        note: Option<String>,
        units_kept_back: i64,
        changeover: Option<i64>,
        changeover_currency: Option<String>,
        units_per_hour: Option<i64>,
        people: Option<i64>,
        labour_rate: Option<String>,
        machine_rate: Option<String>,
    }
}

super::table! {
    component, "pack_components" {
        #[sea_orm(primary_key, auto_increment = false)]
        pack: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        material: Uuid,
        quantity: i64,
        per: String,
        loss: i64,
    }
}

impl pack::Model {
    pub(crate) fn of(p: &Pack) -> Result<Self, StoreError> {
        Ok(Self {
            id: p.id.0,
            code: p.code.clone(),
            code_key: code_key(&p.code),
            name: p.name.clone(),
            formula: p.formula.0,
            product: p.product.0,
            fill: p.fill.raw(),
            fill_dimension: dimension(p.fill),
            overfill: p.overfill.nano(),
            filling_loss: p.filling_loss.nano(),
            units_per_case: p.units_per_case.map(i64::from),
            line_labour: p.line_labour.map(Money::micros),
            line_labour_currency: currency_of(p.line_labour),
            price: p.price.map(Money::micros),
            price_currency: currency_of(p.price),
            units_a_year: p.units_a_year.map(|units| to_whole("units a year", units)).transpose()?,
            note: p.note.clone(),
            units_kept_back: i64::from(p.run.units_kept_back),
            changeover: p.run.changeover.map(Money::micros),
            changeover_currency: currency_of(p.run.changeover),
            units_per_hour: p.run.speed.as_ref().map(|speed| speed.units_per_hour.thousandths()),
            people: p.run.speed.as_ref().map(|speed| speed.people.thousandths()),
            labour_rate: p.run.speed.as_ref().and_then(|speed| speed.labour_rate.clone()),
            machine_rate: p.run.speed.as_ref().and_then(|speed| speed.machine_rate.clone()),
        })
    }

    pub(crate) fn into_pack(self, components: Vec<component::Model>) -> Result<Pack, StoreError> {
        let id = self.id;
        let at = At::new("packs", &id);
        let labour_currency = at.text_opt("line_labour_currency", self.line_labour_currency.as_deref())?;
        let price_currency = at.text_opt("price_currency", self.price_currency.as_deref())?;
        let changeover_currency = at.text_opt("changeover_currency", self.changeover_currency.as_deref())?;
        let run = FillingRun {
            units_kept_back: at.whole("units_kept_back", self.units_kept_back)?,
            speed: self.units_per_hour.map(|units_per_hour| LineSpeed {
                units_per_hour: Count::from_thousandths(units_per_hour),
                people: Count::from_thousandths(self.people.unwrap_or_default()),
                labour_rate: self.labour_rate,
                machine_rate: self.machine_rate,
            }),
            changeover: at.money_opt("changeover", self.changeover, changeover_currency)?,
        };
        let component = |row: component::Model| -> Result<PackComponent, StoreError> {
            Ok(PackComponent {
                material: MaterialId(row.material),
                quantity: Count::from_thousandths(row.quantity),
                per: at.word("components: per", &row.per)?,
                loss: Percent::from_nano(row.loss),
            })
        };
        Ok(Pack {
            id: PackId(id),
            formula: FormulaId(self.formula),
            product: MaterialId(self.product),
            fill: at.quantity("fill", self.fill, &self.fill_dimension)?,
            overfill: Percent::from_nano(self.overfill),
            filling_loss: Percent::from_nano(self.filling_loss),
            components: components.into_iter().map(component).collect::<Result<_, _>>()?,
            units_per_case: self.units_per_case.map(|units| at.whole("units_per_case", units)).transpose()?,
            line_labour: at.money_opt("line_labour", self.line_labour, labour_currency)?,
            run,
            price: at.money_opt("price", self.price, price_currency)?,
            units_a_year: self.units_a_year.map(|units| at.whole("units_a_year", units)).transpose()?,
            code: self.code,
            name: self.name,
            note: self.note,
        })
    }
}

impl component::Model {
    pub(crate) fn all_of(p: &Pack) -> Vec<Self> {
        p.components
            .iter()
            .zip(1..)
            .map(|(component, position)| Self {
                pack: p.id.0,
                position,
                material: component.material.0,
                quantity: component.quantity.thousandths(),
                per: component.per.column_word().to_owned(),
                loss: component.loss.nano(),
            })
            .collect()
    }
}
