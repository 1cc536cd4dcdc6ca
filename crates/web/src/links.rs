//! Addresses of pages, with what stands in them escaped.

use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};

/// What may stand in an address as it is (RFC 3986, section 2.3).
const ESCAPED: &AsciiSet = &NON_ALPHANUMERIC.remove(b'-').remove(b'_').remove(b'.').remove(b'~');

/// A text as it stands in an address.
pub(crate) fn escaped(text: &str) -> String {
    utf8_percent_encode(text, ESCAPED).to_string()
}

/// A page under another: `/lots/L-1`.
pub(crate) fn under(folder: &str, name: &str) -> String {
    format!("/{folder}/{}", escaped(name))
}

/// A lot's page.
pub(crate) fn lot(number: &str) -> String {
    under("lots", number)
}

/// A material's page.
pub(crate) fn material(code: &str) -> String {
    under("materials", code)
}

/// A formula's page.
pub(crate) fn formula(code: &str) -> String {
    under("formulas", code)
}

/// The page of one version.
pub(crate) fn version(code: &str, number: u32) -> String {
    format!("{}?version={number}", formula(code))
}

/// A pack's page.
pub(crate) fn pack(code: &str) -> String {
    under("packs", code)
}

/// A supplier's page.
pub(crate) fn supplier(code: &str) -> String {
    under("suppliers", code)
}

/// A ticket's page.
pub(crate) fn ticket(number: &str) -> String {
    under("tickets", number)
}

/// The page a ticket is weighed on.
pub(crate) fn bench(number: &str) -> String {
    format!("{}/bench", ticket(number))
}

/// An address with a query.
pub(crate) fn with_query(path: &str, pairs: &[(&str, &str)]) -> String {
    let query: Vec<String> = pairs
        .iter()
        .filter(|(_, value)| !value.is_empty())
        .map(|(name, value)| format!("{}={}", escaped(name), escaped(value)))
        .collect();
    if query.is_empty() { path.to_owned() } else { format!("{path}?{}", query.join("&")) }
}

/// A page of ours to go to after signing in; anything else becomes the first page.
pub(crate) fn own_page(text: &str) -> &str {
    let own = text.starts_with('/')
        && !text.starts_with("//")
        && !text.contains('\\')
        && text.bytes().all(|byte| byte.is_ascii_graphic());
    if own { text } else { "/" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_in_an_address_is_escaped() {
        assert_eq!(lot("A/B ?#%é"), "/lots/A%2FB%20%3F%23%25%C3%A9");
        assert_eq!(with_query("/x", &[("a", "+12 %"), ("b", "")]), "/x?a=%2B12%20%25");
    }

    #[test]
    fn nobody_is_sent_elsewhere() {
        for other in ["//evil.example", "https://evil.example", "/\\evil.example", "", "/a\r\nb"] {
            assert_eq!(own_page(other), "/", "{other}");
        }
        assert_eq!(own_page("/lots/L-1?x=1"), "/lots/L-1?x=1");
    }
}
