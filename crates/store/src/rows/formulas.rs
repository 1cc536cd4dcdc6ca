//! Formulas, their versions and lines.

use domain::{
    formulas::{
        Approval, Formula, FormulaLine, FormulaVersion, LineAmount, MeasuredDensity, Trim, VersionStatus,
        WrittenAs,
    },
    making::Making,
    text::code_key,
};
use kernel::{
    Density, Mass, Money, Parts, Percent, Volume,
    ids::{FormulaId, FormulaVersionId, MaterialId},
};

use crate::{
    StoreError,
    codes::{At, Word, to_text},
    rows::{currency_of, making},
};

super::table! {
    formula, "formulas" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        code: String,
        code_key: String,
        name: String,
        makes: Uuid,
    }
}

super::table! {
    version, "formula_versions" {
        #[sea_orm(primary_key, auto_increment = false)]
        id: Uuid,
        formula: Uuid,
        number: i64,
        status: String,
        written_as: String,
        written_total: Option<i64>,
        density: Option<i64>,
        density_measured_on: Option<NaiveDate>,
        density_celsius: Option<String>,
        process_loss: i64,
        heel: i64,
        usual_batch: i64,
        smallest_batch: Option<i64>,
        largest_batch: Option<i64>,
        cost_per_batch: Option<i64>,
        cost_currency: Option<String>,
        evaporation: i64,
        samples: i64,
        retains: i64,
        shelf_life: Option<String>,
        approved_by: Option<String>,
        approved_on: Option<NaiveDate>,
        note: Option<String>,
    }
}

super::table! {
    line, "formula_lines" {
        #[sea_orm(primary_key, auto_increment = false)]
        version: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        position: i64,
        phase: Option<String>,
        material: Uuid,
        amount_kind: String,
        amount: Option<i64>,
        basis: String,
        function: Option<String>,
        use_level_from: Option<i64>,
        use_level_to: Option<i64>,
        weighing_tolerance: Option<i64>,
        instruction: Option<String>,
        trim_result: Option<String>,
        trim_stop_kind: Option<String>,
        trim_stop: Option<i64>,
    }
}

impl formula::Model {
    pub(crate) fn of(f: &Formula) -> Self {
        Self {
            id: f.id.0,
            code: f.code.clone(),
            code_key: code_key(&f.code),
            name: f.name.clone(),
            makes: f.makes.0,
        }
    }

    pub(crate) fn into_formula(self, versions: Vec<FormulaVersion>) -> Formula {
        Formula {
            id: FormulaId(self.id),
            code: self.code,
            name: self.name,
            makes: MaterialId(self.makes),
            versions,
        }
    }
}

impl version::Model {
    /// The version as a draft without an approval: lines can only be written to a draft.
    pub(crate) fn draft_of(v: &FormulaVersion) -> Self {
        let (written_as, written_total) = match v.written_as {
            WrittenAs::Percent => ("percent", None),
            WrittenAs::Grams { total } => ("grams", Some(total.micrograms())),
            WrittenAs::Volume { total } => ("volume", Some(total.nanolitres())),
            WrittenAs::Parts => ("parts", None),
        };
        let measured = v.density.as_ref();
        Self {
            id: v.id.0,
            formula: v.formula.0,
            number: i64::from(v.number),
            status: VersionStatus::Draft.column_word().to_owned(),
            written_as: written_as.to_owned(),
            written_total,
            density: measured.map(|m| m.density.nano()),
            density_measured_on: measured.and_then(|m| m.measured_on),
            density_celsius: measured.and_then(|m| m.celsius).map(to_text),
            process_loss: v.process_loss.nano(),
            heel: v.heel.micrograms(),
            usual_batch: v.usual_batch.micrograms(),
            smallest_batch: v.smallest_batch.map(Mass::micrograms),
            largest_batch: v.largest_batch.map(Mass::micrograms),
            cost_per_batch: v.cost_per_batch.map(Money::micros),
            cost_currency: currency_of(v.cost_per_batch),
            evaporation: v.making.evaporation.nano(),
            samples: v.making.samples.micrograms(),
            retains: v.making.retains.micrograms(),
            shelf_life: v.shelf_life.map(String::from),
            approved_by: None,
            approved_on: None,
            note: v.note.clone(),
        }
    }

