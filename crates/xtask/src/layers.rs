//! Arrows between our crates point one way, and the pure crates know no task, database or protocol.
//!
//! The tables below are the one place where the arrows are written down for a program; DEVELOPERS.md draws them for
//! people. What a crate uses only in its tests is nobody's business here.

use crate::workspace::{Member, Workspace};

/// Each of our crates, with those of ours it may use.
const ARROWS: &[(&str, &[&str])] = &[
    ("kernel", &[]),
    ("domain", &["kernel"]),
    ("engine", &["kernel", "domain"]),
    ("migrations", &[]),
    ("store", &["kernel", "domain", "migrations"]),
    ("app", &["kernel", "domain", "engine", "store"]),
    ("graphql", &["kernel", "domain", "engine", "app"]),
    ("exchange", &["kernel", "domain", "engine", "app"]),
    ("web", &["kernel", "domain", "engine", "app", "exchange"]),
    ("server", &["kernel", "domain", "engine", "store", "app", "graphql", "exchange", "web"]),
    // For tests only: may see everything below the server.
    ("testkit", &["kernel", "domain", "engine", "migrations", "store", "app", "graphql", "exchange"]),
    // Knows the house by its doors only.
    ("black-box", &["kernel", "testkit"]),
    ("xtask", &[]),
];

/// The crates that calculate and decide: no clock, task, database or protocol.
pub const PURE: &[&str] = &["kernel", "domain", "engine"];

/// What no pure crate may reach, not even through others.
const NOT_IN_PURE: &[&str] = &[
    "async-graphql",
    "async-std",
    "axum",
    "chrono-tz",
    "hyper",
    "reqwest",
    "sea-orm",
    "sea-query",
    "sqlx",
    "sqlx-core",
    "tokio",
    "tower-http",
];

/// Libraries that are one layer's business, with the crates that may name them.
const KEPT_TO: &[(&str, &[&str])] = &[
    ("async-graphql", &["graphql", "server"]),
    ("axum", &["server", "web"]),
    ("calamine", &["exchange"]),
    ("chrono-tz", &["app", "server"]),
    ("clap", &["server"]),
    ("sea-orm", &["store", "migrations", "testkit"]),
    ("sea-orm-migration", &["store", "migrations", "testkit"]),
    ("sqlx", &["store"]),
    ("tower-http", &["server"]),
];

/// Checks every crate of the workspace; the error lists every wrong arrow.
pub fn check(workspace: &Workspace) -> Result<String, String> {
    let problems: Vec<String> = workspace.members.iter().flat_map(problems_of).collect();
    if problems.is_empty() {
        Ok(format!("{} crates, every arrow points the right way", workspace.members.len()))
    } else {
        Err(format!("{} wrong\n      {}", problems.len(), problems.join("\n      ")))
    }
}

fn problems_of(member: &Member) -> Vec<String> {
    let name = member.name.as_str();
    let mut problems = Vec::new();
    match ARROWS.iter().find(|(crate_name, _)| *crate_name == name) {
        None => problems.push(format!(
            "{name}: a crate this check has never heard of; give it a line in ARROWS in crates/xtask/src/layers.rs"
        )),
        Some((_, allowed)) => {
            for used in &member.ours {
                if !allowed.contains(&used.as_str()) {
                    let may = if allowed.is_empty() { "none of ours".to_owned() } else { allowed.join(", ") };
                    problems.push(format!("{name} -> {used}: {name} may use {may}"));
                }
            }
        }
    }
    for (library, layers) in KEPT_TO {
        if member.foreign.contains(*library) && !layers.contains(&name) {
            problems.push(format!("{name} -> {library}: {library} is the business of {}", layers.join(", ")));
        }
    }
    if PURE.contains(&name) {
        for library in NOT_IN_PURE {
            if let Some(way) = member.reaches.get(*library) {
                problems.push(format!(
                    "{name} -> {library}: {name} is to know no clock, task, database or protocol, but reaches it through {}",
                    way.join(" -> ")
                ));
            }
        }
    }
    if !inherits_lints(&member.manifest) {
        problems.push(format!("{name}: its Cargo.toml has no `[lints] workspace = true`"));
    }
    problems
}

