//! Figures, dates and spans as they go in and come out.

use async_graphql::{ScalarType, Value};
use graphql::{Date, Decimal, Span};
use proptest::prelude::*;

fn check(input: serde_json::Value, expected: Result<&str, &str>) {
    let value = Value::from_json(input.clone()).unwrap();
    match (<Decimal as ScalarType>::parse(value), expected) {
        (Ok(figure), Ok(text)) => assert_eq!(ScalarType::to_value(&figure), Value::from(text), "{input}"),
        (Err(error), Err(part)) => {
            let message = error.into_server_error(async_graphql::Pos::default()).message;
            assert!(message.contains(part), "{input}: {message}");
        }
        (Ok(figure), Err(part)) => panic!("{input} was taken as {figure:?}; expected {part}"),
        (Err(error), Ok(text)) => panic!("{input} was refused: {error:?}; expected {text}"),
    }
}

#[test]
fn decimals() {
    use serde_json::json;
    check(json!("12.50"), Ok("12.5"));
    check(json!("-0.001"), Ok("-0.001"));
    check(json!("1e-7"), Ok("0.0000001"));
    check(json!("1E3"), Ok("1000"));
    check(json!("12345678901234.567890123456"), Ok("12345678901234.567890123456"));
    check(json!("0.30000000000000000001"), Ok("0.30000000000000000001"));
    check(json!(12), Ok("12"));
    check(json!(-9_223_372_036_854_775_808_i64), Ok("-9223372036854775808"));
    check(json!(18_446_744_073_709_551_615_u64), Ok("18446744073709551615"));
    check(json!(0.1), Err("write it as a string"));
    check(json!(1.5), Err("write it as a string"));
    check(json!(1e30), Err("write it as a string"));
    check(json!("1,5"), Err("decimal comma"));
    check(json!("12 kg"), Err("not a figure"));
    check(json!(""), Err("not a figure"));
    check(json!("NaN"), Err("not a figure"));
    check(json!("0.12345678901234567890123456789012"), Err("not a figure"));
    check(json!("9".repeat(200)), Err("200 characters"));
    check(json!(true), Err("Expected input type"));
    check(json!(null), Err("Expected input type"));
}

proptest! {
    /// What came out goes in again as the same figure.
    #[test]
    fn decimals_go_round(mantissa in any::<i64>(), places in 0_u32..19) {
        let figure = Decimal(rust_decimal::Decimal::new(mantissa, places));
        let written = ScalarType::to_value(&figure);
        prop_assert!(matches!(written, Value::String(_)));
        let again = <Decimal as ScalarType>::parse(written).map_err(|_| TestCaseError::fail("refused"))?;
        prop_assert_eq!(again.0, figure.0);
    }
}

#[test]
fn dates() {
    let read =
        |text: &str| <Date as ScalarType>::parse(Value::from(text)).ok().map(|date| date.0.to_string());
    assert_eq!(read("2024-02-29").as_deref(), Some("2024-02-29"));
    for bad in ["2023-02-29", "29/02/2024", "2024-2-9", "20240229", "", "2024-02-29T00:00:00Z"] {
        assert_eq!(read(bad), None, "{bad}");
    }
}

/// ISO 8601 durations as RFC 3339, appendix A, writes them; and the words people use.
#[test]
fn spans() {
    let read = |text: &str| {
        <Span as ScalarType>::parse(Value::from(text)).ok().map(|span| ScalarType::to_value(&span))
    };
    for (text, written) in [
        ("P90D", "P90D"),
        ("P6W", "P42D"),
        ("P24M", "P24M"),
        ("P2Y", "P24M"),
        ("24 months", "P24M"),
        ("90 days", "P90D"),
    ] {
        assert_eq!(read(text), Some(Value::from(written)), "{text}");
    }
    for bad in ["P", "PD", "P1H", "P1Y6M", "P-1D", "P1.5M", "PT5M", "P99999D", "24", "P1é"] {
        assert_eq!(read(bad), None, "{bad}");
    }
}