    pub(crate) fn into_version(
        self,
        lines: Vec<line::Model>,
        costs: Vec<making::cost::Model>,
    ) -> Result<FormulaVersion, StoreError> {
        let id = self.id;
        let at = At::new("formula_versions", &id);
        let written_as = match (self.written_as.as_str(), self.written_total) {
            ("percent", None) => WrittenAs::Percent,
            ("parts", None) => WrittenAs::Parts,
            ("grams", Some(total)) => WrittenAs::Grams { total: Mass::from_micrograms(total) },
            ("volume", Some(total)) => WrittenAs::Volume { total: Volume::from_nanolitres(total) },
            (other, _) => {
                return Err(at.corrupt("written_as", format_args!("“{other}” and its total make no sense")));
            }
        };
        let density = match self.density {
            None => None,
            Some(nano) => Some(MeasuredDensity {
                density: Density::from_nano(nano),
                measured_on: self.density_measured_on,
                celsius: at.decimal_opt("density_celsius", self.density_celsius.as_deref())?,
            }),
        };
        let cost_currency = at.text_opt("cost_currency", self.cost_currency.as_deref())?;
        Ok(FormulaVersion {
            id: FormulaVersionId(id),
            formula: FormulaId(self.formula),
            number: at.whole("number", self.number)?,
            status: at.word("status", &self.status)?,
            written_as,
            lines: lines.into_iter().map(|line| line.into_line(&at)).collect::<Result<_, _>>()?,
            density,
            process_loss: Percent::from_nano(self.process_loss),
            heel: Mass::from_micrograms(self.heel),
            usual_batch: Mass::from_micrograms(self.usual_batch),
            smallest_batch: self.smallest_batch.map(Mass::from_micrograms),
            largest_batch: self.largest_batch.map(Mass::from_micrograms),
            cost_per_batch: at.money_opt("cost_per_batch", self.cost_per_batch, cost_currency)?,
            making: Making {
                evaporation: Percent::from_nano(self.evaporation),
                samples: Mass::from_micrograms(self.samples),
                retains: Mass::from_micrograms(self.retains),
                costs: costs.into_iter().map(|cost| cost.into_cost(&at)).collect::<Result<_, _>>()?,
            },
            shelf_life: at.text_opt("shelf_life", self.shelf_life.as_deref())?,
            approval: self.approved_by.zip(self.approved_on).map(|(by, on)| Approval { by, on }),
            note: self.note,
        })
    }
}

impl line::Model {
    pub(crate) fn all_of(v: &FormulaVersion) -> Vec<Self> {
        let row = |line: &FormulaLine| {
            let stop = line.trim.as_ref().and_then(|trim| trim.stop);
            Self {
                version: v.id.0,
                position: i64::from(line.position),
                phase: line.phase.clone(),
                material: line.material.0,
                amount_kind: amount_word(line.amount).to_owned(),
                amount: line.amount.raw(),
                basis: line.basis.column_word().to_owned(),
                function: line.function.clone(),
                use_level_from: line.use_level_from.map(Percent::nano),
                use_level_to: line.use_level_to.map(Percent::nano),
                weighing_tolerance: line.weighing_tolerance.map(Percent::nano),
                instruction: line.instruction.clone(),
                trim_result: line.trim.as_ref().map(|trim| trim.result.clone()),
                trim_stop_kind: stop.map(|stop| amount_word(stop).to_owned()),
                trim_stop: stop.and_then(LineAmount::raw),
            }
        };
        v.lines.iter().map(row).collect()
    }

    fn into_line(self, at: &At<'_>) -> Result<FormulaLine, StoreError> {
        let amount = amount_of(at, "lines: amount_kind", &self.amount_kind, self.amount)?;
        let stop = self
            .trim_stop_kind
            .map(|kind| amount_of(at, "lines: trim_stop_kind", &kind, self.trim_stop))
            .transpose()?;
        let trim = self.trim_result.map(|result| Box::new(Trim { result, stop }));
        Ok(FormulaLine {
            position: at.whole("lines: position", self.position)?,
            phase: self.phase,
            material: MaterialId(self.material),
            amount,
            basis: at.word("lines: basis", &self.basis)?,
            function: self.function,
            use_level_from: self.use_level_from.map(Percent::from_nano),
            use_level_to: self.use_level_to.map(Percent::from_nano),
            weighing_tolerance: self.weighing_tolerance.map(Percent::from_nano),
            instruction: self.instruction,
            trim,
        })
    }
}

const fn amount_word(amount: LineAmount) -> &'static str {
    match amount {
        LineAmount::Percent(_) => "percent",
        LineAmount::PercentWeightInVolume(_) => "percent-w/v",
        LineAmount::PercentVolumeInVolume(_) => "percent-v/v",
        LineAmount::Parts(_) => "parts",
        LineAmount::Mass(_) => "mass",
        LineAmount::Volume(_) => "volume",
        LineAmount::QuantitySufficient => "quantity-sufficient",
    }
}

fn amount_of(
    at: &At<'_>,
    column: &'static str,
    word: &str,
    raw: Option<i64>,
) -> Result<LineAmount, StoreError> {
    Ok(match (word, raw) {
        ("percent", Some(raw)) => LineAmount::Percent(Percent::from_nano(raw)),
        ("percent-w/v", Some(raw)) => LineAmount::PercentWeightInVolume(Percent::from_nano(raw)),
        ("percent-v/v", Some(raw)) => LineAmount::PercentVolumeInVolume(Percent::from_nano(raw)),
        ("parts", Some(raw)) => LineAmount::Parts(Parts::from_nano(raw)),
        ("mass", Some(raw)) => LineAmount::Mass(Mass::from_micrograms(raw)),
        ("volume", Some(raw)) => LineAmount::Volume(Volume::from_nanolitres(raw)),
        ("quantity-sufficient", None) => LineAmount::QuantitySufficient,
        (other, _) => {
            return Err(at.corrupt(column, format_args!("“{other}” and its amount make no sense")));
        }
    })
}
