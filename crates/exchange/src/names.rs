//! Comparing names and headings as people write them.

/// A name without letter case, spaces, hyphens, underscores, colons and the `*` that marks what must be there.
pub(crate) fn plain(name: &str) -> String {
    name.chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '-' | '_' | '*' | ':'))
        .flat_map(char::to_lowercase)
        .collect()
}

/// Text for a message: one line, shortened when it is long.
pub(crate) fn shown(text: &str) -> String {
    const CHARS_MAX: usize = 40;
    let line: String =
        text.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).take(CHARS_MAX + 1).collect();
    if line.chars().count() > CHARS_MAX {
        let cut: String = line.chars().take(CHARS_MAX - 1).collect();
        return format!("{cut}…");
    }
    line
}

/// The candidate nearest to a mistyped text, when one is near enough to be meant.
pub(crate) fn nearest<'a>(text: &str, candidates: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let text = plain(text);
    let length = text.chars().count();
    // A long text is compared with nothing: the distance costs the product of the lengths.
    if length > 60 {
        return None;
    }
    candidates
        .map(|candidate| (strsim::osa_distance(&plain(candidate), &text), candidate))
        .min_by_key(|(distance, _)| *distance)
        .filter(|(distance, _)| *distance <= 1.max(length / 3))
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn near_names() {
        let of = |text: &str| nearest(text, ["density", "use level from", "note"].into_iter());
        assert_eq!(of("densty"), Some("density"));
        assert_eq!(of("Use-level form"), Some("use level from"));
        assert_eq!(of("colour"), None);
        assert_eq!(of(&"x".repeat(5000)), None);
    }

    #[test]
    fn long_texts_are_shortened_for_messages() {
        assert_eq!(shown(" a\nb "), "a b");
        assert_eq!(shown(&"é".repeat(100)).chars().count(), 40);
    }
}
