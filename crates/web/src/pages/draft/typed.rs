//! A formula as it is being typed: read from a form, or from a version; turned into what a use case takes, with every problem named
//! by the line and field it stands in.

use domain::{
    Catalogue, Problem,
    dates::Span,
    formulas::{AmountBasis, Formula, FormulaVersion, LineAmount, MeasuredDensity, Trim, WrittenAs},
    materials::{Material, MaterialKind},
};
use kernel::{
    DecimalMark, Mass, Parts, Percent, Quantity, Unit, Volume,
    ids::{FormulaId, FormulaVersionId},
    limits::FORMULA_LINES_MAX,
    parse_decimal,
};
use rust_decimal::Decimal;
use uuid::Uuid;

use app::{FormulaVersionWrite, LineWrite, Made};

use crate::{
    fields::{Fields, Reader, percent_of},
    text as t,
};

/// The columns of a line, in the order of its fields in the form. Each stands in every line, so lines are told apart by counting.
pub(super) const COLUMNS: [&str; 12] = [
    "phase",
    "material",
    "amount",
    "kind",
    "basis",
    "function",
    "instruction",
    "tolerance",
    "trim",
    "stop",
    "least",
    "most",
];
/// Fields beside the lines.
const HEADER: [&str; 24] = [
    "formula",
    "newId",
    "version",
    "seen",
    "base",
    "code",
    "name",
    "makes",
    "makesKind",
    "writtenAs",
    "total",
    "density",
    "densityOn",
    "celsius",
    "processLoss",
    "heel",
    "usualBatch",
    "smallestBatch",
    "largestBatch",
    "costPerBatch",
    "shelfLife",
    "note",
    "margin",
    "theirs",
];

/// One line as typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Row([String; COLUMNS.len()]);

impl Row {
    /// What a column says.
    pub fn get(&self, column: &str) -> &str {
        let at = COLUMNS.iter().position(|known| *known == column);
        at.and_then(|at| self.0.get(at)).map_or("", String::as_str)
    }

    fn set(&mut self, column: &str, text: impl Into<String>) {
        let at = COLUMNS.iter().position(|known| *known == column);
        if let Some(place) = at.and_then(|at| self.0.get_mut(at)) {
            *place = text.into();
        }
    }

    /// Whether nothing that counts was typed into it.
    pub fn is_blank(&self) -> bool {
        ["material", "amount", "instruction", "function", "trim"].iter().all(|c| self.get(c).is_empty())
            && self.get("kind") != "qs"
    }

    fn blank(kind: &str, phase: &str) -> Self {
        let mut row = Self::default();
        row.set("kind", kind);
        row.set("basis", "supplied");
        row.set("phase", phase);
        row
    }
}

/// A formula as typed.
#[derive(Debug, Clone, Default)]
pub(super) struct Typed {
    /// Everything beside the lines.
    pub header: Fields,
    /// The lines.
    pub rows: Vec<Row>,
}

/// What was read of it.
pub(super) struct Read {
    /// As a use case takes it.
    pub write: FormulaVersionWrite,
    /// The formula that is to be entered with it; `None` for a version of one that is there.
    pub begin: Option<(String, String, Made)>,
    /// The row each line was typed in.
    pub rows: Vec<usize>,
}

/// `lines[2].amount` of the third line that counts, as the row it was typed in.
pub(super) fn placed(rows: &[usize], problems: Vec<Problem>) -> Vec<Problem> {
    let moved = |place: &str| {
        let (at, rest) = place.strip_prefix("lines[")?.split_once(']')?;
        let row = rows.get(at.parse::<usize>().ok()?)?;
        Some(format!("lines[{row}]{rest}"))
    };
    problems
        .into_iter()
        .map(|problem| match moved(&problem.place) {
            Some(place) => Problem { place, ..problem },
            None => problem,
        })
        .collect()
}

impl Typed {
    /// A sheet with nothing on it.
    pub fn blank() -> Self {
        let mut typed = Self::default();
        typed.put("newId", Uuid::now_v7().to_string());
        typed.put("writtenAs", "percent");
        typed.put("makesKind", "bulk");
        typed.put("processLoss", "0");
        typed.put("usualBatch", "100 kg");
        typed.rows = vec![Row::blank("percent", "A"); 4];
        typed
    }

