//! How fast tickets of twelve weighings are posted through GraphQL over HTTP, beside hand-written transactions that write the same
//! rows to the same database in the same run: `cargo bench -p black-box --bench postings`.
//!
//! Everything is durable: PostgreSQL with `fsync` and `synchronous_commit`, SQLite with a write-ahead log and `synchronous=FULL`.
//!
//! | way | what it is |
//! | --- | --- |
//! | stillroom | the binary as released, asked by as many clients as named, each waiting for its answer |
//! | line by line | the statements one after another under `pgbench`, prepared; on SQLite prepared statements, one commit a ticket |
//! | one statement | a PL/pgSQL function that does all of it on whole sets, called under `pgbench` |
//!
//! The ways take turns, so that what else the machine does meets them alike; ratios are of medians over the rounds. On SQLite all of
//! it is done again with 4 ms added to each sync, as a common disk takes: a small library, compiled here with `cc` and loaded before
//! the C library (`LD_PRELOAD`), waits that long in `fsync` and `fdatasync` of both sides.
//!
//! Words after `--`: `sqlite` or `postgres` for one database only, `brief` for shorter turns.
#![allow(
    clippy::cast_possible_truncation,
    clippy::cast_precision_loss,
    clippy::expect_used,
    clippy::float_arithmetic,
    clippy::indexing_slicing,
    clippy::panic,
    clippy::unwrap_used,
    reason = "a measurement stops at the first surprise; its figures are rates, not amounts"
)]

mod clients;
mod hand_postgres;
mod hand_sqlite;
#[allow(dead_code, reason = "shared with the other measurement")]
mod stock;

use black_box::{Server, run};
use std::{
    collections::BTreeMap,
    env,
    path::PathBuf,
    process::Command,
    time::{Duration, Instant},
};
use stock::Stock;
use testkit::db::TestDatabase;

/// Clients that post at once.
const CLIENTS: [usize; 3] = [1, 8, 32];

