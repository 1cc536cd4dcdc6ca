//! Rust source as a list of words, without what stands in comments and strings.
//!
//! Not a parser: just enough to say that a name or a number stands in the code itself, and on which line.

/// A name, a number or one sign.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Token {
    /// The line it starts on, from 1.
    pub line: usize,
    /// Its text as written.
    pub text: String,
}

/// Splits source text.
pub fn tokens(source: &str) -> Vec<Token> {
    let mut scanner = Scanner { chars: source.chars().collect(), at: 0, line: 1, found: Vec::new() };
    scanner.run();
    scanner.found
}

/// Where a run of words stands in the list: the lines on which `words` follow each other.
pub fn lines_with(tokens: &[Token], words: &[&str]) -> Vec<usize> {
    tokens
        .windows(words.len().max(1))
        .filter(|window| window.iter().zip(words).all(|(token, word)| token.text == *word))
        .filter_map(|window| window.first().map(|token| token.line))
        .collect()
}

struct Scanner {
    chars: Vec<char>,
    at: usize,
    line: usize,
    found: Vec<Token>,
}

impl Scanner {
    fn ahead(&self, by: usize) -> Option<char> {
        self.chars.get(self.at + by).copied()
    }

    fn take(&mut self) -> Option<char> {
        let next = self.ahead(0)?;
        self.at += 1;
        if next == '\n' {
            self.line += 1;
        }
        Some(next)
    }

    fn push(&mut self, line: usize, text: String) {
        self.found.push(Token { line, text });
    }

    fn run(&mut self) {
        while let Some(next) = self.ahead(0) {
            match (next, self.ahead(1)) {
                ('/', Some('/')) => self.skip_line(),
                ('/', Some('*')) => self.skip_block(),
                ('"', _) => self.skip_string(),
                ('\'', _) => self.skip_char_or_lifetime(),
                _ if next.is_ascii_digit() => self.number(),
                _ if next.is_alphabetic() || next == '_' => self.word(),
                _ => {
                    let line = self.line;
                    self.take();
                    if !next.is_whitespace() {
                        self.push(line, next.to_string());
                    }
                }
            }
        }
    }

    fn skip_line(&mut self) {
        while self.take().is_some_and(|taken| taken != '\n') {}
    }

    /// Block comments nest in Rust.
    fn skip_block(&mut self) {
        let mut depth = 0_usize;
        while let Some(taken) = self.take() {
            match (taken, self.ahead(0)) {
                ('/', Some('*')) => {
                    self.take();
                    depth += 1;
                }
                ('*', Some('/')) => {
                    self.take();
                    depth = depth.saturating_sub(1);
                    if depth == 0 {
                        return;
                    }
                }
                _ => {}
            }
        }
    }

    fn skip_string(&mut self) {
        self.take();
        while let Some(taken) = self.take() {
            match taken {
                '\\' => {
                    self.take();
                }
                '"' => return,
                _ => {}
            }
        }
    }

    /// A string that ends with a quote and as many `#` as it began with; no escapes inside.
    fn skip_raw_string(&mut self) {
        let mut hashes = 0;
        while self.ahead(0) == Some('#') {
            self.take();
            hashes += 1;
        }
        self.take();
        while let Some(taken) = self.take() {
            if taken == '"' && (0..hashes).all(|by| self.ahead(by) == Some('#')) {
                for _ in 0..hashes {
                    self.take();
                }
                return;
            }
        }
    }

    fn skip_char_or_lifetime(&mut self) {
        self.take();
        match (self.ahead(0), self.ahead(1)) {
            (Some('\\'), _) => {
                self.take();
                self.take();
                while self.take().is_some_and(|taken| taken != '\'') {}
            }
            (Some(_), Some('\'')) => {
                self.take();
                self.take();
            }
            _ => {
                while self.ahead(0).is_some_and(|next| next.is_alphanumeric() || next == '_') {
                    self.take();
                }
            }
        }
    }

    fn word(&mut self) {
        let line = self.line;
        let mut text = String::new();
        while let Some(next) = self.ahead(0).filter(|next| next.is_alphanumeric() || *next == '_') {
            text.push(next);
            self.take();
        }
        let raw = matches!(text.as_str(), "r" | "br" | "cr");
        let hashes = self.chars.iter().skip(self.at).take_while(|next| **next == '#').count();
        match self.ahead(hashes) {
            Some('"') if raw => self.skip_raw_string(),
            Some('"') if hashes == 0 && matches!(text.as_str(), "b" | "c") => self.skip_string(),
            Some('\'') if hashes == 0 && text == "b" => self.skip_char_or_lifetime(),
            _ => self.push(line, text),
        }
    }

