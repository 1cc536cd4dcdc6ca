//! What the README shows works as it stands there.

use black_box::{Server, run};
use serde_json::Value;
use std::{fs, path::Path, process::Command};
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(its_requests_are_answered, its_commands_are_understood);

fn readme() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    fs::read_to_string(path).unwrap()
}

/// The lines of the README's shell examples, those continued inside quotes put together.
fn shell_commands() -> Vec<String> {
    let readme = readme();
    let mut commands = Vec::new();
    for block in readme.split("```sh\n").skip(1).filter_map(|rest| rest.split("```").next()) {
        let mut command = String::new();
        for line in block.lines() {
            // A remark may hold an apostrophe; inside quotes there are none.
            let remark = if command.is_empty() { line.find("  #") } else { None };
            command.push_str(remark.and_then(|at| line.get(..at)).unwrap_or(line));
            command.push('\n');
            if command.matches('\'').count().is_multiple_of(2) {
                commands.push(command.trim().to_owned());
                command.clear();
            }
        }
    }
    commands.retain(|command| !command.is_empty());
    commands
}

/// What stands between the first and the last single quote, the shell's date put in.
fn quoted(command: &str, today: &str) -> String {
    let (_, rest) = command.split_once('\'').unwrap();
    let (inside, _) = rest.rsplit_once('\'').unwrap();
    inside.replace("'\"$(date +%F)\"'", today)
}

async fn its_requests_are_answered(database: &TestDatabase) {
    let server = Server::start(database.url(), &["demo"]);
    let house = server.graphql("{ house { today } }", Value::Null).await.data();
    let today = house["house"]["today"].as_str().unwrap().to_owned();
    let mut answered = 0;
    for command in shell_commands() {
        if command.starts_with("curl -sG") {
            let inside = quoted(&command, &today);
            let query = inside.strip_prefix("query=").unwrap();
            server.graphql(query, Value::Null).await.data();
        } else if command.starts_with("change '") {
            let request: Value = serde_json::from_str(&quoted(&command, &today)).unwrap();
            let query = request["query"].as_str().unwrap();
            let data = server.graphql(query, request["variables"].clone()).await.data();
            let refused = data.as_object().unwrap().values().any(|answer| answer.get("refusals").is_some());
            assert!(!refused, "{command}\n{data}");
            // Sent again, it answers the same.
            assert_eq!(server.graphql(query, request["variables"].clone()).await.data(), data);
        } else {
            continue;
        }
        answered += 1;
    }
    assert!(answered >= 8, "{answered} requests were found in the README");
    let lot =
        server.graphql("{ lot(number: \"L-2611-900\") { onHand { amount } } }", Value::Null).await.data();
    assert_eq!(lot["lot"]["onHand"]["amount"], Value::from("40.48"));
}

/// Every `stillroom` command of the README is one the binary knows, with options it knows.
async fn its_commands_are_understood(database: &TestDatabase) {
    run(database.url(), ["demo", "--check"]).code(0);
    let date = Command::new("date").args(["-u", "+%F"]).output().unwrap();
    let today = String::from_utf8(date.stdout).unwrap().trim().to_owned();
    let mut understood = 0;
    for command in shell_commands() {
        let command = command.replace("$(date +%F)", &today);
        let Some(words) = command.strip_prefix("stillroom ") else { continue };
        // Those that stay, and those that need files or servers of the reader's own.
        if words.starts_with("serve") || words.contains("mine.db") || words.contains("my-sheets") {
            continue;
        }
        let mut split = Vec::new();
        for (at, part) in words.split(['\'', '"']).enumerate() {
            if at % 2 == 1 {
                split.push(part.to_owned());
            } else {
                split.extend(part.split_whitespace().map(ToOwned::to_owned));
            }
        }
        let ended = run(database.url(), split.iter().map(String::as_str));
        assert!(ended.code <= 1, "{command}\n{ended:#?}");
        understood += 1;
    }
    assert!(understood >= 8, "{understood} commands were found in the README");
}
