//! Normal loss is borne by what comes out; loss beyond it, or less of it, is valued like output and shown by itself.

use kernel::{Exact, Percent};
use serde::Serialize;

use crate::EngineError;

/// A process with its normal and its abnormal loss.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LossAccount {
    /// What should come out.
    #[serde(serialize_with = "crate::figures::amount")]
    pub expected_output: Exact,
    /// What is lost as it should be.
    #[serde(serialize_with = "crate::figures::amount")]
    pub normal_loss: Exact,
    /// What one of the expected output costs, scrap of the normal loss taken off.
    #[serde(serialize_with = "crate::figures::cost")]
    pub unit_cost: Exact,
    /// What is lost beyond that; below nought when more came out than should.
    #[serde(serialize_with = "crate::figures::amount")]
    pub abnormal_loss: Exact,
    /// Its value at the unit cost: an expense of the time, no part of the stock (IAS 2, paragraph 16).
    #[serde(serialize_with = "crate::figures::cost")]
    pub abnormal_value: Exact,
    /// What the actual output is worth.
    #[serde(serialize_with = "crate::figures::cost")]
    pub output_value: Exact,
}

/// Spreads a cost over what should come out of an input, and values what was lost beyond that.
///
/// # Errors
/// [`EngineError::QuestionDoesNotFit`] for an input that is not above nought; [`EngineError::Amount`] for a loss that is none.
pub fn loss_account(
    cost: &Exact,
    input: &Exact,
    normal_loss: Percent,
    scrap_price: &Exact,
    output: &Exact,
) -> Result<LossAccount, EngineError> {
    if !input.is_positive() {
        return Err(EngineError::QuestionDoesNotFit { why: "an input must be above nought".to_owned() });
    }
    let normal_loss = input * &normal_loss.require_loss()?.fraction();
    let expected_output = input - &normal_loss;
    let unit_cost = (cost - &(&normal_loss * scrap_price)).checked_div(&expected_output)?;
    let abnormal_loss = &expected_output - output;
    Ok(LossAccount {
        abnormal_value: &abnormal_loss * &unit_cost,
        output_value: output * &unit_cost,
        expected_output,
        normal_loss,
        unit_cost,
        abnormal_loss,
    })
}
