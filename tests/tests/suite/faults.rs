//! Many at once, and what goes wrong in the middle of it: the server killed, the database's connections cut. Whatever was
//! acknowledged is there once, nothing is there by half, and what was not acknowledged can be sent again.

use black_box::{Server, run};
use serde_json::{Value, json};
use std::{
    collections::BTreeMap,
    io::{Read as _, Write as _},
    net::{Shutdown, TcpListener, TcpStream},
    sync::{
        Arc, Mutex,
        atomic::{AtomicI64, AtomicUsize, Ordering},
    },
    thread,
    time::Duration,
};
use testkit::{db::TestDatabase, on_both_databases};

on_both_databases!(
    the_last_kilograms_go_to_exactly_so_many,
    two_servers_share_the_last_kilograms,
    two_tickets_that_fit_alone_but_not_together,
    two_hundred_postings_survive_kills,
);

const WRITE: &str = "mutation($input: TicketWriteInput!) { ticketWrite(input: $input) {
    ... on TicketWritePayload { ticket { number } } ... on Refused { refusals { code message } } } }";
/// Asks for no lots: they are read after the commit, when the connection may be gone.
const WEIGH: &str = "mutation($input: TicketWeighInput!) { ticketWeigh(input: $input) {
    ... on TicketWeighPayload { ticket { number status weighings { amountKg } } }
    ... on Refused { refusals { code message } } } }";

