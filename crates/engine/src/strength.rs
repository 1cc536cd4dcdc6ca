//! Strengths: how much of a strong and a weak material make one in between, how much to add to dilute, and strength on the dry and on
//! the as-is basis. All strengths are fractions of one by mass; amounts are in whatever unit goes in.

use kernel::Exact;

use crate::EngineError;

fn does_not_fit(why: &str) -> EngineError {
    EngineError::QuestionDoesNotFit { why: why.to_owned() }
}

/// What of two strengths makes so much of a third.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Blend {
    /// Of the stronger.
    pub stronger: Exact,
    /// Of the weaker; of the diluent when its strength is nought.
    pub weaker: Exact,
}

/// How much of a stronger and a weaker material make `total` of a wanted strength.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] when the wanted strength does not lie between the two, or they are the same.
pub fn blend(total: &Exact, stronger: &Exact, weaker: &Exact, wanted: &Exact) -> Result<Blend, EngineError> {
    if weaker >= stronger {
        return Err(does_not_fit("the stronger of two strengths must be above the weaker"));
    }
    if wanted < weaker || wanted > stronger {
        return Err(does_not_fit("no blend of the two has a strength outside of theirs"));
    }
    let part = (wanted - weaker).checked_div(&(stronger - weaker))?;
    let of_stronger = total * &part;
    Ok(Blend { weaker: total - &of_stronger, stronger: of_stronger })
}

/// How much diluent brings an amount of one strength down to another.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] when the wanted strength is nought or above what is there.
pub fn diluent_to_add(amount: &Exact, strength: &Exact, wanted: &Exact) -> Result<Exact, EngineError> {
    if !wanted.is_positive() || wanted > strength {
        return Err(does_not_fit("diluting ends above nought and not above the strength it begins with"));
    }
    Ok(&(amount * strength).checked_div(wanted)? - amount)
}

/// The strength of a material as it stands, from an assay on the dried material and what it loses on drying.
pub fn as_is_strength(assay_dried: &Exact, loss_on_drying: &Exact) -> Exact {
    assay_dried * &(&Exact::ONE - loss_on_drying)
}

/// How much of a material as it stands holds so much of the pure substance.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for a strength that is not above nought.
pub fn charge_for_pure(pure: &Exact, strength: &Exact) -> Result<Exact, EngineError> {
    if !strength.is_positive() {
        return Err(does_not_fit("a strength of nought holds nothing"));
    }
    Ok(pure.checked_div(strength)?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tests::fixtures::{dec, shown};

    fn exact(text: &str) -> Exact {
        Exact::from(dec(text))
    }

    /// US Army Medical Department, MD0802 (question there, answer worked out): water to add to 300 mL of 70 % for 40 %. Two more worked
    /// examples of alligation: 60 mL of 12 % from 30 % and water, 20 mL of 70 % from 50 % and 100 % (common practice, no source).
    #[test]
    fn alligation() {
        assert_eq!(diluent_to_add(&exact("300"), &exact("0.7"), &exact("0.4")).unwrap(), exact("225"));
        let blended = blend(&exact("60"), &exact("0.3"), &Exact::ZERO, &exact("0.12")).unwrap();
        assert_eq!((blended.stronger, blended.weaker), (exact("24"), exact("36")));
        let blended = blend(&exact("20"), &exact("1"), &exact("0.5"), &exact("0.7")).unwrap();
        assert_eq!((blended.stronger, blended.weaker), (exact("8"), exact("12")));
        assert!(blend(&exact("20"), &exact("0.5"), &exact("0.2"), &exact("0.6")).is_err());
        assert!(blend(&exact("20"), &exact("0.5"), &exact("0.5"), &exact("0.5")).is_err());
        assert!(diluent_to_add(&exact("20"), &exact("0.5"), &exact("0.6")).is_err());
    }

    /// OpenStax, Chemistry 2e, chapter 3: sodium hydroxide of 97.0 % for a litre of 10.0 % at 1.109 g/mL is 114 g (exactly
    /// 114.329897), and 400.0 g of 10.0 % nitric acid take 58.8 g of 68.0 % (exactly 58.823529).
    #[test]
    fn impure_solids_and_dilution_by_mass() {
        let pure = &exact("1109") * &exact("0.10");
        assert_eq!(shown(&charge_for_pure(&pure, &exact("0.97")).unwrap(), 6), "114.329897");
        let blended = blend(&exact("400"), &exact("0.68"), &Exact::ZERO, &exact("0.10")).unwrap();
        assert_eq!(shown(&blended.stronger, 6), "58.823529");
        assert!(charge_for_pure(&pure, &Exact::ZERO).is_err());
    }

    /// Factors quoted in the trade: 7.0 % water takes 100/93 = 1.075269 (printed 1.075) times as much.
    #[test]
    fn dried_and_as_is() {
        let strength = as_is_strength(&Exact::ONE, &exact("0.07"));
        assert_eq!(shown(&charge_for_pure(&Exact::ONE, &strength).unwrap(), 6), "1.075269");
        assert_eq!(shown(&as_is_strength(&exact("0.995"), &exact("0.02")), 4), "0.9751");
    }
}
