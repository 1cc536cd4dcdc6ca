//! Cautions for the materials that meet on one ticket: what their stored safety data sheets say, and pairs that should not meet.
//!
//! Everything comes from what somebody entered from a safety data sheet; nothing is concluded from a name. The list is a prompt
//! to look, never a clearance, and always ends with [`domain::cautions::DEFER`].

use domain::{
    cautions::{CautionGroup, DEFER, SignalWord},
    materials::{Material, MaterialKind},
};
use kernel::ids::MaterialId;
use rust_decimal::Decimal;
use serde::Serialize;

/// What a caution is about, the most pressing first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CautionKind {
    /// Two materials that should not meet.
    IncompatiblePair,
    /// Something that burns.
    Flammable,
    /// A powder that burns when it hangs in the air.
    CombustibleDust,
    /// Water, and nothing against microbes.
    NoPreservative,
    /// Signal word and hazard statements of a material.
    HazardStatements,
    /// No safety data sheet is named for a material.
    NoSafetyDataSheet,
}

/// One caution.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Caution {
    /// What it is about.
    pub kind: CautionKind,
    /// The materials it is about.
    pub materials: Vec<MaterialId>,
    /// The caution in a sentence.
    pub text: String,
    /// The safety data sheets it comes from.
    pub sources: Vec<String>,
}

/// The cautions for one ticket or one formula.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Cautions {
    /// The most pressing first.
    pub cautions: Vec<Caution>,
    /// The sentence that stands under every list.
    pub defer: &'static str,
}

/// The flash point up to which a liquid counts as flammable, °C (UN GHS chapter 2.6, category 3).
const FLAMMABLE_UP_TO_CELSIUS: Decimal = Decimal::from_parts(60, 0, 0, false, 0);

/// What comes of two groups meeting, as published; `general` pairs are pointed out even where no safety data sheet names them.
struct Meeting {
    a: CautionGroup,
    b: CautionGroup,
    result: &'static str,
    general: bool,
}

const MEETINGS: &[Meeting] = &[
    Meeting {
        a: CautionGroup::Hypochlorite,
        b: CautionGroup::Acid,
        result: "chlorine gas can form",
        general: true,
    },
    Meeting {
        a: CautionGroup::Hypochlorite,
        b: CautionGroup::AmmoniaOrAmine,
        result: "chloramines can form",
        general: true,
    },
    Meeting {
        a: CautionGroup::Peroxide,
        b: CautionGroup::Acid,
        result: "a corrosive peracid can form",
        general: false,
    },
    Meeting {
        a: CautionGroup::Alkali,
        b: CautionGroup::Acid,
        result: "heat, and a violent reaction when concentrated",
        general: false,
    },
    Meeting {
        a: CautionGroup::Hypochlorite,
        b: CautionGroup::Flammable,
        result: "fire or a violent reaction",
        general: false,
    },
    Meeting {
        a: CautionGroup::Peroxide,
        b: CautionGroup::Flammable,
        result: "fire or a violent reaction",
        general: false,
    },
    Meeting {
        a: CautionGroup::Oxidiser,
        b: CautionGroup::Flammable,
        result: "fire or a violent reaction",
        general: false,
    },
    Meeting {
        a: CautionGroup::Oxidiser,
        b: CautionGroup::ReducingAgent,
        result: "fire or a violent reaction",
        general: false,
    },
    Meeting {
        a: CautionGroup::Peroxide,
        b: CautionGroup::ReducingAgent,
        result: "fire or a violent reaction",
        general: false,
    },
];

/// The cautions for materials that meet. The same material given twice counts once.
pub fn cautions<'a>(materials: impl IntoIterator<Item = &'a Material>) -> Cautions {
    let mut met: Vec<&Material> = materials.into_iter().collect();
    met.sort_by(|a, b| a.code.cmp(&b.code));
    met.dedup_by_key(|material| material.id);

    let mut list = pairs(&met);
    list.extend(burning(&met));
    list.extend(unpreserved(&met));
    list.extend(met.iter().filter_map(|material| statements(material)));
    list.extend(without_sheet(&met));
    Cautions { cautions: list, defer: DEFER }
}

fn sources<'a>(materials: impl IntoIterator<Item = &'a Material>) -> Vec<String> {
    let mut sheets: Vec<String> =
        materials.into_iter().filter_map(|material| material.safety_data_sheet.clone()).collect();
    sheets.sort();
    sheets.dedup();
    sheets
}

