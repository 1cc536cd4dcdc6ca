//! Published figures of rounding and of conversion between units, each with its source.
//!
//! Kernel rounds half to even only. Where a source rounds another way, the rule is written out here on exact fractions, which shows
//! that nothing is lost before the rounding.

use rust_decimal::Decimal;

use crate::{DecimalMark, Exact, Unit, parse_decimal};

fn exact(text: &str) -> Exact {
    Exact::from(parse_decimal(text, DecimalMark::Point).unwrap())
}

fn scale(places: u32) -> Exact {
    Exact::whole(10_i128.pow(places))
}

/// Down to so many places, towards nought for what is not below it.
fn cut(figure: &Exact, places: u32) -> Exact {
    Exact::scaled((figure * &scale(places)).floor().unwrap(), places)
}

/// To so many places, a five with nothing behind it going up, for what is not below nought.
fn half_up(figure: &Exact, places: u32) -> Exact {
    let half = Exact::ratio(1, 2).unwrap();
    Exact::scaled((&(figure * &scale(places)) + &half).floor().unwrap(), places)
}

fn half_even(figure: &Exact, places: u32) -> Exact {
    Exact::from(figure.round_half_even(places).unwrap())
}

/// IBM General Decimal Arithmetic test cases 2.59 (M. Cowlishaw): sums at a precision of five digits, and `quantize`.
#[test]
fn decimal_arithmetic_test_cases() {
    // Five digits of a figure above ten thousand are whole numbers.
    let sum = |left: &str, right: &str| exact(left) + exact(right);
    for (left, right, expected) in
        [("12345", "0.5", "12346"), ("12346", "0.5", "12346"), ("12346", "0.50001", "12347")]
    {
        assert_eq!(half_even(&sum(left, right), 0), exact(expected), "{left} + {right}");
    }
    for (left, right, expected) in [("12346", "0.5", "12347"), ("12345", "0.5", "12346")] {
        assert_eq!(half_up(&sum(left, right), 0), exact(expected), "{left} + {right}");
    }
    for (figure, expected) in [("1.2345", "1.23"), ("1.2355", "1.24"), ("9.9999", "10.00"), ("0.001", "0.00")]
    {
        assert_eq!(half_up(&exact(figure), 2), exact(expected), "{figure}");
    }
    // 217 to the nearest ten is 2.2E+2.
    let tens = half_up(&exact("21.7"), 0) * Exact::whole(10);
    assert_eq!(tens, exact("220"));
}

/// United States Pharmacopeia, General Notices 7.20 (USP 32; the table as a handbook reproduces it): the last figure is rounded, half
/// up, to the places of the limit; the limit is not. In binary floating point 101.55 would round to 101.5 and 0.015 to 0.01.
#[test]
fn rounding_to_the_places_of_a_limit() {
    struct Limit<'t> {
        at_least: bool,
        bound: &'t str,
        places: u32,
    }
    let check = |limit: &Limit<'_>, value: &str, rounded: &str, conforms: bool| {
        let found = half_up(&exact(value), limit.places);
        assert_eq!(found, exact(rounded), "{value}");
        let bound = exact(limit.bound);
        assert_eq!(if limit.at_least { found >= bound } else { found <= bound }, conforms, "{value}");
    };
    let assay_from = Limit { at_least: true, bound: "98.0", places: 1 };
    check(&assay_from, "97.96", "98.0", true);
    check(&assay_from, "97.92", "97.9", false);
    check(&assay_from, "97.95", "98.0", true);
    let assay_to = Limit { at_least: false, bound: "101.5", places: 1 };
    check(&assay_to, "101.55", "101.6", false);
    check(&assay_to, "101.46", "101.5", true);
    check(&assay_to, "101.45", "101.5", true);
    let impurity = Limit { at_least: false, bound: "0.02", places: 2 };
    check(&impurity, "0.025", "0.03", false);
    check(&impurity, "0.015", "0.02", true);
    check(&impurity, "0.027", "0.03", false);
    // Three parts in a million are 0.0003 %.
    let metals = Limit { at_least: false, bound: "0.0003", places: 4 };
    check(&metals, "0.00035", "0.0004", false);
    check(&metals, "0.00025", "0.0003", true);
    check(&metals, "0.00028", "0.0003", true);
}

/// The rules of Cowlishaw's telephone billing benchmark ("telco"; as quoted in `pyperformance`): 0.0013 a second for calls of an even
/// number of seconds, 0.00894 for odd; the price half to even to the cent; tax of 6.75 % cut to the cent, and for odd calls 3.41 % more,
/// cut as well; the sum of all. Figures worked out from the rules.
#[test]
fn money_under_three_kinds_of_rounding() {
    let check = |seconds: i128, price: &str, tax: &str, distance: &str, total: &str| {
        let odd = seconds % 2 == 1;
        let rate = exact(if odd { "0.00894" } else { "0.0013" });
        let priced = half_even(&(rate * Exact::whole(seconds)), 2);
        let taxed = cut(&(&priced * &exact("0.0675")), 2);
        let far = if odd { cut(&(&priced * &exact("0.0341")), 2) } else { Exact::ZERO };
        let found = &(&priced + &taxed) + &far;
        assert_eq!(
            [priced, taxed, far, found],
            [exact(price), exact(tax), exact(distance), exact(total)],
            "{seconds}"
        );
    };
    check(26, "0.03", "0", "0", "0.03");
    check(27, "0.24", "0.01", "0", "0.25");
    check(50, "0.06", "0", "0", "0.06");
    check(150, "0.20", "0.01", "0", "0.21");
    check(250, "0.32", "0.02", "0", "0.34");
    check(350, "0.46", "0.03", "0", "0.49");
    check(54_321, "485.63", "32.78", "16.55", "534.96");
    check(123_457, "1103.71", "74.50", "37.63", "1215.84");
}

