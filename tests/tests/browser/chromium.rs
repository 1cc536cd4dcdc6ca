//! A browser without a window, driven over the Chrome DevTools Protocol, version 1.3.
//!
//! One Chromium for all tests of the suite, each test with a browser context and a connection of its own. Every wait has an end.

use std::{
    env, fs,
    io::{BufRead as _, BufReader},
    net::TcpStream,
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    sync::{OnceLock, mpsc},
    thread,
    time::{Duration, Instant},
};

use base64::{Engine as _, engine::general_purpose::STANDARD};
use serde_json::{Value, json};
use tungstenite::{Message, WebSocket, client::client};

/// How long anything may take.
const PATIENCE: Duration = Duration::from_secs(45);
/// Names the browser, or says `skip`.
pub const SETTING: &str = "STILLROOM_TEST_BROWSER";

/// The browser of the suite, or why there is none.
struct Chromium {
    address: String,
    /// Holds the pipe whose end is the browser's end.
    _process: Child,
}

/// The program to run: the one named, else Debian's.
fn program() -> Option<PathBuf> {
    match env::var_os(SETTING) {
        Some(named) if named == "skip" => None,
        Some(named) => Some(PathBuf::from(named)),
        None => ["/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"]
            .map(PathBuf::from)
            .into_iter()
            .find(|path| path.exists()),
    }
}

fn shared() -> Option<&'static Chromium> {
    static BROWSER: OnceLock<Option<Chromium>> = OnceLock::new();
    BROWSER.get_or_init(|| program().map(|path| start(&path))).as_ref()
}

fn start(path: &Path) -> Chromium {
    let folder = tempfile::tempdir().unwrap().keep();
    // The shell ends the browser when this process is gone, however it went: a value in a `static` is never dropped.
    let mut process = Command::new("sh")
        .args([
            "-c",
            "folder=$1; shift; \"$@\" & browser=$!; cat; kill $browser; wait $browser; rm -rf \"$folder\"",
            "sh",
        ])
        .arg(&folder)
        .arg(path)
        .args([
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-dev-shm-usage",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-default-apps",
            "--disable-extensions",
            "--disable-sync",
            "--no-first-run",
            "--force-color-profile=srgb",
            "--hide-scrollbars",
            "--remote-debugging-port=0",
        ])
        .arg(format!("--user-data-dir={}", folder.display()))
        .arg("about:blank")
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|error| panic!("{} cannot be run: {error}", path.display()));
    let lines = BufReader::new(process.stderr.take().unwrap()).lines();
    let (said, saying) = mpsc::channel();
    thread::spawn(move || {
        for line in lines.map_while(Result::ok) {
            if let Some((_, address)) = line.split_once("DevTools listening on ") {
                let _ = said.send(address.trim().to_owned());
            }
        }
    });
    let address = saying.recv_timeout(PATIENCE).expect("the browser says where it listens");
    Chromium { address, _process: process }
}

/// Whether the suite can run; says so on the screen when it cannot.
pub fn is_there() -> bool {
    let there = shared().is_some();
    if !there {
        println!("SKIPPED: browser suite: there is no Chromium here, or {SETTING} says skip.");
    }
    there
}

struct Connection {
    socket: WebSocket<TcpStream>,
    last: u64,
    events: Vec<Value>,
}

impl Connection {
    fn open(address: &str) -> Self {
        let host = address.trim_start_matches("ws://").split('/').next().unwrap();
        let stream = TcpStream::connect(host).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        let (socket, _) = client(address, stream).unwrap();
        Self { socket, last: 0, events: Vec::new() }
    }

    fn post(&mut self, method: &str, params: Value, session: Option<&str>) -> u64 {
        self.last += 1;
        let mut request = json!({ "id": self.last, "method": method, "params": params });
        if let Some(session) = session {
            request["sessionId"] = json!(session);
        }
        self.socket.send(Message::text(request.to_string())).unwrap();
        self.last
    }

