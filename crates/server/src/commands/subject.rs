//! Finding what a command is about: codes become things of the catalogue, or an error that says which codes there are.

use app::CostQuestion;
use chrono::NaiveDate;
use domain::{Catalogue, formulas::FormulaVersion, materials::Material};
use engine::{CostRequest, CostSubject, StatedOrder};
use std::sync::Arc;

use crate::{
    cli::{SubjectArgs, costing::CostingArgs, values::FormulaName},
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

/// A question about a cost, as it is asked on the command line.
///
/// # Errors
/// [`Failure::Usage`] for a code that is not known.
pub fn question(
    catalogue: &Catalogue,
    args: &CostingArgs,
    today: NaiveDate,
) -> Result<CostQuestion, Failure> {
    let as_of = args.as_of.unwrap_or(today);
    let subject = subject(catalogue, &args.subject, as_of)?;
    let mut request =
        CostRequest { batch: args.batch, ..CostRequest::new(subject, as_of) }.on_basis(args.basis);
    if let Some(order) = args.order.order {
        request = request.ordered(order);
    }
    let mut orders = Vec::with_capacity(args.order.stated_order.len());
    for stated in &args.order.stated_order {
        let material = material(catalogue, "--stated-order", &stated.material)?.id;
        orders.push(StatedOrder { material, quantity: stated.quantity });
    }
    Ok(CostQuestion { request, orders })
}

/// A material by its code.
///
/// # Errors
/// [`Failure::Usage`] for a code that is not known.
pub fn material<'a>(
    catalogue: &'a Catalogue,
    option: &str,
    code: &str,
) -> Result<&'a Arc<Material>, Failure> {
    let missing = || Failure::usage(option, format!("there is no material “{code}”"));
    catalogue.materials.by_code(code).ok_or_else(missing)
}

/// The version named, else the one approved on the day, else the one to look at.
///
/// # Errors
/// [`Failure::Usage`] for a code or a number that is not known.
pub fn version<'a>(
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
