//! Finds the recorded files that published crates carry in their archives, where cargo keeps them. Nothing of them is
//! copied into this repository; they are told apart by their SHA-256.

use std::path::{Path, PathBuf};
use std::process::Command;

use sha2::{Digest, Sha256};

use crate::program::top;

/// A file of an archive.
pub(crate) struct ArchiveFile {
    pub(crate) path: PathBuf,
    /// First 16 hexadecimal digits of its SHA-256.
    pub(crate) id: String,
    pub(crate) bytes: Vec<u8>,
}

/// Every file of the crate `name` (a dev-dependency) whose name ends in `.extension`, ordered by id.
pub(crate) fn files(name: &str, extension: &str) -> Vec<ArchiveFile> {
    let mut found = Vec::new();
    collect(&crate_dir(name).join("tests"), extension, &mut found);
    found.sort_by(|a, b| a.id.cmp(&b.id));
    assert!(!found.is_empty(), "the archive of {name} holds no .{extension} file");
    found
}

/// Asks cargo where a package of the lock file lies.
fn crate_dir(name: &str) -> PathBuf {
    let manifest = top().join("Cargo.toml");
    let version = cargo(&["-vV"]);
    // Packages of other platforms were never downloaded.
    let host = version.lines().find_map(|line| line.strip_prefix("host: ")).expect("cargo names its host");
    let manifest = manifest.to_str().expect("a plain path");
    let common = ["metadata", "--format-version", "1", "--locked", "--offline"];
    let metadata = cargo(&[&common[..], &["--filter-platform", host, "--manifest-path", manifest]].concat());
    let metadata: serde_json::Value = serde_json::from_str(&metadata).expect("cargo writes JSON");
    let packages = metadata["packages"].as_array().expect("a list of packages");
    let package = packages.iter().find(|package| package["name"] == name).expect("a dev-dependency");
    let manifest = Path::new(package["manifest_path"].as_str().expect("a path"));
    manifest.parent().expect("a manifest lies in a folder").to_path_buf()
}

fn cargo(arguments: &[&str]) -> String {
    let output = Command::new(env!("CARGO")).args(arguments).output().expect("cargo runs");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).expect("UTF-8")
}

fn collect(dir: &Path, extension: &str, found: &mut Vec<ArchiveFile>) {
    for entry in std::fs::read_dir(dir).expect("the archive is unpacked") {
        let path = entry.expect("a readable folder").path();
        if path.is_dir() {
            collect(&path, extension, found);
        } else if path.extension().is_some_and(|found| found == extension) {
            let bytes = std::fs::read(&path).expect("a readable file");
            let digest: [u8; 32] = Sha256::digest(&bytes).into();
            let [a, b, c, d, e, f, g, h, ..] = digest;
            let id = format!("{:016x}", u64::from_be_bytes([a, b, c, d, e, f, g, h]));
            found.push(ArchiveFile { path, id, bytes });
        }
    }
}
