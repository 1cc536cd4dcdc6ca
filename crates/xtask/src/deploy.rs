//! The files under `deploy/`: do they agree with the binary, and with the tools that will read them?
//!
//! What this machine cannot judge (no container engine, no service manager) is said to be skipped.

use crate::binary;
use crate::container;
use crate::postgres::{free_port, on_path};
use crate::report::{Report, Verdict};
use crate::settings::{Sample, commands_in, named_in};
use crate::trial::{ask_ready, quiet, start_and_stop};
use crate::workspace::{Workspace, read};
use std::collections::BTreeSet;
use std::fs;
use std::io::{Read, Write};
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

/// The most exposure the unit may show, in tenths, as `systemd-analyze security` counts it (0 is none, 100 all).
const EXPOSURE_MAX: &str = "20";

/// Runs every check; false when one failed.
pub fn run() -> Result<bool, String> {
    let workspace = Workspace::load()?;
    let deploy = workspace.root.join("deploy");
    let sample = Sample::read(&read(&deploy.join("stillroom.env"))?);
    let stillroom = binary::path(&workspace);
    let scratch = Scratch::new()?;

    let mut report = Report::default();
    report
        .step("container file", || container::check(&read(&deploy.join("Containerfile"))?, &workspace.root));
    report.verdict("compose file", || compose(&deploy, &scratch.0));
    report.step("ready script", || ready_script(&deploy.join("ready")));
    if report.step("build", || binary::build_all(&workspace)) {
        report.step("settings", || settings(&deploy, &sample, &stillroom));
        report.verdict("service unit", || service_unit(&deploy, &stillroom, &scratch.0));
        report.step("start and stop", || {
            start_and_stop(&deploy.join("ready"), &sample, &stillroom, &scratch.0)
        });
    }
    Ok(report.close())
}

/// A temporary folder, removed at the end.
struct Scratch(PathBuf);

impl Scratch {
    fn new() -> Result<Self, String> {
        let folder = std::env::temp_dir().join(format!("stillroom-deploy-{}", std::process::id()));
        fs::create_dir(&folder).map_err(|fault| format!("{}: {fault}", folder.display()))?;
        Ok(Self(folder))
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        if let Err(fault) = fs::remove_dir_all(&self.0) {
            eprintln!("{} could not be removed: {fault}", self.0.display());
        }
    }
}

fn tool(name: &str) -> Option<PathBuf> {
    on_path(name, std::env::var_os("PATH").as_deref())
}

/// Every setting of the help is explained in the sample file, and nothing else is.
fn settings(deploy: &Path, sample: &Sample, stillroom: &Path) -> Result<String, String> {
    let mut of_help = BTreeSet::new();
    let mut waiting: Vec<Vec<String>> = vec![Vec::new()];
    while let Some(command) = waiting.pop() {
        let words: Vec<&str> = command.iter().map(String::as_str).chain(["--help"]).collect();
        let help = binary::output_of(stillroom, &words)?;
        of_help.extend(named_in(&help));
        waiting.extend(commands_in(&help).into_iter().map(|name| [command.as_slice(), &[name]].concat()));
    }
    let of_sample = sample.names();
    let mut problems = sample.problems.clone();
    for name in of_help.difference(&of_sample) {
        problems.push(format!("{name} stands in the help, but not in stillroom.env"));
    }
    for name in of_sample.difference(&of_help) {
        problems.push(format!("{name} stands in stillroom.env, but in no help of the binary"));
    }
    for file in ["Containerfile", "compose.yaml", "stillroom.service", "README.md", "ready"] {
        for name in named_in(&read(&deploy.join(file))?).difference(&of_help) {
            problems.push(format!("{name} stands in {file}, but in no help of the binary"));
        }
    }
    if problems.is_empty() {
        Ok(format!("{} settings, each explained", of_help.len()))
    } else {
        Err(problems.join("\n      "))
    }
}

/// The unit as the service manager reads it, with the paths of this machine put in.
fn service_unit(deploy: &Path, stillroom: &Path, scratch: &Path) -> Verdict {
    let Some(analyze) = tool("systemd-analyze") else {
        return Verdict::Skipped("no systemd-analyze here to read the unit with".to_owned());
    };
    let judge = || -> Result<String, String> {
        let unit = read(&deploy.join("stillroom.service"))?;
        let installed = "/usr/local/bin/stillroom";
        if !unit.contains(installed) {
            return Err(format!("stillroom.service does not start {installed}"));
        }
        let path = scratch.join("stillroom.service");
        fs::write(&path, unit.replace(installed, &stillroom.display().to_string()))
            .map_err(|fault| format!("{}: {fault}", path.display()))?;
        let output = Command::new(&analyze)
            .args(["verify", "--man=no", "--recursive-errors=no"])
            .arg(&path)
            .stdin(Stdio::null())
            .output()
            .map_err(|fault| format!("systemd-analyze: {fault}"))?;
        // It warns about unknown words without failing; a warning counts here.
        let said = String::from_utf8_lossy(&output.stderr);
        let ours: Vec<&str> = said.lines().filter(|line| line.contains("stillroom.service")).collect();
        if !output.status.success() || !ours.is_empty() {
            return Err(format!("systemd-analyze verify: {} {}", output.status, ours.join("\n      ")));
        }
        let threshold = format!("--threshold={EXPOSURE_MAX}");
        quiet(
            Command::new(&analyze).args(["security", "--offline=true", "--no-pager", &threshold]).arg(&path),
        )
        .map_err(|said| {
            format!("systemd-analyze security: more exposed than {EXPOSURE_MAX} of 100\n{said}")
        })?;
        Ok(format!("verified; exposed less than {EXPOSURE_MAX} of 100"))
    };
    judge().map_or_else(Verdict::Failed, Verdict::Passed)
}

