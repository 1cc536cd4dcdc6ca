//! Net content: how far one pack may fall short, and where to set the filler.
//!
//! Council Directive 76/211/EEC, Annex I: the packs of a batch hold on average no less than they declare, few of them fall short by more
//! than the tolerable negative error, and none by more than twice that. The figures are in grams or millilitres, as the pack declares;
//! volumes are at 20 °C. Outside 5 g to 10 kg (or mL to L) the directive has no table; above it, the one of the United Kingdom's
//! Weights and Measures (Packaged Goods) Regulations 2006 goes on and is used, and said to be.

use kernel::{Dimension, Exact, Quantity};
use serde::Serialize;

use crate::EngineError;

/// How far a pack may fall short.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TolerableError {
    /// What the pack declares, g or mL.
    #[serde(serialize_with = "crate::figures::amount")]
    pub nominal: Exact,
    /// The tolerable negative error, g or mL.
    #[serde(serialize_with = "crate::figures::amount")]
    pub error: Exact,
    /// Whether the directive's own table says so; else only the United Kingdom's does.
    pub in_directive: bool,
}

/// Where the filler is to be set.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FillTarget {
    /// How far a pack may fall short.
    pub tolerable: TolerableError,
    /// The mean to set, g or mL.
    #[serde(serialize_with = "crate::figures::amount")]
    pub target: Exact,
    /// The mean that the three rules ask for, g or mL, without the allowance.
    #[serde(serialize_with = "crate::figures::amount")]
    pub least: Exact,
    /// Which rule asks for most.
    pub governed_by: FillRule,
    /// The target beyond what is declared, as a fraction of it (percent in JSON): what to enter as a pack's overfill.
    #[serde(serialize_with = "crate::figures::dose")]
    pub overfill: Exact,
}

/// The three rules of Annex I, point 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum FillRule {
    /// The average is no less than declared.
    Average,
    /// Few packs are short by more than the tolerable negative error.
    FewShort,
    /// No pack is short by more than twice that.
    NoneFarShort,
}

impl FillRule {
    /// The words people use.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Average => "the average is no less than declared",
            Self::FewShort => "few packs are short by more than the tolerable negative error",
            Self::NoneFarShort => "no pack is short by more than twice the tolerable negative error",
        }
    }

    /// A stable name for programs.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Average => "AVERAGE",
            Self::FewShort => "FEW_SHORT",
            Self::NoneFarShort => "NONE_FAR_SHORT",
        }
    }
}

/// A row of the table: up to so much, either a fixed error or tenths of a percent.
enum Row {
    Fixed { tenths: i128 },
    Permille { permille: i128 },
}

/// Nominal quantities up to which a row holds, g or mL, and the row. Annex I, point 2.4; the last two are the United Kingdom's. Where two
/// rows meet they say the same.
const ROWS: [(i128, Row); 9] = [
    (50, Row::Permille { permille: 90 }),
    (100, Row::Fixed { tenths: 45 }),
    (200, Row::Permille { permille: 45 }),
    (300, Row::Fixed { tenths: 90 }),
    (500, Row::Permille { permille: 30 }),
    (1_000, Row::Fixed { tenths: 150 }),
    (10_000, Row::Permille { permille: 15 }),
    (15_000, Row::Fixed { tenths: 1_500 }),
    (i128::MAX, Row::Permille { permille: 10 }),
];
/// The least the table speaks of, g or mL.
const NOMINAL_MIN: i128 = 5;
/// The most the directive's own table speaks of, g or mL.
const DIRECTIVE_MAX: i128 = 10_000;

/// The tolerable negative error of a declared quantity, in g or mL. Errors that the table gives in percent are rounded up to the next
/// tenth of a gram or millilitre.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] below 5 g or mL, where no table speaks.
pub fn tolerable_negative_error(nominal: &Exact) -> Result<TolerableError, EngineError> {
    if *nominal < Exact::whole(NOMINAL_MIN) {
        return Err(EngineError::QuestionDoesNotFit {
            why: format!("below {NOMINAL_MIN} g or mL no tolerable negative error is laid down"),
        });
    }
    let row = ROWS.iter().find(|(up_to, _)| *nominal <= Exact::whole(*up_to)).map(|(_, row)| row);
    let tenths = match row {
        Some(Row::Fixed { tenths }) => *tenths,
        Some(Row::Permille { permille }) => (nominal * &Exact::ratio(*permille, 100)?).ceil()?,
        None => return Err(kernel::AmountError::Overflow("a declared quantity").into()),
    };
    Ok(TolerableError {
        nominal: nominal.clone(),
        error: Exact::ratio(tenths, 10)?,
        in_directive: *nominal <= Exact::whole(DIRECTIVE_MAX),
    })
}

/// A pack's declared quantity in g or mL.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for a pack filled by count.
pub fn nominal_of(fill: Quantity) -> Result<Exact, EngineError> {
    match fill.dimension() {
        // kg to g, L to mL.
        Dimension::Mass | Dimension::Volume => Ok(fill.to_exact() * Exact::whole(1_000)),
        Dimension::Count => Err(EngineError::QuestionDoesNotFit {
            why: "the rules on net content are for a declared mass or volume".to_owned(),
        }),
    }
}