    fn number(&mut self) {
        let line = self.line;
        let mut text = self.digits();
        let whole = text.starts_with("0x") || text.starts_with("0b") || text.starts_with("0o");
        if !whole && self.ahead(0) == Some('.') && !self.is_field() {
            let continues = match self.ahead(1) {
                Some(next) if next.is_ascii_digit() => true,
                // `1..2` is a range and `1.max(2)` a call; a bare `1.` is a number with a point.
                Some(next) => next != '.' && next != '_' && !next.is_alphabetic(),
                None => true,
            };
            if continues {
                self.take();
                text.push('.');
                text.push_str(&self.digits());
            }
        }
        if !whole && text.ends_with(['e', 'E']) && matches!(self.ahead(0), Some('+' | '-')) {
            text.extend(self.take());
            text.push_str(&self.digits());
        }
        self.push(line, text);
    }

    fn digits(&mut self) -> String {
        let mut text = String::new();
        while let Some(next) = self.ahead(0).filter(|next| next.is_alphanumeric() || *next == '_') {
            text.push(next);
            self.take();
        }
        text
    }

    /// Whether the number now read is a tuple's field (`pair.0.1`), not the end of a range (`0..1.5`).
    fn is_field(&self) -> bool {
        let mut before = self.found.iter().rev().map(|token| token.text.as_str());
        before.next() == Some(".") && before.next() != Some(".")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(source: &str, expected: &str) {
        let found: Vec<String> = tokens(source).into_iter().map(|token| token.text).collect();
        assert_eq!(found.join(" "), expected, "in {source}");
    }

    #[test]
    fn comments_and_strings_are_left_out() {
        check("let a = b; // f64 here\nc", "let a = b ; c");
        check("a /* f64 /* nested */ f64 */ b", "a b");
        check(r#"a("f64 \" f64", b"f64", c"f64") b"#, "a ( , , ) b");
        check("a(r\"f64\\\", r#\"f64 \" f64\"#, br##\"f64\"# \"##) b", "a ( , , ) b");
        check("/// f64 in a doc comment\nfn a() {}", "fn a ( ) { }");
    }

    #[test]
    fn characters_and_lifetimes_do_not_open_a_string() {
        check("a('\"', '\\'', b'x', '\\u{1F}') b", "a ( , , , ) b");
        check("fn a<'b>(c: &'b str) -> &'static str", "fn a < > ( c : & str ) - > & str");
    }

    #[test]
    fn numbers_with_a_point_are_one_word_and_fields_and_ranges_are_not() {
        check("1.5 + 2. + 1e-3 + 1.5e+7", "1.5 + 2. + 1e-3 + 1.5e+7");
        check(
            "a.0.1; 0..1; 0..=9; 0..1.5; 1.max(2)",
            "a . 0 . 1 ; 0 . . 1 ; 0 . . = 9 ; 0 . . 1.5 ; 1 . max ( 2 )",
        );
        check("0x1e-3", "0x1e - 3");
        check("2.0_f64 3f32", "2.0_f64 3f32");
    }

    #[test]
    fn a_raw_name_is_a_name() {
        check("r#type f64", "r # type f64");
    }

    #[test]
    fn lines_are_counted_through_everything() {
        let found = tokens("a\n/* two\nlines */ \"and\n\n\" b\n'\\n' c");
        let lines: Vec<usize> = found.iter().map(|token| token.line).collect();
        assert_eq!(lines, [1, 5, 6]);
    }

    #[test]
    fn a_run_of_words_is_found_across_spaces() {
        let found = tokens("x\nUtc :: now()\n// Utc::now()\nUtc::new()");
        assert_eq!(lines_with(&found, &["Utc", ":", ":", "now"]), [2]);
        assert_eq!(lines_with(&found, &["Local"]), Vec::<usize>::new());
        assert_eq!(lines_with(&[], &["Local"]), Vec::<usize>::new());
    }

    #[test]
    fn unfinished_source_ends() {
        for source in ["\"", "r#\"", "/*", "'", "'\\", "1.", "1e-", "b'", "//"] {
            tokens(source);
        }
    }
}