    fn read(&mut self) -> Value {
        loop {
            if let Message::Text(text) = self.socket.read().expect("the browser answers in time") {
                return serde_json::from_str(&text).unwrap();
            }
        }
    }

    #[track_caller]
    fn call(&mut self, method: &str, params: Value, session: Option<&str>) -> Value {
        let id = self.post(method, params, session);
        let begun = Instant::now();
        loop {
            let message = self.read();
            if message["id"] == json!(id) {
                assert!(message.get("error").is_none(), "{method}: {message}");
                return message["result"].clone();
            }
            if message.get("method").is_some() {
                self.events.push(message);
            }
            assert!(begun.elapsed() < PATIENCE, "{method} is not answered");
        }
    }
}

/// One page in a context of its own: own cookies, own storage.
pub struct Tab {
    connection: Connection,
    session: String,
    origin: String,
}

impl Tab {
    /// A tab that opens pages of a server, as large as a desktop's.
    pub fn of(origin: &str) -> Self {
        let browser = shared().expect("a browser; ask `is_there` first");
        let mut connection = Connection::open(&browser.address);
        let context = connection.call("Target.createBrowserContext", json!({}), None)["browserContextId"]
            .as_str()
            .unwrap()
            .to_owned();
        let mut tab = Self { connection, session: String::new(), origin: origin.to_owned() };
        tab.attach(&context);
        tab
    }

    fn attach(&mut self, context: &str) {
        let params = json!({ "url": "about:blank", "browserContextId": context });
        let target = self.connection.call("Target.createTarget", params, None)["targetId"].clone();
        let params = json!({ "targetId": target, "flatten": true });
        let attached = self.connection.call("Target.attachToTarget", params, None);
        attached["sessionId"].as_str().unwrap().clone_into(&mut self.session);
        for domain in ["Page", "Runtime", "Log", "Network"] {
            self.call(&format!("{domain}.enable"), json!({}));
        }
        self.size(1280, 900);
    }

    #[track_caller]
    pub fn call(&mut self, method: &str, params: Value) -> Value {
        let session = self.session.clone();
        self.connection.call(method, params, Some(&session))
    }

    /// How large the page is, in CSS pixels.
    pub fn size(&mut self, width: u32, height: u32) {
        let params = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.call("Emulation.setDeviceMetricsOverride", params);
    }

    /// Whether the reader prefers a dark page.
    pub fn dark(&mut self, dark: bool) {
        let value = if dark { "dark" } else { "light" };
        let params = json!({ "features": [{ "name": "prefers-color-scheme", "value": value }] });
        self.call("Emulation.setEmulatedMedia", params);
    }

    /// Whether pages may run scripts.
    pub fn scripts(&mut self, on: bool) {
        self.call("Emulation.setScriptExecutionDisabled", json!({ "value": !on }));
    }

    /// Whether there is a line to the server.
    pub fn line(&mut self, there: bool) {
        let params =
            json!({ "offline": !there, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1 });
        self.call("Network.emulateNetworkConditions", params);
    }

    /// Opens a page of the server and waits until it is there.
    #[track_caller]
    pub fn open(&mut self, path: &str) {
        let url = format!("{}{path}", self.origin);
        self.leads(|tab| {
            let answer = tab.call("Page.navigate", json!({ "url": url }));
            assert!(answer.get("errorText").is_none(), "{url}: {answer}");
        });
    }

    #[track_caller]
    pub fn reload(&mut self) {
        self.leads(|tab| {
            tab.call("Page.reload", json!({}));
        });
    }

    /// Does something that leads to another page, and waits until that is there.
    #[track_caller]
    pub fn leads(&mut self, act: impl FnOnce(&mut Self)) {
        self.forget("Page.loadEventFired");
        act(self);
        let begun = Instant::now();
        while !self.forget("Page.loadEventFired") {
            let message = self.connection.read();
            if message.get("method").is_some() {
                self.connection.events.push(message);
            }
            assert!(begun.elapsed() < PATIENCE, "no page came");
        }
    }

