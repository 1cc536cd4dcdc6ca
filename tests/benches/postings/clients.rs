//! Clients that post: each sends a ticket's weighings, waits for the answer, and sends the next. They speak HTTP over plain sockets,
//! since they share the machine with what is measured.

use black_box::Server;
use std::{
    fmt::Write as _,
    io::{BufRead as _, BufReader, Read as _, Write as _},
    net::TcpStream,
    thread,
    time::{Duration, Instant},
};

use crate::stock::{LINES, Stock, kilograms};

const WEIGH: &str = "mutation($input: TicketWeighInput!) { ticketWeigh(input: $input) { \
    ... on TicketWeighPayload { ticket { number status } } ... on Refused { refusals { code message } } } }";

/// What was posted.
#[derive(Debug, Default)]
pub struct Posted {
    /// Tickets acknowledged.
    pub tickets: usize,
    /// Half the answers came within this.
    pub median_ms: f64,
    /// One of a hundred came later.
    pub slowest_ms: f64,
    took: Duration,
}

impl Posted {
    /// Tickets a second.
    pub fn rate(&self) -> f64 {
        self.tickets as f64 / self.took.as_secs_f64()
    }

    /// Counts another turn in; the latencies are then its.
    pub fn add(&mut self, other: &Self) {
        self.tickets += other.tickets;
        (self.median_ms, self.slowest_ms) = (other.median_ms, other.slowest_ms);
    }
}

/// Posts with so many clients for so long.
pub fn post(server: &Server, stock: &Stock, clients: usize, turn: Duration) -> Posted {
    let address = server.url.strip_prefix("http://").expect("an address").to_owned();
    let token = server.token.clone().expect("a token");
    let begun = Instant::now();
    let mut latencies: Vec<Duration> = thread::scope(|scope| {
        let clients: Vec<_> = (0..clients)
            .map(|client| {
                let (address, token) = (address.as_str(), token.as_str());
                scope.spawn(move || one_client(address, token, stock, client, begun + turn))
            })
            .collect();
        clients.into_iter().flat_map(|client| client.join().expect("a client")).collect()
    });
    let took = begun.elapsed();
    latencies.sort_unstable();
    let at = |hundredth: usize| {
        latencies.get(latencies.len() * hundredth / 100).map_or(f64::NAN, |d| d.as_secs_f64() * 1_000.0)
    };
    Posted { tickets: latencies.len(), median_ms: at(50), slowest_ms: at(99), took }
}

fn one_client(address: &str, token: &str, stock: &Stock, client: usize, end: Instant) -> Vec<Duration> {
    let stream = TcpStream::connect(address).expect("the server listens");
    stream.set_nodelay(true).expect("a socket");
    stream.set_read_timeout(Some(Duration::from_mins(1))).expect("a socket");
    let mut answers = BufReader::new(stream.try_clone().expect("a socket"));
    let mut requests = stream;
    let mut random = 0x9E37_79B9_7F4A_7C15_u64.wrapping_mul(client as u64 + 1);
    let mut latencies = Vec::new();
    while Instant::now() < end {
        let body = body(stock, &mut random);
        let request = format!(
            "POST /graphql HTTP/1.1\r\nhost: {address}\r\nauthorization: Bearer {token}\r\n\
             content-type: application/json\r\naccept: application/json\r\ncontent-length: {}\r\n\r\n{body}",
            body.len()
        );
        let sent = Instant::now();
        requests.write_all(request.as_bytes()).expect("it is sent");
        let answer = answer(&mut answers);
        latencies.push(sent.elapsed());
        assert!(answer.contains("\"ticket\":{\"number\""), "{answer}");
    }
    latencies
}

fn body(stock: &Stock, random: &mut u64) -> String {
    let (serial, ticket, lots) = stock.next(random);
    let mut weighings = String::new();
    for (line, lot) in lots.iter().enumerate().take(LINES) {
        let comma = if line == 0 { "" } else { "," };
        let number = (lot - 1) % crate::stock::LOTS_EACH + 1;
        write!(
            weighings,
            r#"{comma}{{"line":{at},"lot":{{"code":"L-{at}/{number}"}},"amount":{{"amount":"{}","unit":"KG"}}}}"#,
            kilograms(line),
            at = line + 1,
        )
        .expect("a string");
    }
    format!(
        r#"{{"query":"{WEIGH}","variables":{{"input":{{"requestKey":"bench-{serial}","ticket":{{"code":"B{ticket}"}},"weighings":[{weighings}]}}}}}}"#
    )
}

fn answer(stream: &mut BufReader<TcpStream>) -> String {
    let mut line = String::new();
    let mut length = 0;
    loop {
        line.clear();
        stream.read_line(&mut line).expect("an answer");
        assert!(!line.is_empty(), "the server hung up");
        let header = line.trim_end().to_ascii_lowercase();
        if let Some(told) = header.strip_prefix("content-length:") {
            length = told.trim().parse().expect("a length");
        }
        if header.is_empty() {
            break;
        }
    }
    let mut body = vec![0; length];
    stream.read_exact(&mut body).expect("the body");
    String::from_utf8(body).expect("text")
}