    /// A version as it is written. A draft is to be written anew; of another version a new one is to be made.
    pub fn of_version(formula: &Formula, version: &FormulaVersion) -> Self {
        let mut typed = Self::default();
        typed.put("formula", formula.code.clone());
        typed.put("base", format!("{}#{}", formula.code, version.number));
        typed.fill(version);
        typed
    }

    /// The same as a formula of its own, to be called something else.
    pub fn copied(formula: &Formula, version: &FormulaVersion) -> Self {
        let mut typed = Self::of_version(formula, version);
        typed.put("formula", String::new());
        typed.put("newId", Uuid::now_v7().to_string());
        typed.put("makesKind", "bulk");
        typed
    }

    /// The same draft, written otherwise: what a way to put it right proposes.
    pub fn put_right(&self, version: &FormulaVersion) -> Self {
        let mut typed = self.clone();
        typed.fill(version);
        typed
    }

    fn fill(&mut self, version: &FormulaVersion) {
        let (written_as, total) = match version.written_as {
            WrittenAs::Percent => ("percent", String::new()),
            WrittenAs::Grams { total } => ("grams", mass_text(total)),
            WrittenAs::Volume { total } => ("volume", volume_text(total)),
            WrittenAs::Parts => ("parts", String::new()),
        };
        self.put("writtenAs", written_as);
        self.put("total", total);
        let density = version.density.as_ref();
        self.put("density", density.map_or_else(String::new, |d| plain(d.density.kg_per_litre())));
        let day = density.and_then(|d| d.measured_on);
        self.put("densityOn", day.map_or_else(String::new, |day| day.to_string()));
        self.put("celsius", density.and_then(|d| d.celsius).map_or_else(String::new, plain));
        self.put("processLoss", plain(version.process_loss.percent()));
        self.put("heel", mass_text(version.heel));
        self.put("usualBatch", mass_text(version.usual_batch));
        self.put("smallestBatch", version.smallest_batch.map_or_else(String::new, mass_text));
        self.put("largestBatch", version.largest_batch.map_or_else(String::new, mass_text));
        let cost = version.cost_per_batch.map_or_else(String::new, |cost| plain(cost.amount()));
        self.put("costPerBatch", cost);
        self.put("shelfLife", version.shelf_life.map_or_else(String::new, String::from));
        self.put("note", version.note.clone().unwrap_or_default());
    }

    /// The lines of a version.
    pub fn with_lines(mut self, catalogue: &Catalogue, version: &FormulaVersion) -> Self {
        self.rows = version
            .lines
            .iter()
            .map(|line| {
                let mut row = Row::default();
                row.set("phase", line.phase.clone().unwrap_or_default());
                let code = catalogue.materials.get(line.material).map(|material| material.code.clone());
                row.set("material", code.unwrap_or_default());
                let (amount, kind) = amount_text(line.amount, version.written_as);
                row.set("amount", amount);
                row.set("kind", kind);
                let active = line.basis == AmountBasis::ActiveMatter;
                row.set("basis", if active { "active" } else { "supplied" });
                row.set("function", line.function.clone().unwrap_or_default());
                row.set("instruction", line.instruction.clone().unwrap_or_default());
                row.set("tolerance", percent_text(line.weighing_tolerance));
                row.set("trim", line.trim.as_ref().map(|trim| trim.result.clone()).unwrap_or_default());
                let stop = line.trim.as_ref().and_then(|trim| trim.stop);
                row.set("stop", stop.map(|stop| amount_text(stop, version.written_as).0).unwrap_or_default());
                row.set("least", percent_text(line.use_level_from));
                row.set("most", percent_text(line.use_level_to));
                row
            })
            .collect();
        self
    }

    /// A form that was sent.
    pub fn of_fields(fields: &Fields) -> Self {
        let header = HEADER.iter().map(|name| ((*name).to_owned(), fields.first(name).to_owned())).collect();
        let mut rows: Vec<Row> = Vec::new();
        for column in COLUMNS {
            for (at, value) in fields.all(column).enumerate().take(FORMULA_LINES_MAX + 1) {
                if rows.len() <= at {
                    rows.push(Row::default());
                }
                if let Some(row) = rows.get_mut(at) {
                    row.set(column, value);
                }
            }
        }
        Self { header: Fields(header), rows }
    }

