//! How many tests ran, read from what the test runner prints.

/// Tests passed, failed and left out, over all suites.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    /// Tests that passed.
    pub passed: u64,
    /// Tests that failed.
    pub failed: u64,
    /// Tests the runner was told to leave out.
    pub ignored: u64,
    /// Suites that printed a result.
    pub suites: u64,
}

impl Tally {
    /// Adds what a line says, if it is a suite's closing line.
    pub fn read(&mut self, line: &str) {
        let Some(result) = line.trim().strip_prefix("test result: ") else { return };
        self.suites += 1;
        for part in result.split([';', '.']) {
            let mut words = part.split_whitespace();
            let Some(number) = words.next().and_then(|word| word.parse::<u64>().ok()) else { continue };
            match words.next() {
                Some("passed") => self.passed += number,
                Some("failed") => self.failed += number,
                Some("ignored") => self.ignored += number,
                _ => {}
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closing_lines_add_up_and_other_lines_do_not_count() {
        let mut tally = Tally::default();
        for line in [
            "running 12 tests",
            "test result: ok. 12 passed; 0 failed; 1 ignored; 0 measured; 0 filtered out; finished in 1.05s",
            "test tally::tests::one ... ok",
            "test result: FAILED. 3 passed; 2 failed; 0 ignored; 0 measured; 7 filtered out; finished in 0.00s",
        ] {
            tally.read(line);
        }
        assert_eq!(tally, Tally { passed: 15, failed: 2, ignored: 1, suites: 2 });
    }
}
