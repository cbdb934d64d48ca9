//! What the documentation lists is what there is.

use std::path::{Path, PathBuf};

use crate::program::jogaudit;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

fn read(path: &Path) -> String {
    std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Every source file with its text, tests at the end of a file and files of tests left out.
fn sources(folder: &Path, into: &mut Vec<(PathBuf, String)>) {
    for entry in std::fs::read_dir(folder).expect("a folder of sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            if !path.ends_with("tests") {
                sources(&path, into);
            }
        } else if path.extension().is_some_and(|e| e == "rs") && !path.ends_with("tests.rs") {
            let text = read(&path);
            let code = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default().to_owned();
            into.push((path, code));
        }
    }
}

#[test]
fn the_notices_page_lists_the_codes_of_the_table() {
    let page = read(&root().join("docs/notices.md"));
    let first_cell = |line: &'_ str| -> Option<String> {
        line.strip_prefix("| `")?.split_once("` |").map(|(code, _)| code.to_owned())
    };
    let listed: Vec<String> = page.lines().filter_map(first_cell).collect();
    let codes: Vec<&str> =
        jogaudit_recording::notice::NoticeCode::ALL.iter().map(|code| code.word()).collect();
    assert_eq!(
        listed, codes,
        "docs/notices.md and the table in crates/recording/src/notice.rs, in one order"
    );
}

#[test]
fn the_notices_page_says_where_each_is_worded() {
    let page = read(&root().join("docs/notices.md"));
    let (_, list) = page.split_once("## Where each is worded").expect("the list");
    let ticked = |line: &str| line.split('`').skip(1).step_by(2).map(str::to_owned).collect::<Vec<String>>();
    let lines: Vec<Vec<String>> = list.lines().filter(|line| line.starts_with("- ")).map(ticked).collect();
    for code in jogaudit_recording::notice::NoticeCode::ALL {
        let files: Vec<&String> = lines
            .iter()
            .filter(|line| line[1..].iter().any(|c| c == code.word()))
            .map(|line| &line[0])
            .collect();
        assert!(!files.is_empty(), "{code:?} is in no line");
        for file in files {
            let made = format!("NoticeCode::{code:?}");
            assert!(read(&root().join(file)).contains(&made), "{file} does not make {code:?}");
        }
    }
}

/// What the command says to `--help`.
fn help(command: &[String]) -> String {
    let output = std::process::Command::new(jogaudit())
        .env("COLUMNS", "100")
        .args(command)
        .arg("--help")
        .output()
        .expect("the command runs");
    String::from_utf8(output.stdout).expect("text")
}

/// The names below `Commands:`.
fn commands(help: &str) -> Vec<String> {
    help.lines()
        .skip_while(|line| *line != "Commands:")
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .map(str::to_owned)
        .collect()
}

fn describe(command: &[String], into: &mut String) {
    let help = help(command);
    let name = [&["jogaudit".to_owned()], command].concat().join(" ");
    let text: Vec<&str> = help.trim_end().lines().map(str::trim_end).collect();
    into.extend(["\n## `", &name, "`\n\n```text\n", &text.join("\n"), "\n```\n"]);
    for below in commands(&help) {
        describe(&[command, &[below]].concat(), into);
    }
}

#[test]
fn the_command_reference_is_what_the_command_says() {
    let path = root().join("docs/command-reference.md");
    let mut reference = String::from(
        "# Command reference\n\nMade from `--help`. Exit codes: 0 done, whatever the outcome · 1 only with `--strict`: the \
         outcome is `overdone` ·\n2 could not (bad usage, unreadable input) · 70 a bug of ours. Results go to standard \
         output, notices and progress to\nstandard error. A closed pipe is no error.\n\n`jogaudit completions bash` prints what \
         that shell completes the command line by (elvish, fish, powershell and zsh too);\n`jogaudit man plan show | man -l -` \
         shows the page of the manual of a command.\n",
    );
    describe(&[], &mut reference);
    if std::env::var_os("JOGAUDIT_REFRESH").is_some() {
        std::fs::write(&path, &reference).expect("written");
    }
    assert!(
        std::fs::read_to_string(&path).is_ok_and(|page| page == reference),
        "docs/command-reference.md is out of date; refresh it with\n\n    JOGAUDIT_REFRESH=1 cargo test --test command docs\n"
    );
}

#[test]
fn the_columns_are_those_of_the_tables() {
    let path = root().join("docs/columns.md");
    let columns = jogaudit_cohort::columns_page();
    if std::env::var_os("JOGAUDIT_REFRESH").is_some() {
        std::fs::write(&path, &columns).expect("written");
    }
    assert!(
        std::fs::read_to_string(&path).is_ok_and(|page| page == columns),
        "docs/columns.md is out of date; refresh it with\n\n    JOGAUDIT_REFRESH=1 cargo test --test command docs\n"
    );
}

#[test]
fn every_test_file_has_its_origin_on_record() {
    let page = read(&root().join("testdata/README.md"));
    let mut count = 0;
    for folder in ["testdata", "testdata/malformed"] {
        for entry in std::fs::read_dir(root().join(folder)).expect("a folder") {
            let entry = entry.expect("an entry");
            let name = entry.file_name().to_string_lossy().into_owned();
            if entry.path().is_file() && name != "README.md" {
                assert!(
                    page.contains(&format!("| `{name}` |")),
                    "{folder}/{name} is not in testdata/README.md"
                );
                count += 1;
            }
        }
    }
    let rows = page.lines().filter(|line| line.starts_with("| `")).count();
    assert_eq!(rows, count, "testdata/README.md lists files that are gone");
}

#[test]
fn the_words_of_the_glossary_are_in_the_code() {
    let mut files = Vec::new();
    for folder in ["src", "crates"] {
        sources(&root().join(folder), &mut files);
    }
    let page = read(&root().join("docs/glossary.md"));
    let third_cells = page.lines().filter_map(|line| line.split('|').nth(3)?.trim().strip_prefix('`'));
    let paths: Vec<&str> =
        third_cells.filter_map(|cell| cell.split('`').next()).filter(|p| p.contains("::")).collect();
    assert!(paths.len() > 15);
    for path in paths {
        // The type, else the function or module that the path ends with.
        let (module, rest) = path.split_once("::").expect("a module");
        let is_type = |part: &&str| part.starts_with(char::is_uppercase);
        let name = rest.split("::").find(is_type).or(rest.split("::").last()).expect("a name");
        let is_there = files.iter().any(|(file, code)| {
            let inside = file.to_string_lossy().contains(&format!("src/{module}"));
            inside
                && ["struct", "enum", "fn", "mod"].into_iter().any(|kind| {
                    [' ', '<', '(', ';'].into_iter().any(|end| code.contains(&format!("{kind} {name}{end}")))
                })
        });
        assert!(is_there, "docs/glossary.md names `{path}`, which is not there");
    }
}

#[test]
fn the_citation_names_this_version() {
    let citation = std::fs::read_to_string(root().join("CITATION.cff")).expect("there");
    assert!(citation.contains(&format!("\nversion: {}\n", env!("CARGO_PKG_VERSION"))), "{citation}");
}
