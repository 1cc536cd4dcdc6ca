//! The accessibility rules of axe-core (levels A and AA of WCAG 2.0 to 2.2, and its best practices), held against a page.

use std::{env, fs, path::PathBuf, sync::OnceLock};

use crate::chromium::Tab;

/// Where the rules lie, or `skip`.
const SETTING: &str = "STILLROOM_TEST_AXE";

fn rules() -> Option<&'static str> {
    static RULES: OnceLock<Option<String>> = OnceLock::new();
    RULES
        .get_or_init(|| {
            let fetched =
                concat!(env!("CARGO_MANIFEST_DIR"), "/../target/axe/node_modules/axe-core/axe.min.js");
            let path = env::var_os(SETTING).map_or_else(|| PathBuf::from(fetched), PathBuf::from);
            let rules = fs::read_to_string(&path).ok();
            if rules.is_none() {
                println!("SKIPPED: accessibility rules: they were not fetched; `cargo xtask browser` does.");
            }
            rules
        })
        .as_deref()
}

/// What a page breaks of the rules, a line each; nothing where they are not there.
pub fn violations(tab: &mut Tab) -> Vec<String> {
    let Some(rules) = rules() else { return Vec::new() };
    if tab.js("typeof axe") != "object" {
        // By the debugger, which stands outside the page's content policy.
        tab.call("Runtime.evaluate", serde_json::json!({ "expression": rules }));
    }
    let found = tab.js(
        "axe.run(document, { resultTypes: ['violations'] }).then((r) => r.violations.map((v) => \
         `${v.id} (${v.impact}): ${v.help}: ${v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)).join(' | ')}`))",
    );
    found.as_array().unwrap().iter().map(|line| line.as_str().unwrap().to_owned()).collect()
}
