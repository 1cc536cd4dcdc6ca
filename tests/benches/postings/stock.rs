//! What there is to post from: twelve materials in forty lots each, and tickets that take some of every one. One of each is entered
//! like anybody's; the rest are copies of those rows, under ids that a hand-written script can work out.

use black_box::{Server, binary, run};
use serde_json::json;
use std::{
    fmt::Write as _,
    io::Write as _,
    path::PathBuf,
    process::{Command, Stdio},
    sync::atomic::{AtomicUsize, Ordering},
};
use testkit::db::TestDatabase;

/// Lines of a ticket.
pub const LINES: usize = 12;
/// Lots of each material.
pub const LOTS_EACH: usize = 40;
/// Tickets to post.
pub const TICKETS: usize = 20_000;
/// Where the ids begin that [`Stock`] has not given out.
pub const FREE_IDS: usize = 1_000_000_000;

/// The stock, and the database it is in.
pub struct Stock {
    /// Where the database is.
    pub url: String,
    path: Option<PathBuf>,
    token: String,
    next: AtomicUsize,
}

/// What a line takes, kilograms.
pub fn kilograms(line: usize) -> usize {
    if line < 10 { 8 } else { 10 }
}

impl Stock {
    /// Lays the stock in, with so many planned tickets.
    pub fn lay_in(database: &TestDatabase, tickets: usize) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        for (name, text) in sheets() {
            std::fs::write(folder.path().join(name), text).expect("a sheet");
        }
        run(database.url(), ["import", folder.path().to_str().expect("a plain path")]).code(0);
        let made =
            run(database.url(), ["--json", "token", "create", "--name", "bench", "--may", "all"]).code(0);
        let token = made.json()["secret"].as_str().expect("a secret").to_owned();
        let stock =
            Self { url: database.url().to_owned(), path: database.path(), token, next: AtomicUsize::new(0) };
        stock.write_ticket(database);
        stock.copy(tickets);
        stock
    }

    /// The server on it.
    pub fn serve(&self, database: &TestDatabase, settings: &[(&str, &str)]) -> Server {
        let mut command = binary::command(database.url());
        command
            .args(["serve", "--listen", "127.0.0.1:0"])
            .env("STILLROOM_LOG", "info")
            .envs(settings.iter().copied());
        let mut server = Server::start_command(&mut command);
        server.token = Some(self.token.clone());
        server
    }

    /// The ticket all others are copied from.
    fn write_ticket(&self, database: &TestDatabase) {
        let server = self.serve(database, &[]);
        let write = "mutation($input: TicketWriteInput!) { ticketWrite(input: $input) {
            ... on TicketWritePayload { ticket { number } } ... on Refused { refusals { message } } } }";
        let input = json!({ "input": { "requestKey": "template", "number": "TPL", "of": { "formula": { "code": "BN-1" } },
            "size": { "batch": { "amount": "100", "unit": "KG" } }, "plannedFor": "2099-01-01" } });
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        let answer = runtime.block_on(server.graphql(write, input)).data();
        assert_eq!(answer["ticketWrite"]["ticket"]["number"], "TPL", "{answer}");
    }

    /// A number as an id, in SQL.
    pub fn id(&self, number: &str) -> String {
        if self.path.is_some() {
            format!("unhex('00000000000070008000' || printf('%012d', {number}))")
        } else {
            format!("('00000000-0000-7000-8000-' || lpad(({number})::text, 12, '0'))::uuid")
        }
    }

    /// Copies lots and tickets.
    fn copy(&self, tickets_in_all: usize) {
        let id = |number: &str| self.id(number);
        let fresh = if self.path.is_some() { "randomblob(16)" } else { "gen_random_uuid()" };
        // The material a template lot is of, from its number L-1 to L-12.
        let at = "CAST(substr(t.number, 3) AS INTEGER)";
        let lot = id(&format!("({at} - 1) * {LOTS_EACH} + s.n"));
        let lots = self.columns(
            "lots",
            &[
                ("id", lot.as_str()),
                ("number", "t.number || '/' || s.n"),
                ("number_key", "t.number_key || '/' || s.n"),
            ],
        );
        self.run(&format!(
            "INSERT INTO lots ({}) {}SELECT {} FROM lots t, s WHERE t.number LIKE 'L-%'",
            lots.0,
            series(LOTS_EACH),
            lots.1
        ));
        let movements = self.columns("movements", &[("id", fresh), ("lot", "c.id")]);
        self.run(&format!(
            "INSERT INTO movements ({}) SELECT {} FROM movements t JOIN lots l ON l.id = t.lot \
             JOIN lots c ON c.number LIKE l.number || '/%'",
            movements.0, movements.1
        ));
        let tickets = self.columns(
            "tickets",
            &[("id", &id("s.n")), ("number", "'B' || s.n"), ("number_key", "'B' || s.n")],
        );
        self.run(&format!(
            "INSERT INTO tickets ({}) {}SELECT {} FROM tickets t, s WHERE t.number = 'TPL'",
            tickets.0,
            series(tickets_in_all),
            tickets.1
        ));
        let lines =
            self.columns("ticket_lines", &[("id", &id("s.n * 100 + t.position")), ("ticket", &id("s.n"))]);
        self.run(&format!(
            "INSERT INTO ticket_lines ({}) {}SELECT {} FROM ticket_lines t JOIN tickets w ON w.id = t.ticket, s \
             WHERE w.number = 'TPL'",
            lines.0, series(tickets_in_all), lines.1
        ));
        self.run("ANALYZE");
    }

    /// A table's columns but its running number, and what a copy holds in them.
    pub fn columns(&self, table: &str, other: &[(&str, &str)]) -> (String, String) {
        let names = if self.path.is_some() {
            self.ask(&format!(
                "SELECT group_concat(name) FROM pragma_table_info('{table}') WHERE name <> 'seq'"
            ))
        } else {
            self.ask(&format!(
                "SELECT string_agg(column_name, ',') FROM information_schema.columns \
                 WHERE table_name = '{table}' AND table_schema = 'public' AND column_name <> 'seq'"
            ))
        };
        let held: Vec<String> = names
            .split(',')
            .map(|name| match other.iter().find(|(column, _)| *column == name) {
                Some((_, held)) => (*held).to_owned(),
                None => format!("t.{name}"),
            })
            .collect();
        (names, held.join(", "))
    }

    /// The next ticket's number, and the lots to weigh from, by their ids as text.
    pub fn next(&self, random: &mut u64) -> (usize, usize, Vec<usize>) {
        let serial = self.next.fetch_add(1, Ordering::Relaxed);
        let lots = (0..LINES).map(|line| line * LOTS_EACH + 1 + draw(random, LOTS_EACH)).collect();
        (serial, serial % TICKETS + 1, lots)
    }

    /// Runs SQL.
    pub fn run(&self, sql: &str) {
        self.ask(sql);
    }

    /// Runs SQL, and gives the first figure it answers.
    pub fn ask(&self, sql: &str) -> String {
        match &self.path {
            Some(path) => {
                let database = rusqlite::Connection::open(path).expect("the file");
                let mut statement = database.prepare(sql).unwrap_or_else(|error| panic!("{error}: {sql}"));
                let mut rows = statement.query([]).expect("an answer");
                let row = rows.next().unwrap_or_else(|error| panic!("{error}: {sql}"));
                row.map_or_else(String::new, |row| match row.get_ref(0).expect("a column") {
                    rusqlite::types::ValueRef::Integer(whole) => whole.to_string(),
                    rusqlite::types::ValueRef::Text(text) => String::from_utf8_lossy(text).into_owned(),
                    other => panic!("{other:?}"),
                })
            }
            None => psql(&self.url, sql),
        }
    }
}

