//! The program under test.
#![allow(dead_code)] // each test uses its part

use std::path::PathBuf;

/// Where the program is. Cargo says it to the tests of the package that it belongs to. Those of `tests/outside` belong to
/// another: there it is the one that `JOGAUDIT` names, else the one that `cargo build` put two folders above the test.
pub(crate) fn jogaudit() -> PathBuf {
    let beside_us = || {
        let test = std::env::current_exe().expect("a test knows where it is");
        test.parent().and_then(|deps| deps.parent()).expect("a target folder").join("jogaudit")
    };
    let ours = option_env!("CARGO_BIN_EXE_jogaudit").map(PathBuf::from);
    let path = ours.or_else(|| std::env::var_os("JOGAUDIT").map(PathBuf::from)).unwrap_or_else(beside_us);
    assert!(path.is_file(), "no program at `{}`: run `cargo build`, or name one in JOGAUDIT", path.display());
    path
}

/// The top folder of the repository.
pub(crate) fn top() -> PathBuf {
    let package = PathBuf::from(env!("CARGO_MANIFEST_DIR"));
    if package.ends_with("tests/outside") { package.join("../..") } else { package }
}
