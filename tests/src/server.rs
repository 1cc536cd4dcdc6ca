//! The binary listening on a free loopback port.

use serde_json::{Value, json};
use std::{
    io::{BufRead as _, BufReader},
    process::{Child, Command, ExitStatus, Stdio},
    sync::{
        Arc, Mutex,
        mpsc::{Receiver, RecvTimeoutError, channel},
    },
    thread,
    time::{Duration, Instant},
};

use crate::binary;

/// How long the server may take to listen, to answer, or to stop.
const PATIENCE: Duration = Duration::from_mins(1);

/// A server that is running. Dropped, it is killed.
pub struct Server {
    child: Child,
    /// Where it listens: `http://127.0.0.1:40123`.
    pub url: String,
    /// Sent with every request when there is one.
    pub token: Option<String>,
    client: reqwest::Client,
    log: Receiver<String>,
    seen: Mutex<String>,
    printed: Arc<Mutex<String>>,
}

/// What came back of a request.
#[derive(Debug)]
pub struct Answer {
    /// The status.
    pub status: u16,
    /// Header names in lower case, with their values.
    pub headers: Vec<(String, String)>,
    /// The body.
    pub body: String,
}

impl Answer {
    /// A header's value.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// The body as JSON.
    #[track_caller]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error}: {self:#?}"))
    }

    /// The code of the first error.
    #[track_caller]
    pub fn error_code(&self) -> String {
        let json = self.json();
        let code = json.pointer("/errors/0/extensions/code").and_then(Value::as_str);
        code.unwrap_or_else(|| panic!("no error code: {self:#?}")).to_owned()
    }

    /// What a GraphQL request answered, which must have no errors.
    #[track_caller]
    pub fn data(&self) -> Value {
        let json = self.json();
        assert!(self.status == 200 && json.get("errors").is_none(), "{self:#?}");
        json.get("data").cloned().unwrap_or_else(|| panic!("no data: {self:#?}"))
    }
}

impl Server {
    /// Starts `stillroom` with these words on a database and waits until it listens.
    #[track_caller]
    pub fn start(database: &str, words: &[&str]) -> Self {
        let mut command = binary::command(database);
        command.args(words).args(["--listen", "127.0.0.1:0"]).env("STILLROOM_LOG", "info");
        Self::start_command(&mut command)
    }

    /// `serve`, with a token that may do everything.
    #[track_caller]
    pub fn with_token(database: &str) -> Self {
        let made =
            binary::run(database, ["--json", "token", "create", "--name", "tests", "--may", "all"]).code(0);
        let secret = made.json()["secret"].as_str().expect("a secret").to_owned();
        let mut server = Self::start(database, &["serve"]);
        server.token = Some(secret);
        server
    }

    /// Starts a command that serves, and waits until it listens.
    #[track_caller]
    pub fn start_command(command: &mut Command) -> Self {
        let mut child =
            command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().expect("the binary can be run");
        let stderr = child.stderr.take().expect("its log");
        let stdout = child.stdout.take().expect("what it prints");
        let printed = Arc::new(Mutex::new(String::new()));
        let sink = Arc::clone(&printed);
        thread::spawn(move || {
            for line in BufReader::new(stdout).lines().map_while(Result::ok) {
                let mut sink = sink.lock().expect("one writer");
                sink.push_str(&line);
                sink.push('\n');
            }
        });
        let (lines, log) = channel();
        thread::spawn(move || {
            for line in BufReader::new(stderr).lines().map_while(Result::ok) {
                if lines.send(line).is_err() {
                    break;
                }
            }
        });
        let mut seen = String::new();
        let begun = Instant::now();
        let address = loop {
            let left = PATIENCE.saturating_sub(begun.elapsed());
            match log.recv_timeout(left) {
                Ok(line) => {
                    seen.push_str(&line);
                    seen.push('\n');
                    if let Some((_, address)) = line.split_once("listening address=") {
                        break address.trim().to_owned();
                    }
                }
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
                    let _ = child.kill();
                    panic!("it does not listen:\n{seen}");
                }
            }
        };
        let client = reqwest::Client::builder().timeout(PATIENCE).no_proxy().build().expect("a client");
        Self {
            child,
            url: format!("http://{address}"),
            token: None,
            client,
            log,
            seen: Mutex::new(seen),
            printed,
        }
    }

    /// What it has logged so far.
    pub fn log(&self) -> String {
        let mut seen = self.seen.lock().expect("one reader");
        while let Ok(line) = self.log.try_recv() {
            seen.push_str(&line);
            seen.push('\n');
        }
        seen.clone()
    }

    /// What it has printed, once that holds a text.
    #[track_caller]
    pub fn printed(&self, text: &str) -> String {
        let begun = Instant::now();
        loop {
            let printed = self.printed.lock().expect("one reader").clone();
            if printed.contains(text) {
                return printed;
            }
            assert!(begun.elapsed() < PATIENCE, "it does not print {text}:\n{printed}");
            thread::sleep(Duration::from_millis(20));
        }
    }

    /// A request to a path, with the token where there is one.
    pub fn request(&self, method: &str, path: &str) -> reqwest::RequestBuilder {
        let method = method.parse().expect("a method");
        let request = self.client.request(method, format!("{}{path}", self.url));
        match &self.token {
            Some(token) => request.header("authorization", format!("Bearer {token}")),
            None => request,
        }
    }

    /// Sends a request.
    pub async fn send(&self, request: reqwest::RequestBuilder) -> Answer {
        match self.try_send(request).await {
            Ok(answer) => answer,
            Err(error) => panic!("{error}; the log:\n{}", self.log()),
        }
    }

    /// Sends a request to a server that may be gone.
    ///
    /// # Errors
    /// When no whole answer came.
    pub async fn try_send(&self, request: reqwest::RequestBuilder) -> Result<Answer, reqwest::Error> {
        let response = request.send().await?;
        let status = response.status().as_u16();
        let headers = response
            .headers()
            .iter()
            .map(|(name, value)| (name.to_string(), value.to_str().unwrap_or_default().to_owned()))
            .collect();
        Ok(Answer { status, headers, body: response.text().await? })
    }

    /// A GraphQL request, not sent yet.
    pub fn ask(&self, query: &str, variables: &Value) -> reqwest::RequestBuilder {
        self.request("POST", "/graphql").json(&json!({ "query": query, "variables": variables }))
    }

    /// Asks over GraphQL.
    pub async fn graphql(&self, query: &str, variables: Value) -> Answer {
        self.send(self.ask(query, &variables)).await
    }

    /// Kills it without a warning, as a power cut would.
    pub fn kill(&mut self) {
        self.child.kill().expect("it can be killed");
        self.child.wait().expect("it ends");
    }

    /// Asks it to stop, as a service manager does, and waits until it has.
    #[track_caller]
    pub fn stop(&mut self) -> ExitStatus {
        let id = self.child.id().to_string();
        let asked = Command::new("kill").args(["-TERM", &id]).status().expect("kill can be run");
        assert!(asked.success());
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().expect("its state can be asked") {
                return status;
            }
            assert!(begun.elapsed() < PATIENCE, "it does not stop:\n{}", self.log());
            thread::sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
