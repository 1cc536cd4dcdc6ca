//! Commands: their answers, and the exit codes a script goes by.

use black_box::{run, run_in};
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(questions_answer_by_exit_code);

const TODAY: [(&str, &str); 1] = [("STILLROOM_TODAY", "2026-11-25")];

async fn questions_answer_by_exit_code(database: &TestDatabase) {
    let url = database.url();
    run_in(url, &TODAY, ["demo", "--check"]).code(0);
    let ask = |line: &str| run_in(url, &TODAY, line.split('|'));

    // The polish comes up short of carnauba wax; the descaler is all there.
    let short = ask("--json|check|--pack|FP-250|--units|456|--on|2026-12-14").code(1).json();
    assert_eq!(short["verdict"], "short");
    let wax = short["materials"].as_array().unwrap().iter().find(|m| m["code"] == "CARNAU").unwrap().clone();
    assert_eq!(wax["against"][0]["lot"], "L-2610-012");
    assert_eq!(wax["buy"]["order"]["too_late"], true);
    let made = ask("--json|check|--formula|PM-CIT|--batch|25 kg|--on|2026-11-26").code(0).json();
    assert_eq!(made["verdict"], "can-be-made");
    assert!(ask("check|--formula|PM-CIT|--batch|25 kg|--on|2026-11-26").code(0).out.contains("can be made"));

    // A price rise reaches the bottle through its surfactants; nothing is written.
    let before = ask("--json|cost|--pack|HW-500").code(0).out;
    let what_if =
        ask("--json|what-if|--price|supplier ELB +8%|--lot-rejected|L-2608-019 on 2026-11-26").code(0).json();
    let hit =
        what_if["packs"].as_array().unwrap().iter().find(|hit| hit["code"] == "HW-500").unwrap().clone();
    assert!(hit["after"]["per_unit"].as_str() > hit["before"]["per_unit"].as_str(), "{hit}");
    assert!(what_if["lots"].as_array().unwrap().iter().any(|lot| lot["lot"] == "L-2608-019"));
    assert_eq!(ask("--json|cost|--pack|HW-500").code(0).out, before);
    assert!(ask("what-if|--price|material CAPB30 +0.5%").code(0).out.contains("HW-500"));

    let outlook = ask("--json|outlook").code(0).json();
    assert!(outlook["stranded"].as_array().unwrap().iter().any(|lot| lot["lot"] == "L-2606-004"));
    let shelf = ask("--json|shelf|--material|carnau").code(0).json();
    assert_eq!(shelf["materials"][0]["code"], "CARNAU");
    ask("ledger|verify").code(0);
    ask("migrate|--status").code(0);

    // A gap is named, and the total says that it is partial.
    let partial = ask("cost|--pack|DS-750").code(0).out;
    assert!(partial.contains("has no quotation") && partial.contains("(partial)"), "{partial}");
}

#[tokio::test]
async fn wrong_use_is_2_and_says_what_there_is() {
    let database = TestDatabase::sqlite().await;
    let url = database.url();
    run_in(url, &TODAY, ["demo", "--check"]).code(0);
    let check = |line: &str, part: &str| {
        let told = run_in(url, &TODAY, line.split('|')).code(2);
        assert!(told.err.contains(part), "{line}: {}", told.err);
    };
    check("cost|--pack|HW-501", "there are DS-750, FC-1L");
    check("cost|--formula|HW-01@9", "HW-01 has no version 9; it has 1, 2, 3");
    check("check|--pack|HW-500|--units|10|--on|2026-11-24", "is past");
    check("check|--formula|HW-01|--units|10|--on|2026-12-01", "units are counted of a pack");
    check("what-if|--price|material XYZ +1%|--price|quotation NONE 4", "there is no quotation “NONE”");
    check("what-if|--lot-expires|L-0 on 2026-12-01", "there is no lot “L-0”");
    check("what-if", "say what is to change");
    check("what-if|--scenario|no-such-file.json", "no-such-file.json");
    check("shelf|--material|XYZ", "there is no material “XYZ”");
    check("--time-zone|Europe/Atlantis|shelf", "IANA");
    check("--currency|EUR|shelf", "GBP");
    check("brew", "brew");
    check("token|revoke|7", "is not the id of a token");

    let told = run(url, ["--json", "cost", "--pack", "HW-501"]).code(2).error();
    assert_eq!(told["error"]["code"], "WRONG_USE");
    let told = run(url, ["--json", "cost"]).code(2).error();
    assert_eq!(told["error"]["code"], "WRONG_USE");
}

#[tokio::test]
async fn a_question_makes_no_database() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("none.db");
    let url = format!("sqlite://{}", file.display());
    for words in [
        &["shelf"][..],
        &["cost", "--pack", "A"],
        &["ledger", "verify"],
        &["migrate", "--status"],
        &["outlook"],
    ] {
        let told = run(&url, words.iter().copied()).code(2);
        assert!(told.err.contains("there is no database"), "{}", told.err);
    }
    assert!(!file.exists());
}

#[tokio::test]
async fn a_database_that_cannot_be_reached_is_a_fault() {
    // Port 9 is discard (RFC 863): nobody listens there.
    let told = run("postgres://root@127.0.0.1:9/none", ["--json", "shelf"]).code(3).error();
    assert!(told["error"]["message"].as_str().unwrap().contains("cannot be reached"), "{told}");
}

#[tokio::test]
async fn a_scenario_file_says_the_same_as_the_options() {
    let database = TestDatabase::sqlite().await;
    let url = database.url();
    run_in(url, &TODAY, ["demo", "--check"]).code(0);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("spring.json");
    std::fs::write(&file, r#"{"price": ["supplier ELB +8%"], "lot-expires": ["L-2606-004 on 2026-11-26"]}"#)
        .unwrap();
    let by_file =
        run_in(url, &TODAY, ["--json", "what-if", "--scenario", file.to_str().unwrap()]).code(0).out;
    let by_words = run_in(
        url,
        &TODAY,
        ["--json", "what-if", "--price", "supplier ELB +8%", "--lot-expires", "L-2606-004 on 2026-11-26"],
    );
    assert_eq!(by_file, by_words.code(0).out);
}

/// Every command explains itself, and says which settings there are.
#[tokio::test]
async fn every_command_explains_itself() {
    for command in [
        "",
        "serve",
        "demo",
        "import",
        "cost",
        "compare",
        "vary dose",
        "vary drivers",
        "vary batch",
        "vary volume",
        "price design",
        "price ladder",
        "swap",
        "offers",
        "fill",
        "put-right",
        "check",
        "what-if",
        "outlook",
        "shelf",
        "ledger",
        "ledger verify",
        "migrate",
        "schema",
        "token",
        "token create",
        "token list",
        "token revoke",
    ] {
        let words = command.split_whitespace().chain(["--help"]);
        let help = run("sqlite://unused.db", words).code(0).out;
        assert!(
            help.contains("Usage: stillroom") && help.contains("STILLROOM_DATABASE"),
            "{command}: {help}"
        );
    }
}
