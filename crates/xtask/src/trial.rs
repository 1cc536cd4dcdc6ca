//! The binary tried out as an installation would run it: with the sample settings, asked whether it is ready, and told
//! to stop.

use crate::binary;
use crate::postgres::free_port;
use crate::settings::Sample;
use crate::workspace::read;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

/// How long the server may take to be ready, and to stop.
const PATIENCE: Duration = Duration::from_secs(30);

/// A server with its output in a file; ended when dropped, however the trial went.
struct Server {
    child: Child,
    log: PathBuf,
}

impl Server {
    fn start(mut command: Command, log: PathBuf) -> Result<Self, String> {
        let out = fs::File::create(&log).map_err(|fault| format!("{}: {fault}", log.display()))?;
        let errors = out.try_clone().map_err(|fault| format!("{}: {fault}", log.display()))?;
        let child = command.stdout(out).stderr(errors).spawn();
        Ok(Self { child: child.map_err(|fault| format!("stillroom serve: {fault}"))?, log })
    }

    fn ended(&mut self) -> Result<Option<ExitStatus>, String> {
        self.child.try_wait().map_err(|fault| format!("stillroom serve: {fault}"))
    }

    /// Waits for its end; none when it goes on past all patience.
    fn wait(&mut self) -> Result<Option<ExitStatus>, String> {
        let begun = Instant::now();
        loop {
            let ended = self.ended()?;
            if ended.is_some() || begun.elapsed() > PATIENCE {
                return Ok(ended);
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    fn said(&self) -> String {
        read(&self.log).unwrap_or_default()
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended by itself, which is what is hoped for.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Starts the binary with the sample settings, the place of the database and the port alone being others.
pub fn start_and_stop(
    ready: &Path,
    sample: &Sample,
    stillroom: &Path,
    scratch: &Path,
) -> Result<String, String> {
    let port = free_port()?;
    let database = format!("sqlite://{}", scratch.join("stillroom.db").display());
    let with_settings = |words: &[&str]| {
        let mut command = binary::without_settings(stillroom);
        command.args(words).current_dir(scratch).envs(&sample.set).stdin(Stdio::null());
        command.env("STILLROOM_DATABASE", &database).env("STILLROOM_LISTEN", format!("127.0.0.1:{port}"));
        command
    };
    quiet(&mut with_settings(&["migrate"])).map_err(|said| format!("stillroom migrate: {said}"))?;

    let mut too_early = Server::start(with_settings(&["serve"]), scratch.join("too-early.log"))?;
    match too_early.wait()?.map(|status| status.code()) {
        // The unit counts on it: these are not tried again.
        Some(Some(1 | 2)) => {}
        Some(_) => return Err(format!("it ends oddly before anybody has a token:\n{}", too_early.said())),
        None => return Err("it serves before anybody was given a token".to_owned()),
    }
    quiet(&mut with_settings(&["token", "create", "--name", "check", "--may", "look"]))
        .map_err(|said| format!("stillroom token create: {said}"))?;

    let mut server = Server::start(with_settings(&["serve"]), scratch.join("serve.log"))?;
    let begun = Instant::now();
    while !ask_ready(ready, port)? {
        if server.ended()?.is_some() || begun.elapsed() > PATIENCE {
            return Err(format!("it does not become ready:\n{}", server.said()));
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    let ready_after = begun.elapsed().as_millis();

    let asked = Instant::now();
    quiet(Command::new("kill").args(["-TERM", &server.child.id().to_string()]))?;
    match server.wait()? {
        Some(status) if status.success() => Ok(format!(
            "ready after {ready_after} ms, stopped within {} ms of being asked",
            asked.elapsed().as_millis()
        )),
        Some(status) => Err(format!("asked to stop, it ended with {status}:\n{}", server.said())),
        None => Err("it does not stop when asked to".to_owned()),
    }
}

/// Runs the script that asks a server on this port whether it is ready.
pub fn ask_ready(script: &Path, port: u16) -> Result<bool, String> {
    let status = binary::without_settings(script)
        .env("STILLROOM_LISTEN", format!("0.0.0.0:{port}"))
        .stdin(Stdio::null())
        .stderr(Stdio::null())
        .status();
    Ok(status.map_err(|fault| format!("{}: {fault}", script.display()))?.success())
}

/// Runs a tool that is to find nothing wrong; its words otherwise.
pub fn quiet(command: &mut Command) -> Result<(), String> {
    let output = command.stdin(Stdio::null()).output().map_err(|fault| fault.to_string())?;
    let said = [output.stdout, output.stderr].concat();
    let said = String::from_utf8_lossy(&said).trim().to_owned();
    if output.status.success() {
        Ok(())
    } else {
        Err(if said.is_empty() { output.status.to_string() } else { said })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A stand-in for the binary: a shell script that behaves as told.
    fn check(serve: &str, expected: Result<&str, &str>) {
        use std::os::unix::fs::PermissionsExt;
        static NUMBER: std::sync::atomic::AtomicU32 = std::sync::atomic::AtomicU32::new(0);
        let number = NUMBER.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        let scratch = std::env::temp_dir().join(format!("stillroom-trial-{}-{number}", std::process::id()));
        fs::create_dir(&scratch).unwrap();
        let script = |name: &str, text: &str| {
            let path = scratch.join(name);
            fs::write(&path, format!("#!/bin/sh\n{text}\n")).unwrap();
            fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
            path
        };
        let stand_in =
            script("stand-in", &format!("case $1 in token) touch token ;; serve) {serve} ;; esac"));
        let ready = script("ready", &format!("test -f {}/up", scratch.display()));
        let said = start_and_stop(&ready, &Sample::default(), &stand_in, &scratch);
        fs::remove_dir_all(&scratch).unwrap();
        match expected {
            Ok(part) => assert!(said.as_ref().is_ok_and(|said| said.contains(part)), "{said:?}"),
            Err(part) => assert!(said.as_ref().is_err_and(|said| said.contains(part)), "{said:?}"),
        }
    }

    const REFUSES: &str = "test -f token || exit 2;";

    #[test]
    fn a_server_that_behaves_passes() {
        check(
            &format!("{REFUSES} trap 'exit 0' TERM; touch up; while true; do sleep 0.05; done"),
            Ok("ready after"),
        );
    }

    #[test]
    fn a_server_that_does_not_is_found_out() {
        check("exit 3", Err("ends oddly"));
        check(&format!("{REFUSES} echo broken; exit 3"), Err("broken"));
        check(&format!("{REFUSES} touch up; while true; do sleep 0.05; done"), Err("asked to stop"));
    }
}