    /// What a field beside the lines says.
    pub fn get(&self, name: &str) -> &str {
        self.header.first(name)
    }

    /// Says something in a field beside the lines.
    pub fn put(&mut self, name: &str, value: impl Into<String>) {
        self.header.0.retain(|(known, _)| known != name);
        self.header.0.push((name.to_owned(), value.into()));
    }

    /// Whether it is a formula that is not entered yet.
    pub fn is_new(&self) -> bool {
        self.get("formula").is_empty()
    }

    /// Another line at the end, in the phase and kind of the last.
    pub fn add_line(&mut self) -> usize {
        let last = self.rows.last();
        let kind = last.map_or("percent", |row| row.get("kind"));
        let kind = if kind == "qs" { self.usual_kind() } else { kind };
        let row = Row::blank(kind, last.map_or("A", |row| row.get("phase")));
        self.rows.push(row);
        self.rows.len() - 1
    }

    fn usual_kind(&self) -> &'static str {
        match self.get("writtenAs") {
            "grams" => "g",
            "volume" => "ml",
            "parts" => "parts",
            _ => "percent",
        }
    }

    /// Takes a line out.
    pub fn remove_line(&mut self, at: usize) {
        if at < self.rows.len() {
            self.rows.remove(at);
        }
    }

    /// Two neighbours change places.
    pub fn swap_lines(&mut self, a: usize, b: usize) {
        if a < self.rows.len() && b < self.rows.len() {
            self.rows.swap(a, b);
        }
    }

    /// Everything read, or everything that is wrong. What a new formula is called need not be known to work it out.
    pub fn read(&self, catalogue: &Catalogue, named: bool) -> Result<Read, Vec<Problem>> {
        let currency = catalogue.settings.currency;
        let mut reader = Reader::new(&self.header);
        let begin = if self.is_new() && named { Some(self.begin(&mut reader)) } else { None };
        let formula = catalogue.formulas.by_code(self.get("formula"));
        if !self.is_new() && formula.is_none() {
            reader.wrong("formula", t::no_such("formula", self.get("formula")));
        }
        let new_id = Uuid::parse_str(self.get("newId")).map(FormulaId).ok();
        let version = Uuid::parse_str(self.get("version")).map(FormulaVersionId).ok();
        let written_as = self.written_as(&mut reader);
        let (rows, lines) = self.lines(catalogue, &mut reader.problems);
        let density = reader.density("density");
        let (measured_on, celsius) = (reader.date("densityOn"), reader.figure("celsius"));
        let process_loss = reader.percent("processLoss");
        let (heel, usual_batch) = (reader.mass("heel"), reader.mass("usualBatch"));
        let usual_batch = reader.needed("usualBatch", usual_batch);
        let (smallest_batch, largest_batch) = (reader.mass("smallestBatch"), reader.mass("largestBatch"));
        let cost_per_batch = reader.money("costPerBatch", currency);
        let shelf_life = match self.header.text("shelfLife") {
            None => None,
            Some(text) => reader.take("shelfLife", text.parse::<Span>()),
        };
        let (Some(written_as), Some(usual_batch), true) =
            (written_as, usual_batch, reader.problems.is_empty())
        else {
            return Err(reader.problems);
        };
        let base = self.base(catalogue);
        let write = FormulaVersionWrite {
            formula: formula.map(|f| f.id).or(new_id).unwrap_or_default(),
            version,
            written_as,
            lines,
            density: density.map(|density| MeasuredDensity { density, measured_on, celsius }),
            process_loss: process_loss.unwrap_or(Percent::ZERO),
            heel: heel.unwrap_or(Mass::ZERO),
            usual_batch,
            smallest_batch,
            largest_batch,
            cost_per_batch,
            making: if version.is_none() { base.map(|base| base.making.clone()) } else { None },
            seen: self.header.text("seen"),
            shelf_life,
            note: self.header.text("note"),
        };
        Ok(Read { write, begin: begin.flatten(), rows })
    }

    /// The version it was copied from.
    pub fn base<'a>(&self, catalogue: &'a Catalogue) -> Option<&'a FormulaVersion> {
        let (code, number) = self.get("base").rsplit_once('#')?;
        catalogue.formulas.by_code(code)?.version(number.parse().ok()?)
    }

    fn begin(&self, reader: &mut Reader<'_>) -> Option<(String, String, Made)> {
        let code = reader.needed("code", self.header.text("code"));
        let name = reader.needed("name", self.header.text("name"));
        let makes = reader.needed("makes", self.header.text("makes").or_else(|| self.header.text("code")))?;
        let intermediate = self.get("makesKind") == "intermediate";
        let kind = if intermediate { MaterialKind::Intermediate } else { MaterialKind::Bulk };
        let makes = Made { code: makes, kind };
        Some((code?, name?, makes))
    }

    fn written_as(&self, reader: &mut Reader<'_>) -> Option<WrittenAs> {
        let total = self.header.text("total");
        match (self.get("writtenAs"), total) {
            ("percent" | "", _) => Some(WrittenAs::Percent),
            ("parts", _) => Some(WrittenAs::Parts),
            (_, None) => {
                reader.wrong("total", t::TOTAL_NEEDED);
                None
            }
            ("volume", Some(text)) => {
                let total =
                    reader.take("total", Quantity::parse(&text, Some(Unit::Litre), DecimalMark::Point))?;
                match total {
                    Quantity::Volume(total) => Some(WrittenAs::Volume { total }),
                    Quantity::Mass(_) | Quantity::Count(_) => {
                        reader.wrong("total", t::FIELD_WANTS_VOLUME);
                        None
                    }
                }
            }
            (_, Some(text)) => {
                let total =
                    reader.take("total", Quantity::parse(&text, Some(Unit::Gram), DecimalMark::Point))?;
                match total {
                    Quantity::Mass(total) => Some(WrittenAs::Grams { total }),
                    Quantity::Volume(_) | Quantity::Count(_) => {
                        reader.wrong("total", t::FIELD_WANTS_MASS);
                        None
                    }
                }
            }
        }
    }

    fn lines(&self, catalogue: &Catalogue, problems: &mut Vec<Problem>) -> (Vec<usize>, Vec<LineWrite>) {
        let (mut rows, mut lines) = (Vec::new(), Vec::new());
        for (at, row) in self.rows.iter().enumerate().filter(|(_, row)| !row.is_blank()) {
            let mut reading = Reading { at, row, problems };
            let material = reading.material(catalogue);
            let amount = reading.amount("amount");
            let (tolerance, least, most) =
                (reading.percent("tolerance"), reading.percent("least"), reading.percent("most"));
            let stop = if row.get("stop").is_empty() { None } else { reading.amount("stop") };
            let text = |column: &str| Some(row.get(column).to_owned()).filter(|text| !text.is_empty());
            if let Some((material, amount)) = material.zip(amount) {
                rows.push(at);
                lines.push(LineWrite {
                    phase: text("phase"),
                    material: material.id,
                    amount,
                    basis: if row.get("basis") == "active" && amount != LineAmount::QuantitySufficient {
                        AmountBasis::ActiveMatter
                    } else {
                        AmountBasis::AsSupplied
                    },
                    function: text("function"),
                    use_level_from: least,
                    use_level_to: most,
                    weighing_tolerance: tolerance,
                    instruction: text("instruction"),
                    trim: text("trim").map(|result| Trim { result, stop }),
                });
            }
        }
        (rows, lines)
    }
}

