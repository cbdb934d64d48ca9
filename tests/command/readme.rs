//! The commands of the README and of `docs/examples.md` do what these show.
//!
//! A `console` block holds commands (`$ …`) and below each what it prints on both outputs. Those of a file run in one empty folder, in
//! order, after the first set-up command. `JOGAUDIT_REFRESH=1 cargo test --test command readme` writes what they print now.

#![cfg(unix)]

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::program::jogaudit;

const REFRESH: &str = "JOGAUDIT_REFRESH";

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

fn readme() -> String {
    std::fs::read_to_string(root().join("README.md")).expect("a README")
}

/// Runs one line of shell in a folder, with the command under test on the path, and gives both outputs as they come, with
/// plain line ends.
fn shell(folder: &Path, line: &str) -> String {
    let ours = jogaudit().parent().expect("a folder of programs").to_owned();
    let path = std::env::var_os("PATH").unwrap_or_default();
    let path =
        std::env::join_paths(std::iter::once(ours).chain(std::env::split_paths(&path))).expect("a path");
    let output = Command::new("sh")
        .args(["-c", &format!("exec 2>&1; {line}")])
        .current_dir(folder)
        .env("PATH", path)
        .output()
        .expect("a shell");
    String::from_utf8(output.stdout).expect("text").replace("\r\n", "\n")
}

/// The blocks of one language.
fn blocks(text: &str, language: &str) -> Vec<String> {
    let fence = format!("```{language}\n");
    text.split(&fence)
        .skip(1)
        .filter_map(|rest| rest.split_once("```\n").map(|(b, _)| b.to_owned()))
        .collect()
}

/// The text with every `console` block run again.
fn run_again(text: &str, folder: &Path) -> String {
    let mut fresh = String::new();
    let mut inside = false;
    for line in text.lines() {
        let at_fence = line.starts_with("```");
        inside = if at_fence { line == "```console" } else { inside };
        let command = line.strip_prefix("$ ").filter(|_| inside);
        if !inside || at_fence || command.is_some() {
            fresh.push_str(line);
            fresh.push('\n');
        }
        if let Some(command) = command {
            fresh.push_str(&shell(folder, command));
        }
    }
    fresh
}

/// Runs the commands of a file again in an empty folder, and gives its text and what the demo printed.
fn as_shown(file: &str) -> (String, String) {
    let path = root().join(file);
    let mut text = std::fs::read_to_string(&path).expect("a text");
    let folder = tempfile::tempdir().expect("a folder");
    let [setup] = blocks(&readme(), "sh").try_into().expect("one block of set-up commands");
    let demo =
        setup.lines().next().and_then(|line| line.strip_prefix("cargo run -- ")).expect("the demo first");
    let printed = shell(folder.path(), &format!("jogaudit {demo} 2>/dev/null"));
    let fresh = run_again(&text, folder.path());
    if std::env::var_os(REFRESH).is_some() {
        std::fs::write(&path, &fresh).expect("written");
        text.clone_from(&fresh);
    }
    let differs = text.lines().zip(fresh.lines()).position(|(was, is)| was != is);
    assert!(
        text == fresh,
        "{file} shows something else from line {:?} on; read the change, then refresh it with\n\n    \
         {REFRESH}=1 cargo test --test command readme\n\nnow:\n{fresh}",
        differs.map(|line| line + 1)
    );
    (text, printed)
}

#[test]
fn the_commands_print_what_the_readme_shows() {
    let (text, _) = as_shown("README.md");
    assert_eq!(blocks(&text, "console").len(), 3);
}

#[test]
fn the_commands_print_what_the_whole_reports_show() {
    let (text, printed) = as_shown("docs/examples.md");
    let check = printed.rfind("\nOverdone:").map_or("", |at| &printed[at + 1..]);
    assert!(
        check.len() > 500 && text.contains(check),
        "the demo ends with the check that docs/examples.md shows:\n{printed}"
    );
    assert!(blocks(&text, "console").len() >= 5);
}

#[test]
fn the_readme_is_short_and_begins_with_the_set_up() {
    let text = readme();
    let words = text.split_whitespace().count();
    assert!(words <= 1200, "{words} words");
    // A screen of a terminal has 24 lines or more.
    let last = text.lines().position(|line| line == "cargo test").expect("the test command");
    assert!(last < 24, "line {last}");
}

#[test]
fn the_test_command_is_the_one_that_must_pass() {
    let text = readme();
    let setup = blocks(&text, "sh").concat();
    let commands: Vec<&str> = setup.lines().collect();
    assert_eq!(commands, ["cargo run -- demo demo-case", "cargo test"]);
    let run = std::fs::read_to_string(root().join(".ci/run")).expect("a file");
    assert!(run.ends_with("\ncargo test\nbash tests/full\n"), "{run}");
    assert!(root().join("tests/full").is_file());
}

#[test]
fn the_links_lead_somewhere() {
    let text = readme();
    let links: Vec<&str> = text
        .split("](")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
        .filter(|l| !l.contains("://"))
        .collect();
    assert!(links.len() > 8);
    for link in links {
        assert!(root().join(link.split('#').next().unwrap_or_default()).exists(), "{link}");
    }
}
