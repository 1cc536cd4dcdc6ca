//! The container file, as far as it can be judged without building it.

use std::path::Path;

/// An instruction with its arguments, continued lines joined.
#[derive(Debug, PartialEq, Eq)]
struct Instruction {
    line: usize,
    word: String,
    rest: String,
}

/// Looks the text over; `root` is the folder it is built from. The error lists every problem.
pub fn check(text: &str, root: &Path) -> Result<String, String> {
    let instructions = instructions(text);
    let problems = problems_of(&instructions, root);
    if problems.is_empty() {
        Ok(format!("{} instructions: stages, sources, user and start look right", instructions.len()))
    } else {
        Err(problems.join("\n      "))
    }
}

fn instructions(text: &str) -> Vec<Instruction> {
    let mut found: Vec<Instruction> = Vec::new();
    let mut continued = false;
    for (at, line) in text.lines().map(str::trim).enumerate() {
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        let (body, continues) = line.strip_suffix('\\').map_or((line, false), |body| (body.trim_end(), true));
        if let Some(last) = found.last_mut().filter(|_| continued) {
            last.rest.push(' ');
            last.rest.push_str(body);
        } else {
            let (word, rest) = body.split_once(' ').unwrap_or((body, ""));
            let (word, rest) = (word.to_ascii_uppercase(), rest.trim().to_owned());
            found.push(Instruction { line: at + 1, word, rest });
        }
        continued = continues;
    }
    found
}

fn problems_of(instructions: &[Instruction], root: &Path) -> Vec<String> {
    let mut problems = Vec::new();
    let mut stages: Vec<String> = Vec::new();
    let mut last_stage: Vec<&Instruction> = Vec::new();
    for instruction in instructions {
        let at = instruction.line;
        match instruction.word.as_str() {
            "FROM" => {
                last_stage.clear();
                let mut words = instruction.rest.split_whitespace();
                let image = words.next().unwrap_or_default();
                if !stages.iter().any(|stage| stage == image) {
                    match image.rsplit_once(':') {
                        None => problems.push(format!("line {at}: {image} has no tag")),
                        Some((_, "latest")) => {
                            problems.push(format!("line {at}: {image} changes under our feet"));
                        }
                        Some(_) => {}
                    }
                }
                stages.push(words.nth(1).unwrap_or_default().to_owned());
            }
            "COPY" => {
                let mut words: Vec<&str> = instruction.rest.split_whitespace().collect();
                words.pop();
                match words.iter().find_map(|word| word.strip_prefix("--from=")) {
                    Some(stage) if !stages.iter().any(|known| known == stage) => {
                        problems.push(format!("line {at}: no stage is called {stage}"));
                    }
                    Some(_) => {}
                    None => {
                        for source in words.iter().filter(|word| !word.starts_with("--")) {
                            if !root.join(source).exists() {
                                problems.push(format!("line {at}: there is no {source} to copy"));
                            }
                        }
                    }
                }
            }
            _ => {}
        }
        last_stage.push(instruction);
    }
    let last = |word: &str| last_stage.iter().rev().find(|instruction| instruction.word == word);
    match last("USER") {
        None => problems.push("the last stage has no USER: it would run as root".to_owned()),
        Some(user) if ["root", "0"].contains(&user.rest.split(':').next().unwrap_or_default()) => {
            problems.push(format!("line {}: runs as root", user.line));
        }
        Some(_) => {}
    }
    match last("ENTRYPOINT") {
        None => problems.push("the last stage has no ENTRYPOINT".to_owned()),
        // A shell in between would not pass on the signal to stop.
        Some(entry) if !entry.rest.starts_with('[') => {
            problems.push(format!("line {}: ENTRYPOINT starts a shell first", entry.line));
        }
        Some(_) => {}
    }
    if last("HEALTHCHECK").is_none() {
        problems.push("the last stage has no HEALTHCHECK".to_owned());
    }
    problems
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check_text(text: &str, expected: &[&str]) {
        assert_eq!(problems_of(&instructions(text), Path::new(env!("CARGO_MANIFEST_DIR"))), expected);
    }

    #[test]
    fn a_sound_file_passes() {
        check_text(
            "# Build.\nFROM rust:1 AS build\nCOPY . .\nRUN one && \\\n    # why\n    two\n\
             FROM debian:12\nCOPY --from=build /a /b\nCOPY src/main.rs Cargo.toml /c/\nUSER 10001:10001\n\
             HEALTHCHECK CMD [\"x\"]\nENTRYPOINT [\"/b\"]\n",
            &[],
        );
    }

    #[test]
    fn continued_lines_are_one_instruction() {
        let found = instructions("RUN one && \\\n    # why\n    two\nUSER a\n");
        assert_eq!(found.len(), 2);
        assert_eq!(found[0].rest, "one && two");
        assert_eq!(found[1].line, 4);
    }

    #[test]
    fn each_mistake_is_named() {
        check_text(
            "FROM rust AS build\nFROM debian:latest\nCOPY --from=bild /a /b\nCOPY nothing-here /c\n\
             USER root\nENTRYPOINT /b serve\n",
            &[
                "line 1: rust has no tag",
                "line 2: debian:latest changes under our feet",
                "line 3: no stage is called bild",
                "line 4: there is no nothing-here to copy",
                "line 5: runs as root",
                "line 6: ENTRYPOINT starts a shell first",
                "the last stage has no HEALTHCHECK",
            ],
        );
    }

    #[test]
    fn the_user_of_an_earlier_stage_does_not_count() {
        check_text(
            "FROM rust:1 AS build\nUSER a\nFROM debian:12\nHEALTHCHECK CMD a\nENTRYPOINT [\"/b\"]\n",
            &["the last stage has no USER: it would run as root"],
        );
    }
}