/// Posted tickets a second by way and clients, one figure for each turn.
#[derive(Default)]
struct Rates(BTreeMap<(usize, &'static str), Vec<f64>>);

impl Rates {
    fn note(&mut self, clients: usize, way: &'static str, rate: f64) {
        println!("    {way:>13}, {clients:>2} clients: {rate:>7.0} tickets/s");
        self.0.entry((clients, way)).or_default().push(rate);
    }

    fn median(&self, clients: usize, way: &'static str) -> f64 {
        let mut rates = self.0.get(&(clients, way)).cloned().unwrap_or_default();
        rates.sort_by(f64::total_cmp);
        match rates.len() {
            0 => f64::NAN,
            n if n % 2 == 1 => rates[n / 2],
            n => f64::midpoint(rates[n / 2 - 1], rates[n / 2]),
        }
    }

    fn print(&self, title: &str, against: &[&'static str]) {
        println!("\n{title} (tickets of 12 weighings per second, median)\n");
        print!("| clients | {STILLROOM} |");
        for way in against {
            print!(" {way} | ratio |");
        }
        println!("\n| ---: | ---: |{}", " ---: | ---: |".repeat(against.len()));
        for clients in CLIENTS {
            let ours = self.median(clients, STILLROOM);
            print!("| {clients} | {ours:.0} |");
            for way in against {
                let theirs = self.median(clients, way);
                print!(" {theirs:.0} | {:.2} |", ours / theirs);
            }
            println!();
        }
        println!();
    }
}

const STILLROOM: &str = "stillroom";
const LINE_BY_LINE: &str = "line by line";
const ONE_STATEMENT: &str = "one statement";

fn main() {
    let words: Vec<String> = env::args().skip(1).filter(|word| word != "--bench").collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    if let ["hand-sqlite", path, clients, millis] = words.as_slice() {
        hand_sqlite::child(path, clients.parse().expect("a number"), millis.parse().expect("a number"));
        return;
    }
    let begun = Instant::now();
    let turn = Duration::from_millis(if words.contains(&"brief") { 1_500 } else { 4_000 });
    let rounds = if words.contains(&"brief") { 1 } else { 3 };
    build();
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().expect("a runtime");
    if !words.contains(&"postgres") {
        let database = runtime.block_on(TestDatabase::sqlite());
        sqlite(&database, turn, rounds, None).print("SQLite", &[LINE_BY_LINE]);
        let folder = tempfile::tempdir().expect("a folder");
        let shim = slow_sync(folder.path());
        let database = runtime.block_on(TestDatabase::sqlite());
        sqlite(&database, turn, rounds, Some(&shim)).print("SQLite, each sync 4 ms longer", &[LINE_BY_LINE]);
    }
    if !words.contains(&"sqlite")
        && let Some(database) = runtime.block_on(TestDatabase::postgres())
    {
        postgres(&database, turn, rounds).print("PostgreSQL", &[LINE_BY_LINE, ONE_STATEMENT]);
    }
    println!("took {} s", begun.elapsed().as_secs());
}

/// Builds the binary as it is released, unless one is named.
fn build() {
    if env::var_os("STILLROOM_BIN").is_some() {
        return;
    }
    let cargo = env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let status = Command::new(cargo)
        .args(["build", "--quiet", "--release", "--package", "server", "--bin", "stillroom"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .status()
        .expect("cargo can be run");
    assert!(status.success(), "the binary could not be built");
}

fn sqlite(database: &TestDatabase, turn: Duration, rounds: usize, shim: Option<&PathBuf>) -> Rates {
    println!("\nSQLite{}", if shim.is_some() { ", each sync 4 ms longer" } else { "" });
    let path = database.path().expect("a file");
    let stock = Stock::lay_in(database, stock::TICKETS);
    let settings: Vec<(&str, &str)> =
        shim.iter().map(|shim| ("LD_PRELOAD", shim.to_str().expect("a plain path"))).collect();
    let server = stock.serve(database, &settings);
    let mut rates = Rates::default();
    let mut posted = clients::post(&server, &stock, 4, Duration::from_millis(500));
    for _ in 0..rounds {
        for count in CLIENTS {
            let ours = clients::post(&server, &stock, count, turn);
            rates.note(count, STILLROOM, ours.rate());
            posted.add(&ours);
            rates.note(count, LINE_BY_LINE, hand_sqlite::rate(&path, count, turn, shim));
        }
    }
    finished(server, database, &stock, &posted);
    rates
}

fn postgres(database: &TestDatabase, turn: Duration, rounds: usize) -> Rates {
    println!("\nPostgreSQL");
    let stock = Stock::lay_in(database, stock::TICKETS);
    let server = stock.serve(database, &[]);
    let mut rates = Rates::default();
    let mut posted = clients::post(&server, &stock, 4, Duration::from_millis(500));
    let hand = hand_postgres::Hand::prepare(database, &stock);
    for _ in 0..rounds {
        for count in CLIENTS {
            let ours = clients::post(&server, &stock, count, turn);
            rates.note(count, STILLROOM, ours.rate());
            posted.add(&ours);
            rates.note(count, LINE_BY_LINE, hand.line_by_line(count, turn));
            rates.note(count, ONE_STATEMENT, hand.one_statement(count, turn));
        }
    }
    finished(server, database, &stock, &posted);
    rates
}

/// Nothing acknowledged is missing, and the balances agree with the ledger.
fn finished(mut server: Server, database: &TestDatabase, stock: &Stock, posted: &clients::Posted) {
    server.stop();
    run(database.url(), ["ledger", "verify"]).code(0);
    let kept = stock.ask("SELECT COUNT(*) FROM requests WHERE key LIKE 'bench-%'");
    assert_eq!(kept, posted.tickets.to_string(), "what was acknowledged is there, and nothing else");
    println!(
        "    {} posted; median latency at the last count of clients {:.1} ms, 99th of a hundred {:.1} ms",
        posted.tickets, posted.median_ms, posted.slowest_ms
    );
}

/// A library that waits 4 ms in each sync, for `LD_PRELOAD`.
fn slow_sync(folder: &std::path::Path) -> PathBuf {
    let (source, library) = (folder.join("slow_sync.c"), folder.join("slow_sync.so"));
    std::fs::write(&source, include_str!("slow_sync.c")).expect("a file");
    let status = Command::new("cc")
        .args(["-shared", "-fPIC", "-O1", "-o"])
        .args([&library, &source])
        .status()
        .expect("cc can be run");
    assert!(status.success(), "the library could not be compiled");
    library
}