/// Whether a manifest has `workspace = true` under `[lints]`.
fn inherits_lints(manifest: &str) -> bool {
    let mut inside = false;
    for line in manifest.lines().map(str::trim) {
        if line.starts_with('[') {
            inside = line == "[lints]";
        } else if inside && line.replace(' ', "") == "workspace=true" {
            return true;
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::{BTreeMap, BTreeSet};
    use std::path::PathBuf;

    fn member(name: &str, ours: &[&str], foreign: &[&str]) -> Member {
        let words = |list: &[&str]| list.iter().map(|word| (*word).to_owned()).collect::<BTreeSet<_>>();
        Member {
            name: name.to_owned(),
            folder: PathBuf::new(),
            manifest: "[package]\nname = \"x\"\n\n[lints]\nworkspace = true\n".to_owned(),
            ours: words(ours),
            foreign: words(foreign),
            reaches: BTreeMap::new(),
        }
    }

    #[test]
    fn the_drawn_arrows_are_allowed() {
        for (name, allowed) in ARROWS {
            assert_eq!(problems_of(&member(name, allowed, &[])), Vec::<String>::new());
        }
    }

    #[test]
    fn the_table_itself_has_no_loop_and_names_only_its_own_crates() {
        for (position, (name, allowed)) in ARROWS.iter().enumerate() {
            for used in *allowed {
                let at = ARROWS.iter().position(|(other, _)| other == used);
                assert!(at.is_some_and(|at| at < position), "{name} -> {used} must point to an earlier line");
            }
        }
    }

    #[test]
    fn an_arrow_backwards_is_named() {
        assert_eq!(
            problems_of(&member("kernel", &["domain"], &[])),
            ["kernel -> domain: kernel may use none of ours"]
        );
        assert_eq!(
            problems_of(&member("graphql", &["app", "store"], &[])),
            ["graphql -> store: graphql may use kernel, domain, engine, app"]
        );
        assert_eq!(problems_of(&member("exchange", &["store"], &[])).len(), 1);
        assert_eq!(problems_of(&member("app", &["testkit"], &[])).len(), 1);
    }

    #[test]
    fn a_new_crate_must_be_given_its_place() {
        let problems = problems_of(&member("attic", &["kernel"], &[]));
        assert_eq!(problems.len(), 1);
        assert!(problems[0].contains("ARROWS"), "{problems:?}");
    }

    #[test]
    fn a_library_stays_in_its_layer() {
        assert_eq!(
            problems_of(&member("app", &[], &["sea-orm", "serde"])),
            ["app -> sea-orm: sea-orm is the business of store, migrations, testkit"]
        );
        assert_eq!(problems_of(&member("store", &[], &["sea-orm"])), Vec::<String>::new());
    }

    #[test]
    fn a_pure_crate_may_not_reach_a_runtime_through_another() {
        let mut engine = member("engine", &["kernel"], &["handy"]);
        engine.reaches.insert("tokio".to_owned(), vec!["engine".to_owned(), "handy".to_owned()]);
        let problems = problems_of(&engine);
        assert_eq!(problems.len(), 1);
        assert!(problems[0].ends_with("through engine -> handy"), "{problems:?}");
        let mut app = member("app", &[], &[]);
        app.reaches = engine.reaches;
        assert_eq!(problems_of(&app), Vec::<String>::new());
    }

    #[test]
    fn every_crate_takes_the_workspace_lints() {
        assert!(inherits_lints("[lints]\nworkspace=true"));
        assert!(!inherits_lints("[lints.rust]\nunsafe_code = \"forbid\""));
        assert!(!inherits_lints("[package]\nworkspace = true\n[lints]\n"));
    }

    #[test]
    fn this_workspace_passes() {
        let workspace = Workspace::load().unwrap();
        assert_eq!(check(&workspace).err(), None);
    }
}