/// The whole numbers from 1 on as a table `s` of `n`, before a `SELECT`.
pub fn series(most: usize) -> String {
    format!("WITH RECURSIVE s(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM s WHERE n < {most}) ")
}

/// A draw below a limit (Marsaglia, "Xorshift RNGs", 2003).
pub fn draw(random: &mut u64, limit: usize) -> usize {
    *random ^= *random << 13;
    *random ^= *random >> 7;
    *random ^= *random << 17;
    usize::try_from(*random % limit as u64).expect("below the limit")
}

fn psql(url: &str, sql: &str) -> String {
    let mut child = Command::new("psql")
        .args(["-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", url])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("psql can be run");
    child.stdin.take().expect("its input").write_all(sql.as_bytes()).expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    assert!(output.status.success(), "{sql}");
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}

fn sheets() -> [(&'static str, String); 5] {
    let mut materials = "code,name,kind,density\nBULK,Bench bulk,bulk,1.0\n".to_owned();
    let mut lines = "formula,version,line,material,amount\n".to_owned();
    let mut lots = "lot,material,quantity,unit cost,supplier,received,status\n".to_owned();
    for line in 0..LINES {
        let at = line + 1;
        writeln!(materials, "M{at},Bench material {at},raw material,1.0").expect("a string takes it");
        writeln!(lines, "BN-1,1,{at},M{at},{} %", kilograms(line)).expect("a string takes it");
        writeln!(lots, "L-{at},M{at},1000000 kg,1.50,OAK,2026-01-05,released").expect("a string takes it");
    }
    [
        ("materials.csv", materials),
        ("suppliers.csv", "code,name,currency\nOAK,Oakhollow Supplies,GBP\n".to_owned()),
        (
            "formulas.csv",
            "formula,name,version,status,makes,written as,usual batch,density,shelf life,approved by,approved on\n\
             BN-1,Bench bulk,1,approved,BULK,percent,100 kg,1.0,24 months,A. Penhallow,2026-01-05\n"
                .to_owned(),
        ),
        ("formula-lines.csv", lines),
        ("lots.csv", lots),
    ]
}