/// A mean to set the filler to, from what it spreads by: the largest of the declared quantity, the declared quantity less the tolerable
/// negative error plus two standard deviations (about one pack in forty short by more), and the declared quantity less twice that error
/// plus 3.7 standard deviations (about one in ten thousand), and then an allowance for drift. A fill that spreads evenly around its mean
/// is taken for granted. An aid: what is legal is decided by the packs that come out.
///
/// # Errors
/// Those of [`tolerable_negative_error`]; [`EngineError::Amount`] for a spread or an allowance below nought.
pub fn fill_target(
    nominal: &Exact,
    standard_deviation: &Exact,
    allowance: &Exact,
) -> Result<FillTarget, EngineError> {
    for (figure, what) in [(standard_deviation, "a standard deviation"), (allowance, "an allowance")] {
        if figure.is_negative() {
            return Err(kernel::AmountError::Negative(what).into());
        }
    }
    let tolerable = tolerable_negative_error(nominal)?;
    let error = &tolerable.error;
    let few_short = &(nominal - error) + &(standard_deviation * &Exact::whole(2));
    let none_far_short =
        &(nominal - &(error * &Exact::whole(2))) + &(standard_deviation * &Exact::ratio(37, 10)?);
    let mut least = (nominal.clone(), FillRule::Average);
    for (mean, rule) in [(few_short, FillRule::FewShort), (none_far_short, FillRule::NoneFarShort)] {
        if mean > least.0 {
            least = (mean, rule);
        }
    }
    let (least, governed_by) = least;
    let target = &least + allowance;
    Ok(FillTarget {
        overfill: (&target - nominal).checked_div(nominal)?,
        tolerable,
        target,
        least,
        governed_by,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tests::fixtures::{dec, quantity};
    use proptest::prelude::*;

    fn exact(text: &str) -> Exact {
        Exact::from(dec(text))
    }

    fn error_of(nominal: &str) -> Exact {
        tolerable_negative_error(&exact(nominal)).unwrap().error
    }

    /// Council Directive 76/211/EEC, Annex I, point 2.4, and the United Kingdom's guidance on packaged goods for rounding up and for the
    /// rows above 10 000; the values between the corners are worked out from it.
    #[test]
    fn table() {
        let values = [
            ("5", "0.5"),
            ("30", "2.7"),
            ("75", "4.5"),
            ("118", "5.4"),
            ("125", "5.7"),
            ("250", "9"),
            ("330", "9.9"),
            ("400", "12"),
            ("750", "15"),
            ("1500", "22.5"),
            ("5000", "75"),
            ("12000", "150"),
            ("20000", "200"),
        ];
        for (nominal, expected) in values {
            assert_eq!(error_of(nominal), exact(expected), "{nominal}");
        }
        let scope = |nominal: &str| tolerable_negative_error(&exact(nominal)).unwrap().in_directive;
        assert!(scope("10000") && !scope("10000.1"));
        assert!(tolerable_negative_error(&exact("4.99")).is_err());
    }

    /// The rows join: on which side a corner falls does not matter (same source).
    #[test]
    fn rows_join() {
        for (corner, expected) in
            [("50", "4.5"), ("100", "4.5"), ("200", "9"), ("300", "9"), ("500", "15"), ("1000", "15")]
        {
            assert_eq!(error_of(corner), exact(expected), "{corner}");
        }
        assert_eq!((error_of("10000"), error_of("15000")), (exact("150"), exact("150")));
    }

    /// The rule for the mean is common practice, no source.
    #[test]
    fn where_to_set_the_filler() {
        let check = |nominal: &str, deviation: &str, allowance: &str, target: &str, rule: FillRule| {
            let found = fill_target(&exact(nominal), &exact(deviation), &exact(allowance)).unwrap();
            assert_eq!((found.target, found.governed_by), (exact(target), rule), "{nominal} {deviation}");
        };
        // 500 mL may be short by 15: a filler that spreads by 2 mL is set to what is declared, whatever the others say.
        check("500", "2", "0", "500", FillRule::Average);
        check("500", "7.5", "1", "501", FillRule::Average);
        check("500", "8", "0", "501", FillRule::FewShort);
        // 500 − 30 + 3.7 × 10 = 507, and 500 − 15 + 2 × 10 = 505.
        check("500", "10", "0.5", "507.5", FillRule::NoneFarShort);
        let found = fill_target(&exact("500"), &exact("8"), &exact("4")).unwrap();
        assert_eq!(found.overfill, exact("0.01"));
        assert!(fill_target(&exact("500"), &exact("-1"), &Exact::ZERO).is_err());
        assert!(fill_target(&exact("500"), &Exact::ONE, &exact("-1")).is_err());
        assert_eq!(nominal_of(quantity("0.5 L")).unwrap(), exact("500"));
        assert!(nominal_of(quantity("5 pcs")).is_err());
    }

    proptest! {
        /// More declared never tolerates less, and the error never jumps by more than a tenth beyond what is added.
        #[test]
        fn grows_without_jumps(nominal in 50_i128..200_000) {
            let at = |tenths: i128| tolerable_negative_error(&Exact::ratio(tenths, 10).unwrap()).unwrap().error;
            let (here, next) = (at(nominal), at(nominal + 1));
            prop_assert!(here <= next);
            prop_assert!(&next - &here <= Exact::ratio(1, 10).unwrap());
        }
    }
}