    /// Takes events of a kind out of those seen; whether there were any.
    fn forget(&mut self, method: &str) -> bool {
        !self.events(method).is_empty()
    }

    /// Events of a kind since they were last asked for.
    pub fn events(&mut self, method: &str) -> Vec<Value> {
        let (wanted, rest) =
            self.connection.events.drain(..).partition(|event| event["method"] == json!(method));
        self.connection.events = rest;
        wanted
    }

    /// What an expression of the page comes to.
    #[track_caller]
    pub fn js(&mut self, expression: &str) -> Value {
        let params = json!({ "expression": expression, "returnByValue": true, "awaitPromise": true });
        let answer = self.call("Runtime.evaluate", params);
        assert!(answer.get("exceptionDetails").is_none(), "{expression}: {answer}");
        answer["result"]["value"].clone()
    }

    /// The text of the whole page.
    #[track_caller]
    pub fn text(&mut self) -> String {
        self.js("document.body.innerText").as_str().unwrap().to_owned()
    }

    /// The text of the first element.
    #[track_caller]
    pub fn text_of(&mut self, selector: &str) -> String {
        let text = self.js(&format!("document.querySelector({})?.innerText ?? null", quoted(selector)));
        text.as_str().unwrap_or_else(|| panic!("there is no {selector}")).to_owned()
    }

    /// The path and query of the page.
    pub fn at(&mut self) -> String {
        self.js("location.pathname + location.search").as_str().unwrap().to_owned()
    }

    /// Waits until an expression holds.
    #[track_caller]
    pub fn until(&mut self, expression: &str) {
        let begun = Instant::now();
        while self.js(&format!("!!({expression})")) != json!(true) {
            assert!(begun.elapsed() <= PATIENCE, "it never came to hold: {expression}\n{}", self.text());
            thread::sleep(Duration::from_millis(25));
        }
    }

    /// Waits until the page says something.
    #[track_caller]
    pub fn says(&mut self, text: &str) {
        self.until(&format!("document.body.innerText.includes({})", quoted(text)));
    }

    /// Points at the middle of the first element and clicks.
    #[track_caller]
    pub fn click(&mut self, selector: &str) {
        let place = self.js(&format!(
            "(() => {{ const e = document.querySelector({}); if (!e) return null; e.scrollIntoView({{ block: 'center' }}); \
             const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; }})()",
            quoted(selector)
        ));
        assert!(place.is_array(), "there is no {selector}:\n{}", self.text());
        for kind in ["mousePressed", "mouseReleased"] {
            let params =
                json!({ "type": kind, "x": place[0], "y": place[1], "button": "left", "clickCount": 1 });
            self.call("Input.dispatchMouseEvent", params);
        }
    }

    /// Puts the cursor into a field, over whatever stands there.
    #[track_caller]
    pub fn focus(&mut self, selector: &str) {
        let found = self.js(&format!(
            "(() => {{ const e = document.querySelector({}); if (!e) return false; e.focus(); e.select?.(); return true; }})()",
            quoted(selector)
        ));
        assert_eq!(found, json!(true), "there is no {selector}:\n{}", self.text());
    }

    /// Types into a field.
    #[track_caller]
    pub fn fill(&mut self, selector: &str, text: &str) {
        self.focus(selector);
        self.write(text);
    }

    /// Chooses out of a list.
    #[track_caller]
    pub fn choose(&mut self, selector: &str, value: &str) {
        let chosen = self.js(&format!(
            "(() => {{ const e = document.querySelector({}); e.value = {}; \
             e.dispatchEvent(new Event('input', {{ bubbles: true }})); e.dispatchEvent(new Event('change', {{ bubbles: true }})); \
             return e.value; }})()",
            quoted(selector),
            quoted(value)
        ));
        assert_eq!(chosen, json!(value));
    }