/// NIST SP 811 (2008), appendix B, and NIST Handbook 44 (2014), appendix C, of units beside those most used here. The handbook rounds
/// the tablespoon to 15 mL and the teaspoon to 5 mL; what is not offered as a unit is worked out from one that is.
#[test]
fn factors_of_compound_units() {
    let factor = |text: &str| Unit::parse(text).unwrap().factor();
    let over = |left: &Exact, right: &Exact| left.checked_div(right).unwrap();
    // kg in a litre at a pound in a gallon; printed 1.198 264 E−01 and 9.977 637 E−02.
    let check = |figure: &Exact, places: u32, expected: &str| {
        assert_eq!(cut(figure, places), exact(expected), "{figure:?}");
    };
    check(&over(&factor("lb"), &factor("[gal_us]")), 15, "0.119826427316896");
    check(&over(&factor("lb"), &factor("[gal_br]")), 15, "0.099776372663101");
    assert_eq!(half_even(&over(&factor("lb"), &factor("[gal_us]")), 7), exact("0.1198264"));
    assert_eq!(half_even(&over(&factor("lb"), &factor("[gal_br]")), 8), exact("0.09977637"));
    // Grams in a litre at an ounce in a gallon; printed 7.489 152 and 6.236 023.
    let grams = |gallon: &str| over(&factor("oz"), &factor(gallon)) * Exact::whole(1_000);
    check(&grams("[gal_us]"), 12, "7.489151707306");
    check(&grams("[gal_br]"), 9, "6.236023291");
    check(&over(&factor("[gal_br]"), &factor("[gal_us]")), 12, "1.200949925504");
    check(&over(&factor("[foz_br]"), &factor("[foz_us]")), 10, "0.9607599404");
    // A cup is eight fluid ounces, a tablespoon half of one, a teaspoon a sixth; a gallon 231 cubic inches.
    let ounce = factor("[foz_us]");
    assert_eq!(&ounce * &Exact::whole(8), exact("0.2365882365"));
    assert_eq!(over(&ounce, &Exact::whole(2)), exact("0.01478676478125"));
    assert_eq!(over(&ounce, &Exact::whole(6)), exact("0.00492892159375"));
    assert_eq!(over(&factor("[gal_us]"), &Exact::whole(231)), exact("0.016387064"));
    // A grain is 1/7000 lb, a stone 14 lb, a short ton 2000 lb and a long ton 2240 lb.
    let pound = factor("lb");
    assert_eq!(over(&pound, &Exact::whole(7_000)), exact("0.00006479891"));
    assert_eq!(&pound * &Exact::whole(14), exact("6.35029318"));
    assert_eq!(&pound * &Exact::whole(2_000), exact("907.18474"));
    assert_eq!(&pound * &Exact::whole(2_240), exact("1016.0469088"));
}

/// NIST SP 811 (2008), section B.7.2, and NIST SP 1038 (2006), section 4.4.1: a converted figure is rounded to what the given one is
/// good for, a limit in the direction that does not break it, a declared quantity down.
#[test]
fn converted_figures_are_rounded_once() {
    let feet = exact("0.3048");
    let mile = exact("1.609344");
    // 36 ft are 10.9728 m exactly, reported as 11.0 m.
    let length = &feet * &Exact::whole(36);
    assert_eq!(length, exact("10.9728"));
    assert_eq!(half_even(&length, 1), exact("11.0"));
    assert_eq!(half_even(&(&mile * &exact("60.5")), 1), exact("97.4"));
    assert_eq!(half_even(&(&mile * &exact("11")), 0), exact("18"));
    assert_eq!(half_even(&(&mile * &exact("66")), 0), exact("106"));
    assert_eq!(half_even(&(&feet * &exact("8")), 1), exact("2.4"));
    // A clearance of 10 ft (3.048 m) is kept by 3.05 m: up. 32 fl oz are declared as 946 mL, not 947: down.
    let clearance = &feet * &Exact::whole(10);
    assert_eq!(Exact::scaled((&clearance * &scale(2)).ceil().unwrap(), 2), exact("3.05"));
    let millilitres = Unit::parse("fl oz").unwrap().factor() * Exact::whole(32_000);
    assert_eq!(cut(&millilitres, 0), exact("946"));
    assert_eq!(millilitres.to_decimal_exactly(), Some(Decimal::from_str_exact("946.352946").unwrap()));
}