/// Three raw materials, each in one lot of 1,000 kg, and a formula of all three.
fn stocked(database: &TestDatabase) -> String {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in [
        (
            "materials.csv",
            "code,name,kind,density\nOIL,Oil,raw material,0.9\nWAX,Wax,raw material,0.9\n\
             GUM,Gum,raw material,1.0\nBALM,Balm,bulk,0.9\n",
        ),
        ("suppliers.csv", "code,name,currency\nOAK,Oakhollow Supplies,GBP\n"),
        (
            "formulas.csv",
            "formula,name,version,status,makes,written as,usual batch,density,shelf life,approved by,approved on\n\
             BL-1,Balm,1,approved,BALM,percent,10 kg,0.9,24 months,A. Penhallow,2026-01-05\n",
        ),
        (
            "formula-lines.csv",
            "formula,version,line,material,amount\nBL-1,1,1,OIL,50 %\nBL-1,1,2,WAX,30 %\nBL-1,1,3,GUM,20 %\n",
        ),
        (
            "lots.csv",
            "lot,material,quantity,value,supplier,received,status\nL-OIL,OIL,1000 kg,333.33,OAK,2026-01-05,released\n\
             L-WAX,WAX,1000 kg,700.01,OAK,2026-01-05,released\nL-GUM,GUM,1000 kg,9000.00,OAK,2026-01-05,released\n",
        ),
    ] {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    run(database.url(), ["import", folder.path().to_str().unwrap()]).code(0);
    let made = run(database.url(), ["--json", "token", "create", "--name", "tests", "--may", "all"]).code(0);
    made.json()["secret"].as_str().unwrap().to_owned()
}

fn serve(address: &str, token: &str) -> Server {
    let mut server = Server::start(address, &["serve"]);
    server.token = Some(token.to_owned());
    server
}

async fn write_tickets(server: &Server, tickets: usize, batch: &str) {
    for ticket in 0..tickets {
        let input = json!({ "input": { "requestKey": format!("write-{ticket}"), "number": format!("T{ticket}"),
            "of": { "formula": { "code": "BL-1" } }, "size": { "batch": { "amount": batch, "unit": "KG" } },
            "plannedFor": "2099-01-01" } });
        let written = server.graphql(WRITE, input).await.data();
        assert_eq!(written["ticketWrite"]["ticket"]["number"], format!("T{ticket}"), "{written}");
    }
}

/// A ticket's sheet: each of these lines of this amount.
fn sheet(ticket: usize, lines: &[(u32, &str, &str)]) -> Value {
    let weighings: Vec<Value> = lines
        .iter()
        .map(|(line, lot, amount)| {
            json!({ "line": line, "lot": { "code": lot }, "amount": { "amount": amount, "unit": "KG" } })
        })
        .collect();
    json!({ "input": { "requestKey": format!("weigh-{ticket}"), "ticket": { "code": format!("T{ticket}") },
        "weighings": weighings } })
}

async fn on_hand(server: &Server, lot: &str) -> String {
    let query = "query($lot: String!) { lot(number: $lot) { onHand { amount } } }";
    let data = server.graphql(query, json!({ "lot": lot })).await.data();
    data["lot"]["onHand"]["amount"].as_str().unwrap().to_owned()
}

/// Sends one sheet of each ticket at once, over as many connections, to servers in turn; how many were done, and the codes of
/// every refusal.
async fn all_at_once(servers: &[&Server], sheets: Vec<Value>) -> (usize, Vec<String>) {
    let mut tasks = Vec::new();
    for (at, sheet) in sheets.into_iter().enumerate() {
        let server = servers[at % servers.len()];
        let request = server.ask(WEIGH, &sheet);
        tasks.push(tokio::spawn(async move { request.send().await.unwrap().json::<Value>().await.unwrap() }));
    }
    let (mut done, mut codes) = (0, Vec::new());
    for task in tasks {
        let answer = task.await.unwrap();
        let answer = &answer["data"]["ticketWeigh"];
        match answer["refusals"].as_array() {
            Some(refusals) => {
                codes.extend(refusals.iter().map(|refusal| refusal["code"].as_str().unwrap().to_owned()));
            }
            None => {
                assert!(answer["ticket"]["number"].is_string(), "{answer}");
                done += 1;
            }
        }
    }
    (done, codes)
}

/// 64 clients want 30 kg each of a lot that holds 1,000: 33 get them, the others are told why not.
async fn the_last_kilograms_go_to_exactly_so_many(database: &TestDatabase) {
    let token = stocked(database);
    let server = serve(database.url(), &token);
    write_tickets(&server, 64, "60").await;
    let sheets = (0..64).map(|ticket| sheet(ticket, &[(1, "L-OIL", "30")])).collect();
    let (done, codes) = all_at_once(&[&server], sheets).await;
    assert_eq!((done, codes), (33, vec!["LOT_SHORT".to_owned(); 31]));
    assert_eq!(on_hand(&server, "L-OIL").await, "10");
    run(database.url(), ["ledger", "verify"]).code(0);
}

/// The same with two servers on one database, and sheets that name their lots in opposite orders: nobody waits for each other in a
/// circle, and nothing goes twice.
async fn two_servers_share_the_last_kilograms(database: &TestDatabase) {
    let token = stocked(database);
    let servers = [serve(database.url(), &token), serve(database.url(), &token)];
    write_tickets(&servers[0], 64, "60").await;
    let lines = [(1, "L-OIL", "30"), (2, "L-WAX", "18"), (3, "L-GUM", "12")];
    let sheets = (0..64)
        .map(|ticket| {
            let mut lines = lines;
            if ticket % 4 < 2 {
                lines.reverse();
            }
            sheet(ticket, &lines)
        })
        .collect();
    let (done, codes) = all_at_once(&[&servers[0], &servers[1]], sheets).await;
    assert_eq!((done, codes), (33, vec!["LOT_SHORT".to_owned(); 31]));
    for (lot, left) in [("L-OIL", "10"), ("L-WAX", "406"), ("L-GUM", "604")] {
        assert_eq!(on_hand(&servers[1], lot).await, left, "{lot}");
    }
    run(database.url(), ["ledger", "verify"]).code(0);
}

/// Each of two tickets could be weighed; one is, and the other has nothing of it, not even the line that would fit.
async fn two_tickets_that_fit_alone_but_not_together(database: &TestDatabase) {
    let token = stocked(database);
    let server = serve(database.url(), &token);
    write_tickets(&server, 2, "1200").await;
    let lines = [(3, "L-GUM", "240"), (1, "L-OIL", "600")];
    let (done, codes) = all_at_once(&[&server], (0..2).map(|ticket| sheet(ticket, &lines)).collect()).await;
    assert_eq!((done, codes), (1, vec!["LOT_SHORT".to_owned()]));
    assert_eq!(
        (on_hand(&server, "L-OIL").await, on_hand(&server, "L-GUM").await),
        ("400".into(), "760".into())
    );
    run(database.url(), ["ledger", "verify"]).code(0);
}

/// Tickets posted while things go wrong.
const TICKETS: usize = 200;
/// Clients that post them.
const CLIENTS: usize = 8;
/// What each takes.
const LINES: [(u32, &str, &str); 3] = [(1, "L-OIL", "1.000000001"), (2, "L-WAX", "0.6"), (3, "L-GUM", "0.4")];

/// Clients that post every ticket's sheet, each until it is acknowledged.
struct Posting {
    url: Mutex<String>,
    token: String,
    next: AtomicUsize,
    acknowledged: Mutex<BTreeMap<usize, Value>>,
    /// Answers other than acknowledgements, by code, and connections that broke.
    failures: Mutex<BTreeMap<String, usize>>,
}

impl Posting {
    fn on(server: &Server, token: &str) -> Arc<Self> {
        Arc::new(Self {
            url: Mutex::new(server.url.clone()),
            token: token.to_owned(),
            next: AtomicUsize::new(0),
            acknowledged: Mutex::default(),
            failures: Mutex::default(),
        })
    }

    fn clients(self: &Arc<Self>) -> Vec<tokio::task::JoinHandle<()>> {
        let client = |posting: Arc<Self>| async move {
            let client = reqwest::Client::builder().no_proxy().build().unwrap();
            loop {
                let ticket = posting.next.fetch_add(1, Ordering::SeqCst);
                if ticket >= TICKETS {
                    return;
                }
                let answer = posting.until_acknowledged(&client, ticket).await;
                posting.acknowledged.lock().unwrap().insert(ticket, answer);
            }
        };
        (0..CLIENTS).map(|_| tokio::spawn(client(Arc::clone(self)))).collect()
    }

    async fn until_acknowledged(&self, client: &reqwest::Client, ticket: usize) -> Value {
        for _ in 0..3_000 {
            let failure = match self.sent(client, ticket).await {
                Ok(answer) if answer["data"]["ticketWeigh"]["ticket"]["number"].is_string() => {
                    return answer["data"].clone();
                }
                Ok(answer) => {
                    let code = answer.pointer("/errors/0/extensions/code").and_then(Value::as_str);
                    let code = code.or_else(|| answer["code"].as_str());
                    code.unwrap_or_else(|| panic!("T{ticket}: {answer}")).to_owned()
                }
                Err(_) => "connection".to_owned(),
            };
            *self.failures.lock().unwrap().entry(failure).or_default() += 1;
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        panic!("T{ticket} is never acknowledged")
    }

    async fn sent(&self, client: &reqwest::Client, ticket: usize) -> Result<Value, reqwest::Error> {
        let url = self.url.lock().unwrap().clone();
        let body = json!({ "query": WEIGH, "variables": sheet(ticket, &LINES) });
        client.post(format!("{url}/graphql")).bearer_auth(&self.token).json(&body).send().await?.json().await
    }

    async fn until(&self, acknowledged: usize) {
        for _ in 0..12_000 {
            if self.acknowledged.lock().unwrap().len() >= acknowledged {
                return;
            }
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        panic!("{acknowledged} are never acknowledged; {:?}", self.failures.lock().unwrap());
    }

    /// Every posting is there once and whole, and answers again what it answered.
    async fn assert_all_once(&self, server: &Server, database: &TestDatabase) {
        let acknowledged = self.acknowledged.lock().unwrap().clone();
        assert_eq!(acknowledged.len(), TICKETS);
        for (ticket, answer) in &acknowledged {
            let again = server.graphql(WEIGH, sheet(*ticket, &LINES)).await.data();
            assert_eq!(&again, answer, "T{ticket}");
            let query =
                "query($number: String!) { ticket(number: $number) { weighings { lot { number } } } }";
            let kept = server.graphql(query, json!({ "number": format!("T{ticket}") })).await.data();
            assert_eq!(
                kept["ticket"]["weighings"].as_array().unwrap().len(),
                LINES.len(),
                "T{ticket}: {kept}"
            );
        }
        // The same key with other content is refused, whatever happened since.
        let mut other = sheet(0, &LINES);
        other["input"]["weighings"][0]["amount"]["amount"] = json!("2");
        assert_eq!(server.graphql(WEIGH, other).await.error_code(), "REQUEST_KEY_REUSED");
        for (lot, left) in [("L-OIL", "799.9999998"), ("L-WAX", "880"), ("L-GUM", "920")] {
            assert_eq!(on_hand(server, lot).await, left, "{lot}");
        }
        run(database.url(), ["ledger", "verify"]).code(0);
    }
}

/// The next of a row of numbers that look like chance and are the same every time (Marsaglia, "Xorshift RNGs", 2003).
fn draw(random: &mut u64, limit: u64) -> u64 {
    *random ^= *random << 13;
    *random ^= *random >> 7;
    *random ^= *random << 17;
    *random % limit
}

/// The server is killed six times while 200 tickets are posted, a few milliseconds after one or the other is acknowledged.
async fn two_hundred_postings_survive_kills(database: &TestDatabase) {
    let token = stocked(database);
    let mut server = serve(database.url(), &token);
    write_tickets(&server, TICKETS, "2").await;
    let posting = Posting::on(&server, &token);
    let clients = posting.clients();
    let mut random = 0x5E_ED0F_5711_u64;
    for kill in 0..6 {
        posting.until(kill * 30 + usize::try_from(draw(&mut random, 20)).unwrap()).await;
        tokio::time::sleep(Duration::from_micros(draw(&mut random, 20_000))).await;
        server.kill();
        server = serve(database.url(), &token);
        posting.url.lock().unwrap().clone_from(&server.url);
    }
    for client in clients {
        client.await.unwrap();
    }
    let failures = posting.failures.lock().unwrap().clone();
    assert!(failures.keys().all(|failure| failure == "connection"), "{failures:?}");
    posting.assert_all_once(&server, database).await;
}

/// Passes bytes on between the server and its database, until it cuts all connections.
struct Cutter {
    address: String,
    /// Pieces the server still gets through before the cut; below nought for any number.
    left: Arc<AtomicI64>,
}

impl Cutter {
    fn before(upstream: &str) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap().to_string();
        let (open, left) = (Arc::new(Mutex::new(Vec::new())), Arc::new(AtomicI64::new(-1)));
        let cutter = Self { address, left: Arc::clone(&left) };
        let upstream = upstream.to_owned();
        thread::spawn(move || {
            for server in listener.incoming().map_while(Result::ok) {
                let Ok(database) = TcpStream::connect(&upstream) else { continue };
                let ends = [&server, &database].map(|end| end.try_clone().unwrap());
                open.lock().unwrap().extend(ends);
                let (there, back) = (server.try_clone().unwrap(), database.try_clone().unwrap());
                let (open, left) = (Arc::clone(&open), Arc::clone(&left));
                thread::spawn(move || pass_on(there, database, Some((&open, &left))));
                thread::spawn(move || pass_on(back, server, None));
            }
        });
        cutter
    }

    /// Cuts everything off once the server has sent so many more pieces.
    fn cut_after(&self, pieces: i64) {
        self.left.store(pieces, Ordering::SeqCst);
    }

    fn has_cut(&self) -> bool {
        self.left.load(Ordering::SeqCst) < 0
    }
}

type Cut<'a> = (&'a Mutex<Vec<TcpStream>>, &'a AtomicI64);

fn pass_on(mut from: TcpStream, mut to: TcpStream, cut: Option<Cut<'_>>) {
    let mut piece = [0; 16_384];
    while let Ok(length) = from.read(&mut piece) {
        if length == 0 {
            break;
        }
        if let Some((open, left)) = cut
            && left.fetch_sub(1, Ordering::SeqCst) == 0
        {
            // The last piece still arrives, so that a commit may have happened of which no answer comes back.
            let _ = to.write_all(&piece[..length]);
            for end in open.lock().unwrap().drain(..) {
                let _ = end.shutdown(Shutdown::Both);
            }
        }
        if to.write_all(&piece[..length]).is_err() {
            break;
        }
    }
    let _ = to.shutdown(Shutdown::Both);
    let _ = from.shutdown(Shutdown::Both);
}

/// All connections to PostgreSQL are cut eight times in the middle of 200 postings: by something between, and by the database's own
/// administrator. Nobody is told anything but that the database was gone or busy, and sending again puts everything right.
#[tokio::test(flavor = "multi_thread")]
async fn two_hundred_postings_survive_cut_connections() {
    let Some(database) = TestDatabase::postgres().await else { return };
    let token = stocked(&database);
    let (scheme, rest) = database.url().split_once("://").unwrap();
    let (authority, name) = rest.split_once('/').unwrap();
    let (user, host) = authority.rsplit_once('@').unwrap();
    let upstream = if host.contains(':') { host.to_owned() } else { format!("{host}:5432") };
    let cutter = Cutter::before(&upstream);
    let server = serve(&format!("{scheme}://{user}@{}/{name}", cutter.address), &token);
    write_tickets(&server, TICKETS, "2").await;
    let posting = Posting::on(&server, &token);
    let clients = posting.clients();
    let mut random = 0xC0FF_EE00_u64;
    for cut in 0..8 {
        posting.until(cut * 22).await;
        if cut % 2 == 0 {
            cutter.cut_after(i64::try_from(draw(&mut random, 60)).unwrap());
            for _ in 0..12_000 {
                if cutter.has_cut() || posting.next.load(Ordering::SeqCst) >= TICKETS {
                    break;
                }
                tokio::time::sleep(Duration::from_millis(1)).await;
            }
        } else {
            tokio::time::sleep(Duration::from_micros(draw(&mut random, 10_000))).await;
            database.cut_connections().await;
        }
    }
    for client in clients {
        client.await.unwrap();
    }
    let failures = posting.failures.lock().unwrap().clone();
    assert!(failures.keys().all(|code| code == "UNREACHABLE" || code == "BUSY"), "{failures:?}");
    assert!(failures.contains_key("UNREACHABLE"), "the cuts were noticed: {failures:?}");
    posting.assert_all_once(&server, &database).await;
}
