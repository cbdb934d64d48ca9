//! The house keeps its shape: stages import only what `docs/architecture.md` allows, and files stay readable.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// What each module of `src/` may import of ours, besides itself.
fn allowed() -> BTreeMap<&'static str, &'static [&'static str]> {
    const ALL: &[&str] = &[
        "agree",
        "audit",
        "batch",
        "clean",
        "cli",
        "files",
        "gait",
        "geodesy",
        "notice",
        "page",
        "pipeline",
        "prescription",
        "read",
        "report",
        "review",
        "simulate",
        "units",
    ];
    /// What may use the library's stages only through the pipeline's types, and reads and writes files.
    const FILES: &[&str] =
        &["audit", "clean", "gait", "notice", "pipeline", "prescription", "read", "report", "review"];
    BTreeMap::from([
        ("units", &[][..]),
        ("notice", &[]),
        ("geodesy", &[]),
        ("read", &["units", "geodesy", "notice"]),
        ("clean", &["read", "units", "geodesy", "notice"]),
        ("gait", &["clean", "units", "notice"]),
        ("prescription", &["units", "notice"]),
        ("audit", &["gait", "clean", "prescription", "units", "notice"]),
        ("review", &["audit", "gait", "clean", "prescription", "units", "notice"]),
        ("report", &["agree", "audit", "gait", "clean", "prescription", "read", "review", "units", "notice"]),
        ("simulate", &["prescription", "gait", "read", "geodesy", "units", "notice"]),
        ("pipeline", &["audit", "clean", "gait", "prescription", "read", "review", "notice", "units"]),
        ("files", FILES),
        ("agree", &["gait", "notice"]),
        ("batch", ALL),
        ("page", ALL),
        ("cli", ALL),
        ("lib", ALL),
        ("main", ALL),
    ])
}

fn sources(dir: &Path, out: &mut Vec<PathBuf>) {
    let mut entries: Vec<PathBuf> = fs::read_dir(dir).unwrap().map(|e| e.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            sources(&path, out);
        } else if path.extension().is_some_and(|e| e == "rs") {
            out.push(path);
        }
    }
}

fn all_sources() -> Vec<(String, PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut paths = Vec::new();
    sources(&root, &mut paths);
    assert!(paths.len() > 20, "the sources were not found");
    paths
        .into_iter()
        .map(|path| {
            let inside = path.strip_prefix(&root).unwrap();
            let first = inside.components().next().unwrap().as_os_str().to_string_lossy().into_owned();
            let module = first.trim_end_matches(".rs").to_owned();
            let text = fs::read_to_string(&path).unwrap();
            (module, inside.to_path_buf(), text)
        })
        .collect()
}

/// Modules named after `crate::` in code (comments and test modules are left out).
fn imports(text: &str) -> Vec<String> {
    let code = text.split("#[cfg(test)]").next().unwrap_or_default();
    code.lines()
        .filter(|line| !line.trim_start().starts_with("//"))
        .flat_map(|line| line.split("crate::").skip(1))
        .map(|rest| rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect::<String>())
        .filter(|name| !name.is_empty())
        .collect()
}

#[test]
fn no_stage_imports_a_later_one() {
    let allowed = allowed();
    let mut wrong = Vec::new();
    for (module, path, text) in all_sources() {
        if path.file_name().is_some_and(|n| n == "tests.rs") {
            continue;
        }
        let may = allowed.get(module.as_str()).unwrap_or_else(|| panic!("`{module}` is not in the table"));
        for name in imports(&text) {
            if name != module && allowed.contains_key(name.as_str()) && !may.contains(&name.as_str()) {
                wrong.push(format!("{} imports {name}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "arrows that the table does not have:\n{}", wrong.join("\n"));
}

#[test]
fn the_check_sees_a_wrong_arrow() {
    assert_eq!(
        imports("use crate::audit::Audit;\n// crate::read\nlet x = crate::units::Metres;"),
        ["audit", "units"]
    );
}

#[test]
fn the_library_has_no_files_clock_or_environment() {
    let mut wrong = Vec::new();
    for (module, path, text) in all_sources() {
        if ["batch", "cli", "files", "main", "page"].contains(&module.as_str()) {
            continue;
        }
        let code = text.split("#[cfg(test)]").next().unwrap_or_default();
        for word in
            ["std::fs", "std::env::", "SystemTime::now", "Timestamp::now", "Zoned::now", "Instant::now"]
        {
            if path.file_name().is_none_or(|n| n != "tests.rs") && code.contains(word) {
                wrong.push(format!("{} uses {word}", path.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn files_stay_readable() {
    // A data table may be longer; none is yet.
    let long: Vec<String> = all_sources()
        .into_iter()
        .map(|(_, path, text)| (path, text.lines().count()))
        .filter(|(_, lines)| *lines > 650)
        .map(|(path, lines)| format!("{}: {lines} lines", path.display()))
        .collect();
    assert!(long.is_empty(), "{}", long.join("\n"));
}

#[test]
fn main_tells_the_story_in_forty_lines() {
    let main = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("src/main.rs")).unwrap();
    assert!(main.lines().count() <= 40);
}
