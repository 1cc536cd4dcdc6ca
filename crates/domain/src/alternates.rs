//! Approved alternates: materials that may be weighed instead of another, and how much of them.

use chrono::{DateTime, NaiveDate, Utc};
use kernel::{
    Mass,
    ids::{FormulaId, MaterialId},
};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

/// A material that may be weighed instead of another. What was approved before is never changed; a later entry for the same pair and
/// formula holds instead.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Alternate {
    /// The material that stands on tickets.
    pub material: MaterialId,
    /// What may be weighed instead.
    pub alternate: MaterialId,
    /// Only for this formula; for all when nothing is said.
    pub formula: Option<FormulaId>,
    /// kg of the alternate for one kg of the material.
    pub factor: Decimal,
    /// Whether what is declared on the label changes with it.
    pub changes_label: bool,
    /// The last day it may be used so; `None` for no end.
    pub valid_until: Option<NaiveDate>,
    /// What the approval rests on.
    pub evidence: Option<String>,
    /// Who approved it.
    pub approved_by: String,
    /// When.
    pub approved_at: DateTime<Utc>,
}

impl Alternate {
    /// What so much of it counts for, of the material that stands on the ticket; `None` when the factor makes no sense.
    pub fn counts_as(&self, amount: Mass) -> Option<Mass> {
        let counted = amount.to_exact().checked_div(&self.factor.into()).ok()?;
        Mass::from_exact_half_even(&counted).ok()
    }
}

/// The approval that lets one material be weighed instead of another for a formula on a day: the latest for the formula, else the latest
/// for all; `None` when there is none, or it has ended.
pub fn approved_alternate(
    alternates: &[Alternate],
    material: MaterialId,
    alternate: MaterialId,
    formula: FormulaId,
    day: NaiveDate,
) -> Option<&Alternate> {
    let latest = |of: Option<FormulaId>| {
        alternates
            .iter()
            .filter(|a| a.material == material && a.alternate == alternate && a.formula == of)
            .max_by_key(|a| a.approved_at)
    };
    latest(Some(formula)).or_else(|| latest(None)).filter(|a| a.valid_until.is_none_or(|until| day <= until))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kg(text: &str) -> Mass {
        Mass::from_kg(text.parse().unwrap()).unwrap()
    }

    #[test]
    fn the_approval_that_holds() {
        let (material, other, formula) = (MaterialId::new(), MaterialId::new(), FormulaId::new());
        let at = |seconds| DateTime::from_timestamp(seconds, 0).unwrap();
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        let entry = |formula, factor: &str, until: Option<&str>, seconds| Alternate {
            material,
            alternate: other,
            formula,
            factor: factor.parse().unwrap(),
            changes_label: false,
            valid_until: until.map(day),
            evidence: None,
            approved_by: "A. Penhallow".to_owned(),
            approved_at: at(seconds),
        };
        let list = [
            entry(None, "2", None, 1),
            entry(None, "2.5", None, 2),
            entry(Some(formula), "2.4", Some("2026-11-30"), 1),
        ];
        let found = |formula, on| approved_alternate(&list, material, other, formula, day(on));
        assert_eq!(found(FormulaId::new(), "2026-11-25"), Some(&list[1]), "the later one");
        assert_eq!(found(formula, "2026-11-30"), Some(&list[2]), "the formula's own");
        assert_eq!(found(formula, "2026-12-01"), None, "an approval that ended says no, not yes by another");
        assert_eq!(approved_alternate(&list, other, material, formula, day("2026-11-25")), None);

        // 30 kg of a 28 % grade stand for 12 kg of a 70 % one.
        assert_eq!(list[1].counts_as(kg("30")), Some(kg("12")));
    }
}