/// Reading one line.
struct Reading<'a> {
    at: usize,
    row: &'a Row,
    problems: &'a mut Vec<Problem>,
}

impl Reading<'_> {
    fn wrong(&mut self, column: &str, message: impl ToString) {
        self.problems.push(Problem::at(format!("lines[{}].{column}", self.at), message));
    }

    fn take<T, E: ToString>(&mut self, column: &str, result: Result<T, E>) -> Option<T> {
        result.map_err(|error| self.wrong(column, error.to_string())).ok()
    }

    fn material<'c>(&mut self, catalogue: &'c Catalogue) -> Option<&'c Material> {
        let text = self.row.get("material");
        match material_called(catalogue, text) {
            Ok(material) => Some(material),
            Err(why) => {
                self.wrong("material", why);
                None
            }
        }
    }

    fn percent(&mut self, column: &str) -> Option<Percent> {
        let text = self.row.get(column);
        if text.is_empty() { None } else { self.take(column, percent_of(text)) }
    }

    fn amount(&mut self, column: &str) -> Option<LineAmount> {
        let (text, kind) = (self.row.get(column), self.row.get("kind"));
        if kind == "qs" {
            if !text.is_empty() {
                self.wrong(column, t::NO_AMOUNT_FOR_QS);
            }
            return Some(LineAmount::QuantitySufficient);
        }
        if text.is_empty() {
            self.wrong(column, t::AMOUNT_NEEDED);
            return None;
        }
        let unit = match kind {
            "g" => Unit::Gram,
            "kg" => Unit::Kilogram,
            "ml" => Unit::Millilitre,
            "l" => Unit::Litre,
            "percent" => return self.take(column, percent_of(text)).map(LineAmount::Percent),
            "wv" => return self.take(column, percent_of(text)).map(LineAmount::PercentWeightInVolume),
            "vv" => return self.take(column, percent_of(text)).map(LineAmount::PercentVolumeInVolume),
            "parts" => {
                let figure = self.take(column, parse_decimal(text, DecimalMark::Point))?;
                return self.take(column, Parts::from_parts(figure)).map(LineAmount::Parts);
            }
            _ => {
                self.wrong(column, t::KIND_UNKNOWN);
                return None;
            }
        };
        match self.take(column, Quantity::parse(text, Some(unit), DecimalMark::Point))? {
            Quantity::Mass(mass) => Some(LineAmount::Mass(mass)),
            Quantity::Volume(volume) => Some(LineAmount::Volume(volume)),
            Quantity::Count(_) => {
                self.wrong(column, t::FIELD_WANTS_MASS);
                None
            }
        }
    }
}

