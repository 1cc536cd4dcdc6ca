//! Finding what a command is about: codes become things of the catalogue, or an error that says which codes there are.

use chrono::NaiveDate;
use domain::{Catalogue, formulas::FormulaVersion};
use engine::CostSubject;

use crate::{
    cli::{SubjectArgs, values::FormulaName},
    failure::Failure,
};

/// How many codes are named when one is not known.
const CODES_SHOWN: usize = 12;

/// "There is no pack X; there are A, B, C."
pub fn unknown(what: &'static str, code: &str, known: impl Iterator<Item = String>) -> Failure {
    let known: Vec<String> = known.take(CODES_SHOWN + 1).collect();
    let list = match known.as_slice() {
        [] => format!("there are no {what}s yet"),
        all if all.len() > CODES_SHOWN => {
            format!("there are {} and more", all.get(..CODES_SHOWN).unwrap_or_default().join(", "))
        }
        all => format!("there are {}", all.join(", ")),
    };
    Failure::usage(format!("--{what}"), format!("there is no {what} “{code}”; {list}"))
}

/// What to cost or check on a day.
///
/// # Errors
/// [`Failure::Usage`] for a code that is not known.
pub fn subject(catalogue: &Catalogue, args: &SubjectArgs, day: NaiveDate) -> Result<CostSubject, Failure> {
    if let Some(code) = &args.pack {
        let codes = || catalogue.packs.iter().map(|pack| pack.code.clone());
        let pack = catalogue.packs.by_code(code).ok_or_else(|| unknown("pack", code, codes()))?;
        return Ok(CostSubject::Pack { pack: pack.id, version: None });
    }
    match &args.formula {
        Some(name) => Ok(CostSubject::Version(version(catalogue, name, day)?.id)),
        None => Err(Failure::usage("--pack", "name a pack or a formula")),
    }
}

/// The version named, else the one approved on the day, else the one to look at.
fn version<'a>(
    catalogue: &'a Catalogue,
    name: &FormulaName,
    day: NaiveDate,
) -> Result<&'a FormulaVersion, Failure> {
    let codes = || catalogue.formulas.iter().map(|formula| formula.code.clone());
    let formula =
        catalogue.formulas.by_code(&name.code).ok_or_else(|| unknown("formula", &name.code, codes()))?;
    let found = match name.version {
        Some(number) => formula.version(number),
        None => formula.approved_on(day).or_else(|| formula.current()),
    };
    found.ok_or_else(|| {
        let numbers: Vec<String> =
            formula.versions.iter().map(|version| version.number.to_string()).collect();
        let wanted = name.version.map_or_else(String::new, |number| format!(" {number}"));
        Failure::usage(
            "--formula",
            format!("{} has no version{wanted}; it has {}", formula.code, numbers.join(", ")),
        )
    })
}
