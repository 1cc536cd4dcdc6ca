//! The same rows by hand on SQLite: prepared statements, one commit a ticket, durable. All clients share one connection, which is
//! the fastest way with one writer. Runs as a process of its own, so that slow syncs can be loaded into it.

use rusqlite::{Connection, params};
use std::{
    env,
    path::{Path, PathBuf},
    process::Command,
    sync::Mutex,
    thread,
    time::{Duration, Instant},
};

use crate::stock::{LINES, LOTS_EACH, TICKETS, draw, kilograms};

/// Tickets a second with so many clients.
pub fn rate(path: &Path, clients: usize, turn: Duration, shim: Option<&PathBuf>) -> f64 {
    let mut command = Command::new(env::current_exe().expect("this programme"));
    command.arg("hand-sqlite").arg(path).args([clients.to_string(), turn.as_millis().to_string()]);
    if let Some(shim) = shim {
        command.env("LD_PRELOAD", shim);
    }
    let output = command.output().expect("it can be run");
    assert!(output.status.success(), "{output:?}");
    String::from_utf8_lossy(&output.stdout).trim().parse().expect("a rate")
}

/// The process: prints its rate.
pub fn child(path: &str, clients: usize, millis: u64) {
    let connection = Connection::open(path).expect("the file");
    connection.busy_timeout(Duration::from_secs(15)).expect("a setting");
    connection
        .execute_batch("PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;")
        .expect("settings");
    connection.set_prepared_statement_cache_capacity(32);
    // Of the size of what Stillroom keeps: the answer it gave, and what it told the audit trail.
    let sample = |column: &str, table: &str, condition: &str| -> String {
        connection
            .query_row(&format!("SELECT {column} FROM {table} WHERE {condition} LIMIT 1"), [], |row| {
                row.get(0)
            })
            .expect("a posting by Stillroom came before")
    };
    let answer = sample("answer", "requests", "key LIKE 'bench-%'");
    let became = sample("became", "audit", "operation = 'ticket-weigh'");
    let connection = Mutex::new(connection);
    let begun = Instant::now();
    let end = begun + Duration::from_millis(millis);
    let posted: usize = thread::scope(|scope| {
        let clients: Vec<_> = (0..clients)
            .map(|client| {
                let (connection, answer, became) = (&connection, answer.as_str(), became.as_str());
                scope.spawn(move || {
                    let mut random = (begun.elapsed().as_nanos() as u64 | 1)
                        .wrapping_mul(client as u64 * 2 + 1)
                        ^ u64::from(std::process::id()) << 20;
                    let mut posted = 0;
                    while Instant::now() < end {
                        post(&connection.lock().expect("one at a time"), &mut random, answer, became)
                            .expect("it is posted");
                        posted += 1;
                    }
                    posted
                })
            })
            .collect();
        clients.into_iter().map(|client| client.join().expect("a client")).sum()
    });
    println!("{}", posted as f64 / begun.elapsed().as_secs_f64());
}

fn id(number: usize) -> [u8; 16] {
    let text = format!("00000000000070008000{number:012}");
    let mut id = [0; 16];
    for (at, byte) in id.iter_mut().enumerate() {
        *byte = u8::from_str_radix(&text[at * 2..at * 2 + 2], 16).expect("hex");
    }
    id
}

fn fresh(random: &mut u64) -> [u8; 16] {
    let mut id = [0; 16];
    id[..8].copy_from_slice(&(draw(random, usize::MAX) as u64).to_be_bytes());
    id[8..].copy_from_slice(&(draw(random, usize::MAX) as u64).to_be_bytes());
    id
}

fn post(connection: &Connection, random: &mut u64, answer: &str, became: &str) -> rusqlite::Result<()> {
    let run =
        |sql: &str, parameters: &[&dyn rusqlite::ToSql]| connection.prepare_cached(sql)?.execute(parameters);
    run("BEGIN IMMEDIATE", params![])?;
    let key = format!("hand-{:016x}{:016x}", draw(random, usize::MAX), draw(random, usize::MAX));
    run(
        "INSERT INTO requests (key, operation, input_hash, answer, answered_at) VALUES (?1, 'ticket-weigh', ?2, ?3, 0)",
        params![key, "0".repeat(64), answer],
    )?;
    let number = draw(random, TICKETS) + 1;
    let ticket = id(number);
    connection
        .prepare_cached("SELECT status FROM tickets WHERE id = ?1")?
        .query_row([ticket], |row| row.get::<_, String>(0))?;
    for line in 0..LINES {
        let lot = id(line * LOTS_EACH + 1 + draw(random, LOTS_EACH));
        let movement = fresh(random);
        let micrograms = i64::try_from(kilograms(line)).expect("small") * 1_000_000_000;
        let value = micrograms / 1_000_000_000 * 1_500_000;
        let changed = run(
            "UPDATE lots SET on_hand = on_hand - ?2, value = value - ?3 WHERE id = ?1 AND on_hand >= ?2",
            params![lot, micrograms, value],
        )?;
        assert_eq!(changed, 1, "there is enough");
        run(
            "INSERT INTO movements (id, lot, kind, dimension, quantity, currency, value, day, entered_at, entered_by, ticket) \
             VALUES (?1, ?2, 'weighing', 'mass', ?3, 'GBP', ?4, '2026-11-25', 0, 'hand', ?5)",
            params![movement, lot, -micrograms, -value, ticket],
        )?;
        run(
            "INSERT INTO weighings (id, ticket, line, lot, amount, weighed_by, weighed_at, movement) \
             VALUES (?1, ?2, ?3, ?4, ?5, 'hand', 0, ?6)",
            params![fresh(random), ticket, id(number * 100 + line + 1), lot, micrograms, movement],
        )?;
    }
    run(
        "INSERT OR IGNORE INTO ticket_steps (ticket, position, status_from, status_to, entered_by, entered_at) \
         VALUES (?1, 1, 'planned', 'weighing', 'hand', 0)",
        params![ticket],
    )?;
    run("UPDATE tickets SET status = 'weighing' WHERE id = ?1", params![ticket])?;
    run(
        "INSERT INTO audit (id, entered_at, actor, operation, subject_kind, subject, became, request_key) \
         VALUES (?1, 0, 'hand', 'ticket-weigh', 'ticket', ?2, ?3, ?4)",
        params![fresh(random), "00000000-0000-7000-8000-000000000000", became, key],
    )?;
    run("COMMIT", params![])?;
    Ok(())
}