/// The material somebody means: by its code, else by its whole name or INCI name where only one is called that.
pub(super) fn material_called<'c>(catalogue: &'c Catalogue, text: &str) -> Result<&'c Material, String> {
    if let Some(material) = catalogue.materials.by_code(text) {
        return Ok(material);
    }
    let wanted = text.to_lowercase();
    let mut called = catalogue.materials.iter().filter(|material| {
        !wanted.is_empty()
            && (material.name.to_lowercase() == wanted
                || material.inci.as_ref().is_some_and(|inci| inci.to_lowercase() == wanted))
    });
    match (called.next(), called.next()) {
        (Some(material), None) => Ok(material),
        (Some(_), Some(_)) => Err(t::SEVERAL_OF_NAME.to_owned()),
        (None, _) => Err(t::no_such("material", text)),
    }
}

/// A figure without noughts at its end, as it is typed.
fn plain(figure: Decimal) -> String {
    figure.normalize().to_string()
}

fn percent_text(percent: Option<Percent>) -> String {
    percent.map_or_else(String::new, |percent| plain(percent.percent()))
}

/// Grams below a kilogram.
fn mass_text(mass: Mass) -> String {
    if mass.is_zero() {
        return "0".to_owned();
    }
    let kg = mass.kg();
    if kg < Decimal::ONE { format!("{} g", grams(mass)) } else { format!("{} kg", plain(kg)) }
}

fn grams(mass: Mass) -> String {
    plain(mass.kg().checked_mul(Decimal::ONE_THOUSAND).unwrap_or_default())
}

fn volume_text(volume: Volume) -> String {
    format!("{} L", plain(volume.litres()))
}

fn amount_text(amount: LineAmount, written_as: WrittenAs) -> (String, &'static str) {
    match amount {
        LineAmount::Percent(percent) => (plain(percent.percent()), "percent"),
        LineAmount::PercentWeightInVolume(percent) => (plain(percent.percent()), "wv"),
        LineAmount::PercentVolumeInVolume(percent) => (plain(percent.percent()), "vv"),
        LineAmount::Parts(parts) => (plain(parts.parts()), "parts"),
        LineAmount::Mass(mass) => match written_as {
            WrittenAs::Grams { .. } => (grams(mass), "g"),
            _ if mass.kg() < Decimal::ONE => (grams(mass), "g"),
            _ => (plain(mass.kg()), "kg"),
        },
        LineAmount::Volume(volume) if volume.litres() < Decimal::ONE => {
            (plain(volume.litres().checked_mul(Decimal::ONE_THOUSAND).unwrap_or_default()), "ml")
        }
        LineAmount::Volume(volume) => (plain(volume.litres()), "l"),
        LineAmount::QuantitySufficient => (String::new(), "qs"),
    }
}
