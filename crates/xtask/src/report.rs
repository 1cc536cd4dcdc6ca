//! What was checked, how it ended and how long it took: printed as it goes and summed up at the end.

use std::time::{Duration, Instant};

/// How one step ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// It holds; with a few words about what was looked at.
    Passed(String),
    /// It does not hold; with what to mend.
    Failed(String),
    /// It was not looked at; with the reason.
    Skipped(String),
}

/// A step that has been run.
#[derive(Debug)]
struct Step {
    name: String,
    verdict: Verdict,
    took: Duration,
}

/// The list of steps of one command.
#[derive(Debug, Default)]
pub struct Report {
    steps: Vec<Step>,
}

impl Report {
    /// Runs a step that either holds (`Ok`, with a few words) or does not (`Err`, with what to mend).
    pub fn step(&mut self, name: &str, run: impl FnOnce() -> Result<String, String>) -> bool {
        self.verdict(name, || run().map_or_else(Verdict::Failed, Verdict::Passed))
    }

    /// Runs a step that can also find that it cannot be done here. True unless it failed.
    pub fn verdict(&mut self, name: &str, run: impl FnOnce() -> Verdict) -> bool {
        println!("==> {name}");
        let started = Instant::now();
        let verdict = run();
        let took = started.elapsed();
        match &verdict {
            Verdict::Passed(words) => println!("    passed: {words}"),
            Verdict::Failed(words) => println!("    FAILED: {words}"),
            Verdict::Skipped(words) => println!("    SKIPPED: {words}"),
        }
        let holds = !matches!(verdict, Verdict::Failed(_));
        self.steps.push(Step { name: name.to_owned(), verdict, took });
        holds
    }

    /// Prints the summary. True when nothing failed.
    pub fn close(&self) -> bool {
        println!("\n{}", self.summary());
        self.holds()
    }

    /// True when nothing failed.
    pub fn holds(&self) -> bool {
        !self.steps.iter().any(|step| matches!(step.verdict, Verdict::Failed(_)))
    }

    fn summary(&self) -> String {
        let mut lines = Vec::with_capacity(self.steps.len());
        for step in &self.steps {
            let (word, rest) = match &step.verdict {
                Verdict::Passed(words) => ("passed ", words),
                Verdict::Failed(words) => ("FAILED ", words),
                Verdict::Skipped(words) => ("SKIPPED", words),
            };
            let first = rest.lines().next().unwrap_or_default();
            lines.push(format!("{word} {:<16} {:>5} s  {first}", step.name, step.took.as_secs()));
        }
        lines.join("\n")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_failure_fails_the_whole_and_a_skip_does_not() {
        let mut report = Report::default();
        assert!(report.step("first", || Ok("3 files".to_owned())));
        assert!(report.verdict("second", || Verdict::Skipped("no tool".to_owned())));
        assert!(report.close());
        assert!(!report.step("third", || Err("wrong\nmore".to_owned())));
        assert!(!report.close());
        assert_eq!(
            report.summary(),
            "passed  first                0 s  3 files\n\
             SKIPPED second               0 s  no tool\n\
             FAILED  third                0 s  wrong"
        );
    }
}
