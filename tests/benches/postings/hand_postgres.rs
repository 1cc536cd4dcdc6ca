//! The same rows by hand on PostgreSQL, under `pgbench`: line by line with prepared statements, and as one PL/pgSQL function that
//! works on whole sets, with the lots locked in order and one conditional update.

use std::{fmt::Write as _, path::PathBuf, process::Command, time::Duration};
use tempfile::TempDir;
use testkit::db::TestDatabase;

use crate::stock::{LINES, LOTS_EACH, Stock, TICKETS, kilograms};

/// Scripts made ready.
pub struct Hand {
    url: String,
    folder: TempDir,
}

impl Hand {
    /// Writes the scripts and the function.
    pub fn prepare(database: &TestDatabase, stock: &Stock) -> Self {
        // Of the size of what Stillroom keeps. A colon would be a variable to pgbench.
        let sample = |sql: &str| stock.ask(sql).replace(':', ";").replace('\'', "''");
        let answer = sample("SELECT answer FROM requests WHERE key LIKE 'bench-%' LIMIT 1");
        let became = sample("SELECT became FROM audit WHERE operation = 'ticket-weigh' LIMIT 1");
        assert!(!answer.is_empty() && !became.is_empty(), "a posting by Stillroom came before");
        let hand = Self { url: database.url().to_owned(), folder: tempfile::tempdir().expect("a folder") };
        std::fs::write(hand.script("line"), line_by_line(&answer, &became)).expect("a script");
        std::fs::write(hand.script("one"), one_call()).expect("a script");
        stock.run(&function(&answer, &became));
        hand
    }

