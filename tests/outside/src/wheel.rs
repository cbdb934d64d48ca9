//! The wheel of `python/`, built and installed in a fresh environment: the rows of the command, documents, errors, threads, and the
//! examples of its README.

#![cfg(unix)]
#![expect(clippy::print_stdout, reason = "figures for whoever reads the test's output")]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;
use std::time::Instant;

use crate::batch_folder::{folder_of, works};
use crate::program::{jogaudit, top};

/// Runs a program to its end and gives what it printed.
pub(crate) fn run(command: &mut Command) -> String {
    let output = command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"));
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    assert!(output.status.success(), "{command:?}\n{}{}", text(&output.stdout), text(&output.stderr));
    text(&output.stdout)
}

/// The interpreter of the reference libraries.
pub(crate) fn reference() -> PathBuf {
    PathBuf::from(std::env::var_os("JOGAUDIT_PYTHON").expect("JOGAUDIT_PYTHON names an interpreter"))
}

/// The interpreter of a fresh environment with the wheel, built as `cargo build` builds, beside the reference libraries. Made once
/// for all tests.
pub(crate) fn python() -> &'static Path {
    static PYTHON: OnceLock<PathBuf> = OnceLock::new();
    PYTHON.get_or_init(|| {
        let begun = Instant::now();
        let target = top().join("target/python").canonicalize().unwrap_or_else(|_| {
            std::fs::create_dir_all(top().join("target/python")).unwrap();
            top().join("target/python").canonicalize().unwrap()
        });
        let (wheels, fresh) = (target.join("wheels"), target.join("fresh"));
        for old in [&wheels, &fresh] {
            if old.exists() {
                std::fs::remove_dir_all(old).unwrap();
            }
        }
        run(Command::new(reference().with_file_name("maturin"))
            .args(["build", "--profile", "dev", "--auditwheel", "skip", "--manifest-path"])
            .arg(top().join("python/Cargo.toml"))
            .arg("--target-dir")
            .arg(&target)
            .arg("--out")
            .arg(&wheels));
        run(Command::new(reference()).args(["-m", "venv"]).arg(&fresh));
        let wheel = std::fs::read_dir(&wheels).unwrap().next().unwrap().unwrap().path();
        let python = fresh.join("bin/python");
        let pip = ["-m", "pip", "install", "--quiet", "--no-index", "--disable-pip-version-check"];
        run(Command::new(&python).args(pip).arg(&wheel));
        // The wheel needs nothing; the check compares with other libraries.
        let site = |python: &Path| {
            let asked = ["-c", "import sysconfig; print(sysconfig.get_path('purelib'), end='')"];
            PathBuf::from(run(Command::new(python).args(asked)))
        };
        run(Command::new(&python).args(["-c", "import jogaudit"]));
        std::fs::write(site(&python).join("reference.pth"), site(&reference()).to_str().unwrap()).unwrap();
        println!("the wheel is built and installed after {:.0} s", begun.elapsed().as_secs_f64());
        python
    })
}

fn check(arguments: &[&Path]) -> String {
    let said = run(Command::new(python()).arg(top().join("tests/reference/python_check.py")).args(arguments));
    print!("{said}");
    said
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn the_wheel_gives_the_rows_of_the_command() {
    let folder = folder_of(1000);
    works(folder.path(), "recordings --roster roster.csv --out t.parquet --bouts b.parquet --reps r.parquet");
    let said = check(&[Path::new("rows"), folder.path()]);
    assert!(said.starts_with("1000 recordings, "), "{said}");
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn tables_documents_errors_and_threads_of_the_wheel_are_as_promised() {
    let folder = folder_of(60);
    check(&[Path::new("uses"), folder.path(), &jogaudit()]);
}

#[test]
#[ignore = "needs Python, see tests/full"]
fn the_types_and_examples_of_the_wheel_are_true() {
    let package = top().join("python");
    let said = check(&[Path::new("stubs"), &package.join("package/jogaudit/_native.pyi")]);
    assert!(said.contains(&format!("version {}\n", env!("CARGO_PKG_VERSION"))), "{said}");
    check(&[Path::new("document"), &package.join("README.md").canonicalize().unwrap()]);
}