/// The compose file as the tool reads it.
fn compose(deploy: &Path, scratch: &Path) -> Verdict {
    let plugin =
        tool("docker").filter(|docker| quiet(Command::new(docker).args(["compose", "version"])).is_ok());
    let mut command = match (plugin, tool("docker-compose")) {
        (Some(docker), _) => {
            let mut command = Command::new(docker);
            command.arg("compose");
            command
        }
        (None, Some(compose)) => Command::new(compose),
        (None, None) => {
            return Verdict::Skipped("neither `docker compose` nor docker-compose is here".to_owned());
        }
    };
    // Not the password somebody who works here may have written into deploy/.env.
    let empty = scratch.join("empty.env");
    if let Err(fault) = fs::write(&empty, "") {
        return Verdict::Failed(format!("{}: {fault}", empty.display()));
    }
    command.arg("--env-file").arg(&empty);
    command.arg("--file").arg(deploy.join("compose.yaml")).args(["config", "--quiet"]);
    let without = quiet(command.env_remove("POSTGRES_PASSWORD"));
    let with = quiet(command.env("POSTGRES_PASSWORD", "for-the-check"));
    match (without, with) {
        (_, Err(said)) => Verdict::Failed(said),
        (Ok(()), _) => {
            Verdict::Failed("compose.yaml starts a database without asking for a password".to_owned())
        }
        (Err(_), Ok(())) => {
            Verdict::Passed("read by the tool; asks for a password where none is given".to_owned())
        }
    }
}

/// The script that asks a server whether it is ready, tried on servers that are, are not, and are not there.
fn ready_script(script: &Path) -> Result<String, String> {
    let port = free_port()?;
    if ask_ready(script, port)? {
        return Err("says ready where nobody listens".to_owned());
    }
    for (status, expected) in [("200 OK", true), ("503 Service Unavailable", false)] {
        let listener =
            TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).map_err(|fault| format!("no free port: {fault}"))?;
        let port = listener.local_addr().map_err(|fault| format!("no free port: {fault}"))?.port();
        let server = std::thread::spawn(move || answer_once(&listener, status));
        let ready = ask_ready(script, port)?;
        // A script that never asked would leave the pretended server waiting.
        drop(TcpStream::connect((Ipv4Addr::LOCALHOST, port)));
        let asked = server.join().map_err(|_| "the pretended server fell over".to_owned())??;
        if !asked.starts_with("GET /readyz HTTP/1.1\r\n") {
            return Err(format!("asks `{}`", asked.lines().next().unwrap_or_default()));
        }
        if ready != expected {
            return Err(format!("takes {status} for {}", if ready { "ready" } else { "not ready" }));
        }
    }
    Ok("tells ready from not ready and not there".to_owned())
}

fn answer_once(listener: &TcpListener, status: &str) -> Result<String, String> {
    let said = |fault: std::io::Error| fault.to_string();
    let (mut stream, _) = listener.accept().map_err(said)?;
    stream.set_read_timeout(Some(Duration::from_secs(5))).map_err(said)?;
    let mut asked = Vec::new();
    let mut part = [0_u8; 512];
    while !asked.ends_with(b"\r\n\r\n") {
        let length = stream.read(&mut part).map_err(said)?;
        if length == 0 {
            break;
        }
        asked.extend(part.iter().take(length));
    }
    stream.write_all(format!("HTTP/1.1 {status}\r\nContent-Length: 0\r\n\r\n").as_bytes()).map_err(said)?;
    Ok(String::from_utf8_lossy(&asked).into_owned())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    fn deploy() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../../deploy")
    }

    #[test]
    fn the_sample_settings_are_explained() {
        let sample = Sample::read(&read(&deploy().join("stillroom.env")).unwrap());
        assert_eq!(sample.problems, Vec::<String>::new());
        assert!(sample.names().contains("STILLROOM_DATABASE"));
    }

    #[test]
    fn the_container_file_is_sound() {
        let root = deploy().join("..");
        assert_eq!(container::check(&read(&deploy().join("Containerfile")).unwrap(), &root).err(), None);
    }

    #[test]
    fn the_ready_script_tells_the_truth() {
        assert_eq!(ready_script(&deploy().join("ready")).err(), None);
    }
}