    /// Puts text where the cursor stands, over whatever is marked.
    pub fn write(&mut self, text: &str) {
        if text.is_empty() {
            self.key("Delete", 46, "");
        } else {
            self.call("Input.insertText", json!({ "text": text }));
        }
    }

    /// Types key by key without a pause and without waiting, as a scanner does; `\n` is Enter.
    pub fn scan(&mut self, text: &str) {
        let session = self.session.clone();
        let mut last = 0;
        for letter in text.chars() {
            let (key, code) = if letter == '\n' { ("Enter".to_owned(), 13) } else { (letter.to_string(), 0) };
            let typed = if letter == '\n' { "\r".to_owned() } else { letter.to_string() };
            for kind in ["keyDown", "keyUp"] {
                let mut params = json!({ "type": kind, "key": key, "windowsVirtualKeyCode": code });
                if kind == "keyDown" {
                    params["text"] = json!(typed);
                }
                last = self.connection.post("Input.dispatchKeyEvent", params, Some(&session));
            }
        }
        let begun = Instant::now();
        while begun.elapsed() < PATIENCE {
            let message = self.connection.read();
            if message["id"] == json!(last) {
                return;
            }
            if message.get("method").is_some() {
                self.connection.events.push(message);
            }
        }
        panic!("the keys are not taken");
    }

    fn key(&mut self, key: &str, code: u32, text: &str) {
        let mut params = json!({ "type": "keyDown", "key": key, "code": key, "windowsVirtualKeyCode": code });
        if !text.is_empty() {
            params["text"] = json!(text);
        }
        self.call("Input.dispatchKeyEvent", params);
        let params = json!({ "type": "keyUp", "key": key, "code": key, "windowsVirtualKeyCode": code });
        self.call("Input.dispatchKeyEvent", params);
    }

    pub fn enter(&mut self) {
        self.key("Enter", 13, "\r");
    }

    pub fn tab(&mut self) {
        self.key("Tab", 9, "");
    }

    /// Goes from field to field by Tab until one is reached.
    #[track_caller]
    pub fn tab_to(&mut self, selector: &str) {
        for _ in 0..200 {
            self.tab();
            if self.js(&format!("document.activeElement.matches({})", quoted(selector))) == json!(true) {
                return;
            }
        }
        panic!("{selector} is not reached by Tab:\n{}", self.text());
    }

    /// What went wrong on its pages since this was last asked: scripts that threw, what the content policy refused, what failed to
    /// load.
    pub fn complaints(&mut self) -> Vec<String> {
        let thrown = self.events("Runtime.exceptionThrown");
        let logged = self.events("Log.entryAdded");
        let bad = |event: &Value| {
            let level = event["params"]["entry"]["level"].as_str();
            level.is_none_or(|level| level == "error")
        };
        thrown.into_iter().chain(logged).filter(bad).map(|event| event["params"].to_string()).collect()
    }

    /// Bytes that came over the line since this was last asked.
    pub fn weight(&mut self) -> u64 {
        let loaded = self.events("Network.loadingFinished");
        // The protocol gives lengths as doubles; a page has no half bytes.
        let length = |event: &Value| {
            let length = &event["params"]["encodedDataLength"];
            length.as_u64().or_else(|| length.to_string().split('.').next()?.parse().ok()).unwrap_or(0)
        };
        loaded.iter().map(length).sum()
    }

    /// A picture of the whole page.
    pub fn picture(&mut self, to: &Path) {
        let answer = self.call("Page.captureScreenshot", json!({ "captureBeyondViewport": true }));
        fs::write(to, STANDARD.decode(answer["data"].as_str().unwrap()).unwrap()).unwrap();
    }
}

/// A text as a script writes it.
pub fn quoted(text: &str) -> String {
    json!(text).to_string()
}
