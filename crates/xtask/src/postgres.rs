//! A PostgreSQL database for the tests: the one that was named, one that listens here, or a server started for the
//! occasion and removed afterwards.

use crate::workspace::read;
use std::fs;
use std::io::{Read, Write};
use std::net::{Ipv4Addr, SocketAddr, SocketAddrV4, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The setting that names a database, or says `skip`; the tests read it too.
pub const SETTING: &str = "STILLROOM_TEST_POSTGRES";

/// How long a server may take to answer its first connection.
const START_LIMIT: Duration = Duration::from_mins(1);

/// What the tests will use.
#[derive(Debug)]
pub enum Found {
    /// Named by whoever runs the tests.
    Named(String),
    /// Listens on this machine and let us in.
    Listening(String),
    /// Started for the occasion; removed when dropped.
    Started(Throwaway),
    /// None, for these reasons.
    None(Vec<String>),
}

impl Found {
    /// What the tests are told: an address, or `skip`.
    pub fn setting(&self) -> &str {
        match self {
            Self::Named(address) | Self::Listening(address) => address,
            Self::Started(server) => &server.address,
            Self::None(_) => "skip",
        }
    }
}

/// Looks for a database, in the order of [`Found`].
pub fn find() -> Found {
    match std::env::var(SETTING) {
        Ok(named) if named == "skip" => return Found::None(vec![format!("{SETTING} says so")]),
        Ok(named) if !named.is_empty() => return Found::Named(named),
        _ => {}
    }
    let usual = SocketAddr::V4(SocketAddrV4::new(Ipv4Addr::LOCALHOST, 5432));
    let mut reasons = Vec::new();
    for user in ["root", "postgres"] {
        match greet(usual, user, "test") {
            Ok(()) => return Found::Listening(format!("postgres://{user}@{usual}/test")),
            Err(reason) => reasons.push(format!("{usual} as {user}: {reason}")),
        }
    }
    match Throwaway::start() {
        Ok(server) => Found::Started(server),
        Err(reason) => {
            reasons.push(reason);
            Found::None(reasons)
        }
    }
}

/// Connects without a password and waits until the server would take a query
/// (PostgreSQL documentation, "Frontend/Backend Protocol", "Start-up").
fn greet(address: SocketAddr, user: &str, database: &str) -> Result<(), String> {
    let said = |fault: std::io::Error| fault.to_string();
    let limit = Duration::from_secs(3);
    let mut stream = TcpStream::connect_timeout(&address, limit).map_err(said)?;
    stream.set_read_timeout(Some(limit)).map_err(said)?;
    stream.set_write_timeout(Some(limit)).map_err(said)?;

    let mut hello = 196_608_u32.to_be_bytes().to_vec();
    for word in ["user", user, "database", database] {
        hello.extend(word.as_bytes());
        hello.push(0);
    }
    hello.push(0);
    let length = u32::try_from(hello.len() + 4).map_err(|fault| fault.to_string())?;
    let hello = [length.to_be_bytes().as_slice(), &hello].concat();
    stream.write_all(&hello).map_err(said)?;

    // Parameters and keys come before "ready": a few dozen messages at most.
    for _ in 0..200 {
        let mut head = [0_u8; 5];
        stream.read_exact(&mut head).map_err(said)?;
        let [kind, length @ ..] = head;
        let length = u32::from_be_bytes(length).saturating_sub(4);
        if length > 65_536 {
            break;
        }
        let mut body = Vec::new();
        (&mut stream).take(u64::from(length)).read_to_end(&mut body).map_err(said)?;
        match kind {
            b'R' if body.as_slice() != [0; 4] => return Err("it asks for a password".to_owned()),
            b'E' => return Err(complaint(&body)),
            b'Z' => {
                // Saying goodbye is a courtesy; the answer is known already.
                let _ = stream.write_all(&[b'X', 0, 0, 0, 4]);
                return Ok(());
            }
            _ => {}
        }
    }
    Err("it does not talk as PostgreSQL does".to_owned())
}

/// The sentence of an error message: fields of one letter and a text each, `M` being the sentence.
fn complaint(body: &[u8]) -> String {
    body.split(|byte| *byte == 0)
        .find_map(|field| field.strip_prefix(b"M"))
        .map_or_else(|| "it refused".to_owned(), |text| String::from_utf8_lossy(text).into_owned())
}

/// A server of our own on a free loopback port, with its files in a temporary folder.
#[derive(Debug)]
pub struct Throwaway {
    /// How the tests reach it.
    pub address: String,
    server: Child,
    tools: PathBuf,
    runner: Runner,
    folder: PathBuf,
}

impl Throwaway {
    fn start() -> Result<Self, String> {
        let tools = find_tools().ok_or_else(|| {
            "no initdb on the path or under /usr/lib/postgresql, so no server can be started".to_owned()
        })?;
        let runner = Runner::for_this_machine()?;
        let folder = std::env::temp_dir().join(format!("stillroom-postgres-{}", std::process::id()));
        fs::create_dir(&folder).map_err(|fault| format!("{}: {fault}", folder.display()))?;
        let started = Self::start_in(&folder, &tools, &runner);
        if started.is_err() {
            // What went wrong is what counts, not whether the folder could be removed.
            let _ = fs::remove_dir_all(&folder);
        }
        started
    }

    fn start_in(folder: &Path, tools: &Path, runner: &Runner) -> Result<Self, String> {
        runner.own(folder)?;
        let data = folder.join("data");
        let data_word = data.display().to_string();
        let words = [
            "--pgdata",
            &data_word,
            "--username",
            "postgres",
            "--auth",
            "trust",
            "--encoding",
            "UTF8",
            "--no-locale",
        ];
        let made = runner.command(&tools.join("initdb"), &words, folder).arg_output()?;
        if !made.status.success() {
            return Err(format!("initdb: {}", String::from_utf8_lossy(&made.stderr).trim()));
        }
        let port = free_port()?;
        let address = SocketAddr::V4(SocketAddrV4::new(Ipv4Addr::LOCALHOST, port));
        let port_word = port.to_string();
        // Losing the data in a power cut is fine for a server that lives for one test run.
        let words = [
            "-D",
            &data_word,
            "-p",
            &port_word,
            "-c",
            "listen_addresses=127.0.0.1",
            "-c",
            "unix_socket_directories=",
            "-c",
            "fsync=off",
            "-c",
            "max_connections=200",
        ];
        let log = folder.join("log");
        let out = fs::File::create(&log).map_err(|fault| format!("{}: {fault}", log.display()))?;
        let errors = out.try_clone().map_err(|fault| format!("{}: {fault}", log.display()))?;
        let server = runner
            .command(&tools.join("postgres"), &words, folder)
            .command
            .stdin(Stdio::null())
            .stdout(out)
            .stderr(errors)
            .spawn()
            .map_err(|fault| format!("postgres: {fault}"))?;
        let mut started = Self {
            address: format!("postgres://postgres@{address}/postgres"),
            server,
            tools: tools.to_owned(),
            runner: runner.clone(),
            folder: folder.to_owned(),
        };
        started.wait(address, &log)?;
        Ok(started)
    }

    fn wait(&mut self, address: SocketAddr, log: &Path) -> Result<(), String> {
        let begun = Instant::now();
        loop {
            let Err(reason) = greet(address, "postgres", "postgres") else { return Ok(()) };
            let ended = self.server.try_wait().map_err(|fault| format!("postgres: {fault}"))?;
            if ended.is_some() || begun.elapsed() > START_LIMIT {
                let said = read(log).unwrap_or_default();
                return Err(format!("postgres did not start: {reason}; {}", said.trim()));
            }
            std::thread::sleep(Duration::from_millis(100));
        }
    }
}

impl Drop for Throwaway {
    fn drop(&mut self) {
        let data = self.folder.join("data").display().to_string();
        let words = ["stop", "--pgdata", &data, "--mode", "immediate", "--silent"];
        let stopped = self.runner.command(&self.tools.join("pg_ctl"), &words, &self.folder).arg_output();
        if !stopped.is_ok_and(|output| output.status.success()) {
            let _ = self.server.kill();
        }
        let _ = self.server.wait();
        if let Err(fault) = fs::remove_dir_all(&self.folder) {
            eprintln!("{} could not be removed: {fault}", self.folder.display());
        }
    }
}

/// As whom the server's programs run: they refuse to run as root.
#[derive(Debug, Clone)]
enum Runner {
    /// As ourselves.
    Self_,
    /// As another user of this machine, by `runuser` or `su`.
    Other { user: String, by: PathBuf },
}

/// A command with a name for messages.
struct Named {
    name: String,
    command: Command,
}

impl Named {
    fn arg_output(mut self) -> Result<std::process::Output, String> {
        self.command.stdin(Stdio::null()).output().map_err(|fault| format!("{}: {fault}", self.name))
    }
}

impl Runner {
    fn for_this_machine() -> Result<Self, String> {
        let id = |words: &[&str]| Command::new("id").args(words).stderr(Stdio::null()).output();
        let own = id(&["-u"]).map_err(|fault| format!("id: {fault}"))?;
        if String::from_utf8_lossy(&own.stdout).trim() != "0" {
            return Ok(Self::Self_);
        }
        let user = ["postgres", "nobody"]
            .into_iter()
            .find(|user| id(&["-u", user]).is_ok_and(|output| output.status.success()))
            .ok_or("PostgreSQL refuses to run as root, and there is no user `postgres` or `nobody`")?;
        let by = ["runuser", "su"]
            .into_iter()
            .find_map(|tool| on_path(tool, std::env::var_os("PATH").as_deref()))
            .ok_or("PostgreSQL refuses to run as root, and neither runuser nor su is here")?;
        Ok(Self::Other { user: user.to_owned(), by })
    }

    fn command(&self, program: &Path, words: &[&str], folder: &Path) -> Named {
        let name = program.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let mut command = match self {
            Self::Self_ => {
                let mut command = Command::new(program);
                command.args(words);
                command
            }
            Self::Other { user, by } if by.ends_with("runuser") => {
                let mut command = Command::new(by);
                command.args(["-u", user, "--"]).arg(program).args(words);
                command
            }
            Self::Other { user, by } => {
                let line: Vec<String> = std::iter::once(program.display().to_string().as_str())
                    .chain(words.iter().copied())
                    .map(quoted)
                    .collect();
                let mut command = Command::new(by);
                command.args(["-s", "/bin/sh", user, "-c", &format!("exec {}", line.join(" "))]);
                command
            }
        };
        command.current_dir(folder);
        Named { name, command }
    }

    /// Hands a folder over to the user the server runs as.
    fn own(&self, folder: &Path) -> Result<(), String> {
        let Self::Other { user, .. } = self else { return Ok(()) };
        let status = Command::new("chown")
            .arg(user)
            .arg(folder)
            .status()
            .map_err(|fault| format!("chown: {fault}"))?;
        if status.success() { Ok(()) } else { Err(format!("chown {user} {}: {status}", folder.display())) }
    }
}

/// A word a shell takes as it is.
fn quoted(word: &str) -> String {
    format!("'{}'", word.replace('\'', r"'\''"))
}

/// The folder that holds `initdb`, `postgres` and `pg_ctl`.
fn find_tools() -> Option<PathBuf> {
    let complete =
        |folder: &Path| ["initdb", "postgres", "pg_ctl"].iter().all(|tool| folder.join(tool).is_file());
    // A link on the path may stand alone; the server's programs are beside the file it points to.
    let linked = on_path("initdb", std::env::var_os("PATH").as_deref())
        .and_then(|found| found.canonicalize().ok())
        .and_then(|found| found.parent().map(Path::to_owned));
    linked.filter(|folder| complete(folder)).or_else(|| {
        let mut versions: Vec<PathBuf> = fs::read_dir("/usr/lib/postgresql")
            .into_iter()
            .flatten()
            .filter_map(|entry| entry.ok().map(|entry| entry.path().join("bin")))
            .filter(|folder| complete(folder))
            .collect();
        versions.sort_by_key(|folder| version_of(folder));
        versions.pop()
    })
}

/// The number in `/usr/lib/postgresql/15/bin`.
fn version_of(folder: &Path) -> u32 {
    let name = folder.parent().and_then(Path::file_name).unwrap_or_default();
    name.to_string_lossy().parse().unwrap_or_default()
}

/// The first file of that name in the folders of a search path.
pub fn on_path(tool: &str, path: Option<&std::ffi::OsStr>) -> Option<PathBuf> {
    std::env::split_paths(path?).map(|folder| folder.join(tool)).find(|file| file.is_file())
}

/// A port nobody listens on at this moment.
pub fn free_port() -> Result<u16, String> {
    let listener =
        TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).map_err(|fault| format!("no free port: {fault}"))?;
    Ok(listener.local_addr().map_err(|fault| format!("no free port: {fault}"))?.port())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A server that gives one prepared answer to whoever connects.
    fn check_greeting(answer: &'static [u8], expected: Result<(), &str>) {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).unwrap();
        let address = listener.local_addr().unwrap();
        let server = std::thread::spawn(move || {
            let (mut stream, _) = listener.accept().unwrap();
            let mut hello = [0; 64];
            let length = stream.read(&mut hello).unwrap();
            stream.write_all(answer).unwrap();
            hello[..length].to_vec()
        });
        assert_eq!(greet(address, "me", "test"), expected.map_err(str::to_owned));
        // Length, protocol 3.0, then names and values ended by noughts.
        assert_eq!(server.join().unwrap(), b"\0\0\0\x1f\0\x03\0\0user\0me\0database\0test\0\0");
    }

    #[test]
    fn a_server_that_lets_us_in_is_ready_after_its_parameters() {
        check_greeting(b"R\0\0\0\x08\0\0\0\0S\0\0\0\x08a\0b\0Z\0\0\0\x05I", Ok(()));
    }

    #[test]
    fn a_server_that_does_not_is_quoted() {
        check_greeting(b"R\0\0\0\x08\0\0\0\x03", Err("it asks for a password"));
        check_greeting(b"R\0\0\0\x08\0\0\0\0E\0\0\0\x1cSFATAL\0Mno such thing\0\0\0", Err("no such thing"));
        check_greeting(b"HTTP/1.1 400 Bad Request\r\n\r\n", Err("it does not talk as PostgreSQL does"));
    }

    #[test]
    fn a_closed_port_is_no_server() {
        let port = free_port().unwrap();
        assert!(greet(SocketAddr::from((Ipv4Addr::LOCALHOST, port)), "me", "test").is_err());
    }

    #[test]
    fn a_server_started_for_the_occasion_answers_and_leaves_nothing_behind() {
        if find_tools().is_none() || Runner::for_this_machine().is_err() {
            // Nothing to start here; that this is said loudly is the test command's business.
            assert!(Throwaway::start().is_err());
            return;
        }
        let server = Throwaway::start().unwrap();
        let address = server.address.strip_prefix("postgres://postgres@").unwrap();
        let address: SocketAddr = address.strip_suffix("/postgres").unwrap().parse().unwrap();
        assert_eq!(greet(address, "postgres", "postgres"), Ok(()));
        assert!(greet(address, "postgres", "no_such_database").unwrap_err().contains("no_such_database"));
        let folder = server.folder.clone();
        drop(server);
        assert!(greet(address, "postgres", "postgres").is_err());
        assert!(!folder.exists());
    }

    #[test]
    fn words_survive_a_shell() {
        assert_eq!(quoted("it's $HOME"), r"'it'\''s $HOME'");
        let by = Runner::Other { user: "postgres".to_owned(), by: PathBuf::from("/usr/bin/su") };
        let named =
            by.command(Path::new("/opt/pg/initdb"), &["-c", "unix_socket_directories="], Path::new("/"));
        let words: Vec<_> =
            named.command.get_args().map(|word| word.to_string_lossy().into_owned()).collect();
        assert_eq!(words.last().unwrap(), "exec '/opt/pg/initdb' '-c' 'unix_socket_directories='");
    }

    #[test]
    fn the_newest_version_is_taken_by_number() {
        assert!(
            version_of(Path::new("/usr/lib/postgresql/15/bin"))
                > version_of(Path::new("/usr/lib/postgresql/9/bin"))
        );
    }

    #[test]
    fn a_search_path_is_walked_in_order() {
        assert!(on_path("sh", Some("/nowhere:/bin".as_ref())).is_some_and(|found| found.ends_with("bin/sh")));
        assert_eq!(on_path("sh", None), None);
    }
}