/// Pairs where the sheet of one names a group of the other, or that are published as never to be mixed.
fn pairs(met: &[&Material]) -> Vec<Caution> {
    let mut found = Vec::new();
    for (at, a) in met.iter().enumerate() {
        for b in met.iter().skip(at + 1) {
            let named = named_groups(a, b).or_else(|| named_groups(b, a));
            let result = meeting(a, b, named.is_some());
            let text = match (named, result) {
                (Some((who, group)), result) => {
                    let also = result.map(|result| format!("; {result}")).unwrap_or_default();
                    format!(
                        "{} and {} are both here; the safety data sheet of {who} names {} as incompatible{also}.",
                        a.name,
                        b.name,
                        group.words()
                    )
                }
                (None, Some(result)) => format!("{} and {} are both here: {result}.", a.name, b.name),
                (None, None) => continue,
            };
            found.push(Caution {
                kind: CautionKind::IncompatiblePair,
                materials: vec![a.id, b.id],
                text,
                sources: sources([*a, *b]),
            });
        }
    }
    found
}

/// Whose sheet names which group of the other.
fn named_groups<'a>(a: &'a Material, b: &Material) -> Option<(&'a str, CautionGroup)> {
    let group = a.incompatible_with.iter().find(|group| b.caution_groups.contains(group))?;
    Some((&a.name, *group))
}

fn meeting(a: &Material, b: &Material, named: bool) -> Option<&'static str> {
    let has = |material: &Material, group: CautionGroup| material.caution_groups.contains(&group);
    MEETINGS
        .iter()
        .filter(|meeting| meeting.general || named)
        .find(|meeting| (has(a, meeting.a) && has(b, meeting.b)) || (has(a, meeting.b) && has(b, meeting.a)))
        .map(|meeting| meeting.result)
}

fn is_flammable(material: &Material) -> bool {
    material.caution_groups.contains(&CautionGroup::Flammable)
        || material.flash_point_celsius.is_some_and(|celsius| celsius <= FLAMMABLE_UP_TO_CELSIUS)
        || material
            .hazard_statements
            .iter()
            .any(|code| matches!(code.to_string().as_str(), "H224" | "H225" | "H226"))
}

fn burning(met: &[&Material]) -> Vec<Caution> {
    let mut found = Vec::new();
    for material in met.iter().filter(|material| is_flammable(material)) {
        let flash = material
            .flash_point_celsius
            .map(|celsius| format!(" (flash point {} °C)", celsius.normalize()))
            .unwrap_or_default();
        found.push(Caution {
            kind: CautionKind::Flammable,
            materials: vec![material.id],
            text: format!("{} is flammable{flash}.", material.name),
            sources: sources([*material]),
        });
    }
    let vapour = !found.is_empty();
    for material in met.iter().filter(|m| m.caution_groups.contains(&CautionGroup::CombustibleDust)) {
        let also = if vapour { ", and something flammable is on the same ticket" } else { "" };
        found.push(Caution {
            kind: CautionKind::CombustibleDust,
            materials: vec![material.id],
            text: format!("{} is a combustible dust{also}.", material.name),
            sources: sources([*material]),
        });
    }
    found
}

fn unpreserved(met: &[&Material]) -> Option<Caution> {
    let of = |group: CautionGroup| met.iter().filter(move |m| m.caution_groups.contains(&group));
    let water: Vec<MaterialId> = of(CautionGroup::Water).map(|material| material.id).collect();
    if water.is_empty() || of(CautionGroup::Preservative).next().is_some() {
        return None;
    }
    Some(Caution {
        kind: CautionKind::NoPreservative,
        materials: water,
        text: "There is water in it and nothing that is marked as a preservative.".to_owned(),
        sources: Vec::new(),
    })
}

fn statements(material: &Material) -> Option<Caution> {
    if material.hazard_statements.is_empty() && material.signal_word.is_none() {
        return None;
    }
    let signal = material.signal_word.map(|word| match word {
        SignalWord::Danger => "Danger".to_owned(),
        SignalWord::Warning => "Warning".to_owned(),
    });
    let coded = material.hazard_statements.iter().map(|code| match code.statement() {
        Some(statement) => format!("{code} {statement}"),
        None => code.to_string(),
    });
    let said: Vec<String> = signal.into_iter().chain(coded).collect();
    Some(Caution {
        kind: CautionKind::HazardStatements,
        materials: vec![material.id],
        text: format!("{}: {}.", material.name, said.join("; ")),
        sources: sources([material]),
    })
}

fn without_sheet(met: &[&Material]) -> Option<Caution> {
    let missing: Vec<&&Material> =
        met.iter().filter(|m| m.kind == MaterialKind::RawMaterial && m.safety_data_sheet.is_none()).collect();
    if missing.is_empty() {
        return None;
    }
    let names: Vec<&str> = missing.iter().map(|material| material.name.as_str()).collect();
    Some(Caution {
        kind: CautionKind::NoSafetyDataSheet,
        materials: missing.iter().map(|material| material.id).collect(),
        text: format!("No safety data sheet is named for: {}.", names.join(", ")),
        sources: Vec::new(),
    })
}

#[cfg(test)]
mod tests;