    fn script(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Tickets a second, line by line.
    pub fn line_by_line(&self, clients: usize, turn: Duration) -> f64 {
        self.pgbench("line", clients, turn)
    }

    /// Tickets a second, one statement each.
    pub fn one_statement(&self, clients: usize, turn: Duration) -> f64 {
        self.pgbench("one", clients, turn)
    }

    fn pgbench(&self, script: &str, clients: usize, turn: Duration) -> f64 {
        let output = Command::new("pgbench")
            .args(["-n", "-M", "prepared", "-c", &clients.to_string(), "-j", &clients.min(2).to_string()])
            .args(["-T", &turn.as_secs().max(1).to_string(), "-f"])
            .arg(self.script(script))
            .arg(&self.url)
            .output()
            .expect("pgbench can be run");
        let (told, complaint) =
            (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        assert!(output.status.success(), "{told}{complaint}");
        let rate = told.lines().find_map(|line| line.strip_prefix("tps = "));
        let rate = rate.and_then(|rate| rate.split_whitespace().next()).expect("a rate");
        rate.parse().expect("a rate")
    }
}

fn uuid(number: &str) -> String {
    format!("('00000000-0000-7000-8000-' || lpad(({number})::text, 12, '0'))::uuid")
}

fn micrograms(line: usize) -> i64 {
    i64::try_from(kilograms(line)).expect("small") * 1_000_000_000
}

fn micros(line: usize) -> i64 {
    i64::try_from(kilograms(line)).expect("small") * 1_500_000
}

fn line_by_line(answer: &str, became: &str) -> String {
    let ticket = uuid(":t");
    let mut script = format!("\\set t random(1, {TICKETS})\n\\set k random(1, 1000000000000000)\n");
    for line in 0..LINES {
        let first = line * LOTS_EACH + 1;
        writeln!(script, "\\set l{line} random({first}, {})", first + LOTS_EACH - 1).expect("a string");
        writeln!(script, "\\set m{line} random(1000000000, 999999999999)").expect("a string");
    }
    writeln!(
        script,
        "BEGIN;\n\
         INSERT INTO requests (key, operation, input_hash, answer, answered_at) \
         VALUES ('hand-' || :k, 'ticket-weigh', repeat('0', 64), '{answer}', 0);\n\
         SELECT status FROM tickets WHERE id = {ticket} FOR NO KEY UPDATE;"
    )
    .expect("a string");
    for line in 0..LINES {
        let (lot, movement) = (uuid(&format!(":l{line}")), uuid(&format!(":m{line}")));
        let (moved, worth) = (micrograms(line), micros(line));
        writeln!(
            script,
            "UPDATE lots SET on_hand = on_hand - {moved}, value = value - {worth} WHERE id = {lot} AND on_hand >= {moved};\n\
             INSERT INTO movements (id, lot, kind, dimension, quantity, currency, value, day, entered_at, entered_by, ticket) \
             VALUES ({movement}, {lot}, 'weighing', 'mass', -{moved}, 'GBP', -{worth}, '2026-11-25', 0, 'hand', {ticket});\n\
             INSERT INTO weighings (id, ticket, line, lot, amount, weighed_by, weighed_at, movement) \
             VALUES (gen_random_uuid(), {ticket}, {}, {lot}, {moved}, 'hand', 0, {movement});",
            uuid(&format!(":t * 100 + {}", line + 1))
        )
        .expect("a string");
    }
    writeln!(
        script,
        "INSERT INTO ticket_steps (ticket, position, status_from, status_to, entered_by, entered_at) \
         VALUES ({ticket}, 1, 'planned', 'weighing', 'hand', 0) ON CONFLICT DO NOTHING;\n\
         UPDATE tickets SET status = 'weighing' WHERE id = {ticket};\n\
         INSERT INTO audit (id, entered_at, actor, operation, subject_kind, subject, became, request_key) \
         VALUES (gen_random_uuid(), 0, 'hand', 'ticket-weigh', 'ticket', 'a ticket', '{became}', 'hand-' || :k);\n\
         COMMIT;"
    )
    .expect("a string");
    script
}

fn one_call() -> String {
    let mut script = format!("\\set t random(1, {TICKETS})\n");
    for line in 0..LINES {
        let first = line * LOTS_EACH + 1;
        writeln!(script, "\\set l{line} random({first}, {})", first + LOTS_EACH - 1).expect("a string");
    }
    let lots: Vec<String> = (0..LINES).map(|line| format!(":l{line}")).collect();
    writeln!(script, "SELECT hand_post(:t, ARRAY[{}]);", lots.join(", ")).expect("a string");
    script
}

fn function(answer: &str, became: &str) -> String {
    let list =
        |of: fn(usize) -> i64| (0..LINES).map(|line| of(line).to_string()).collect::<Vec<_>>().join(", ");
    format!(
        "CREATE FUNCTION hand_post(number integer, picks integer[]) RETURNS void LANGUAGE plpgsql AS $body$
DECLARE
    this uuid := {ticket};
    keyed text := 'hand-' || gen_random_uuid();
    lot_ids uuid[];
    moved bigint[] := ARRAY[{moved}];
    worth bigint[] := ARRAY[{worth}];
    movement_ids uuid[];
    changed integer;
BEGIN
    INSERT INTO requests (key, operation, input_hash, answer, answered_at)
        VALUES (keyed, 'ticket-weigh', repeat('0', 64), '{answer}', 0);
    PERFORM 1 FROM tickets WHERE id = this FOR NO KEY UPDATE;
    SELECT array_agg({lot} ORDER BY at), array_agg(gen_random_uuid() ORDER BY at) INTO lot_ids, movement_ids
        FROM unnest(picks) WITH ORDINALITY AS p(pick, at);
    PERFORM 1 FROM lots WHERE id = ANY (lot_ids) ORDER BY id FOR NO KEY UPDATE;
    UPDATE lots SET on_hand = on_hand - c.moved, value = value - c.worth
        FROM unnest(lot_ids, moved, worth) AS c(lot, moved, worth) WHERE lots.id = c.lot AND on_hand >= c.moved;
    GET DIAGNOSTICS changed = ROW_COUNT;
    IF changed <> {LINES} THEN
        RAISE EXCEPTION 'short';
    END IF;
    INSERT INTO movements (id, lot, kind, dimension, quantity, currency, value, day, entered_at, entered_by, ticket)
        SELECT c.id, c.lot, 'weighing', 'mass', -c.moved, 'GBP', -c.worth, '2026-11-25', 0, 'hand', this
        FROM unnest(movement_ids, lot_ids, moved, worth) AS c(id, lot, moved, worth);
    INSERT INTO weighings (id, ticket, line, lot, amount, weighed_by, weighed_at, movement)
        SELECT gen_random_uuid(), this, {line}, c.lot, c.moved, 'hand', 0, c.id
        FROM unnest(movement_ids, lot_ids, moved) WITH ORDINALITY AS c(id, lot, moved, at);
    INSERT INTO ticket_steps (ticket, position, status_from, status_to, entered_by, entered_at)
        VALUES (this, 1, 'planned', 'weighing', 'hand', 0) ON CONFLICT DO NOTHING;
    UPDATE tickets SET status = 'weighing' WHERE id = this;
    INSERT INTO audit (id, entered_at, actor, operation, subject_kind, subject, became, request_key)
        VALUES (gen_random_uuid(), 0, 'hand', 'ticket-weigh', 'ticket', 'a ticket', '{became}', keyed);
END $body$;",
        ticket = uuid("number"),
        lot = uuid("pick"),
        line = uuid("number * 100 + c.at"),
        moved = list(micrograms),
        worth = list(micros),
    )
}
