//! Whether questions about today slow down as the ledger of the past grows: `cargo bench -p black-box --bench growth`.
//!
//! The shelf stays as it is: 480 lots of twelve materials, twenty tickets to come. Behind it the ledger grows from a thousand entries
//! to a million, by lots that came in and were used up, twenty entries each, on tickets that are complete. After each step the shelf
//! and a run check are asked for over HTTP.
#![allow(
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a measurement stops at the first surprise; its figures are times, not amounts"
)]

#[allow(dead_code, reason = "shared with the other measurement")]
#[path = "../postings/stock.rs"]
mod stock;

use black_box::{Server, run};
use serde_json::{Value, json};
use std::{env, process::Command, time::Instant};
use stock::{FREE_IDS, Stock, series};
use testkit::db::TestDatabase;
use tokio::runtime::Runtime;

/// Entries of the ledger at which is measured.
const ENTRIES: [usize; 4] = [1_000, 10_000, 100_000, 1_000_000];
/// Entries of each lot of the past.
const EACH: usize = 20;
/// Times each question is asked.
const TIMES: usize = 41;

const SHELF: &str =
    "{ shelf { on materials { material { code } onHand { amount } lots { lot { number } } } } }";
const CHECK: &str =
    "query($input: RunCheckInput!) { runCheck(input: $input) { verdict batchKg most { batchKg }
    materials { material { code } verdict } } }";

fn main() {
    let words: Vec<String> = env::args().skip(1).collect();
    let only = |word: &str| words.iter().any(|known| known == word);
    if env::var_os("STILLROOM_BIN").is_none() {
        let cargo = env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let build = ["build", "--quiet", "--release", "--package", "server", "--bin", "stillroom"];
        let status = Command::new(cargo).args(build).current_dir(env!("CARGO_MANIFEST_DIR")).status();
        assert!(status.expect("cargo can be run").success(), "the binary could not be built");
    }
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    println!(
        "\n| database | entries | shelf, median ms | run check, median ms |\n| --- | ---: | ---: | ---: |"
    );
    if !only("postgres") {
        measure("SQLite", &runtime, &runtime.block_on(TestDatabase::sqlite()));
    }
    if !only("sqlite")
        && let Some(database) = runtime.block_on(TestDatabase::postgres())
    {
        measure("PostgreSQL", &runtime, &database);
    }
}

fn measure(name: &str, runtime: &Runtime, database: &TestDatabase) {
    let stock = Stock::lay_in(database, 20);
    let server = stock.serve(database, &[]);
    let today = runtime.block_on(server.graphql("{ shelf { on } }", json!({}))).data()["shelf"]["on"].clone();
    let input = json!({ "input": { "of": { "formula": { "code": "BN-1" } },
        "amount": { "batch": { "amount": "100", "unit": "KG" } }, "on": today } });
    let mut past = 0;
    for entries in ENTRIES {
        past = grow(&stock, past, entries / EACH);
        let shelf = median(runtime, &server, SHELF, &json!({}));
        let check = median(runtime, &server, CHECK, &input);
        println!("| {name} | {entries} | {shelf:.2} | {check:.2} |");
    }
    drop(server);
    run(database.url(), ["ledger", "verify"]).code(0);
}

/// Adds lots of the past until there are so many.
fn grow(stock: &Stock, from: usize, to: usize) -> usize {
    let (count, tickets) = (to - from, (to - from).div_ceil(5));
    let (first, moved, worth) = (FREE_IDS + from, 1_000_000_000_i64, 1_500_000_i64);
    let out = i64::try_from(EACH - 1).expect("small");
    let ticket = stock.columns(
        "tickets",
        &[
            ("id", &stock.id(&format!("{first} + s.n"))),
            ("number", &format!("'OLD' || ({first} + s.n)")),
            ("number_key", &format!("'OLD' || ({first} + s.n)")),
            ("status", "'released'"),
        ],
    );
    stock.run(&format!(
        "INSERT INTO tickets ({}) {}SELECT {} FROM tickets t, s WHERE t.number = 'TPL'",
        ticket.0,
        series(tickets),
        ticket.1
    ));
    let lot = stock.columns(
        "lots",
        &[
            ("id", &stock.id(&format!("{first} + s.n"))),
            ("number", &format!("'OLD' || ({first} + s.n)")),
            ("number_key", &format!("'OLD' || ({first} + s.n)")),
            ("received", &(out * moved).to_string()),
            ("received_value", &(out * worth).to_string()),
            ("on_hand", "0"),
            ("value", "0"),
        ],
    );
    stock.run(&format!(
        "INSERT INTO lots ({}) {}SELECT {} FROM s JOIN lots t ON t.number = 'L-' || (s.n % 12 + 1)",
        lot.0,
        series(count),
        lot.1
    ));
    let fresh = stock.id(&format!("{FREE_IDS} * 2 + ({from} + l.n) * {EACH} + e.n"));
    for (kind, entries, quantity, value, of_ticket) in [
        ("receipt", 1, out * moved, out * worth, "NULL".to_owned()),
        ("weighing", EACH - 1, -moved, -worth, stock.id(&format!("{first} + (l.n - 1) / 5 + 1"))),
    ] {
        let number = if kind == "receipt" { "0".to_owned() } else { "e.n".to_owned() };
        let fresh = fresh.replace("e.n", &number);
        stock.run(&format!(
            "INSERT INTO movements (id, lot, kind, dimension, quantity, currency, value, day, entered_at, entered_by, ticket) \
             WITH RECURSIVE l(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM l WHERE n < {count}), \
             e(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM e WHERE n < {entries}) \
             SELECT {fresh}, {lot}, '{kind}', 'mass', {quantity}, 'GBP', {value}, '2026-02-01', 0, 'bench', \
             {of_ticket} FROM l, e",
            lot = stock.id(&format!("{first} + l.n")),
        ));
    }
    stock.run("ANALYZE");
    to
}

fn median(runtime: &Runtime, server: &Server, query: &str, variables: &Value) -> f64 {
    let mut times: Vec<f64> = (0..TIMES)
        .map(|_| {
            let begun = Instant::now();
            runtime.block_on(server.graphql(query, variables.clone())).data();
            begun.elapsed().as_secs_f64() * 1_000.0
        })
        .collect();
    times.sort_by(f64::total_cmp);
    times[TIMES / 2]
}
