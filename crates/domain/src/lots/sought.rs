//! Looking up a lot by what stands on its label. People leave out spaces and hyphens, drop leading noughts, and take an O for a
//! nought; the label itself is always kept exactly as written.

/// The form two lot texts are compared in when one is looked for: capitals, letters and digits only, an O read as a nought, and no
/// noughts in front of a number. `lot b-00120`, `B 120` and `B12O` are looked for as the same; `B 12` is not.
pub fn sought(text: &str) -> String {
    let mut key = String::with_capacity(text.len());
    let mut number_begun = false;
    let mut noughts = 0_usize;
    let mut characters = letters_and_digits(text).map(|c| if c == 'O' { '0' } else { c }).peekable();
    while let Some(c) = characters.next() {
        if c == '0' && !number_begun {
            // A nought that ends a run of noughts stands for itself when no digit follows.
            noughts += 1;
            let ends = characters.peek().is_none_or(|next| !next.is_ascii_digit());
            if ends && noughts > 0 {
                key.push('0');
                noughts = 0;
            }
            continue;
        }
        noughts = 0;
        number_begun = c.is_ascii_digit();
        key.push(c);
    }
    key
}

/// The coarser form that is kept beside a lot and found by an index: as [`sought`], without any O or nought. What is sought the
/// same is always coarsely the same.
pub fn coarsely_sought(text: &str) -> String {
    letters_and_digits(text).filter(|c| !matches!(c, 'O' | '0')).collect()
}

fn letters_and_digits(text: &str) -> impl Iterator<Item = char> {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_uppercase)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_forgiven() {
        for same in [
            ["B-00120", "b 120"],
            ["B-00120", "B12O"],
            ["LOT 0007/A", "lot7a"],
            ["24-OO31", "24 0031"],
            ["000", "0"],
            ["X0", "XO"],
            ["A-0", "a000"],
        ] {
            assert_eq!(sought(same[0]), sought(same[1]), "{same:?}");
            assert_eq!(coarsely_sought(same[0]), coarsely_sought(same[1]), "{same:?}");
        }
        for other in [["B-120", "B-12"], ["B-102", "B-12"], ["A1", "A"], ["A0", "A"], ["1A", "A1"]] {
            assert_ne!(sought(other[0]), sought(other[1]), "{other:?}");
        }
    }

    proptest! {
        /// The index finds everything that the finer form calls the same, and looking up a key finds itself.
        #[test]
        fn coarse_is_coarser(text in "[A-Za-z0O /.-]{0,20}") {
            let key = sought(&text);
            prop_assert_eq!(coarsely_sought(&text), coarsely_sought(&key));
            prop_assert_eq!(sought(&key), key.clone());
            prop_assert_eq!(sought(&text.to_lowercase()), key);
        }
    }
}
