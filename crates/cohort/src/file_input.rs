//! A file of recordings that is to be tried.

use std::path::{Path, PathBuf};

use super::plans::Prescribed;

/// Endings of notes, tables and documents, our choice: what lies so named in a folder and is no recording is passed over.
const NO_RECORDINGS: [&str; 28] = [
    "csv", "db", "doc", "docx", "htm", "html", "ics", "ini", "ipynb", "jpeg", "jpg", "json", "log", "md",
    "ndjson", "odt", "ods", "parquet", "pdf", "png", "py", "r", "rtf", "svg", "toml", "tsv", "txt", "xls",
];

/// Whether a file is named as notes, tables and documents are.
pub(super) fn is_named_as_none(path: &Path) -> bool {
    let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
    NO_RECORDINGS.contains(&ending.as_str()) || ending == "xlsx"
}

/// A file of recordings.
pub(super) struct FileInput {
    pub(super) path: PathBuf,
    /// What it is held against, or the code of why there is nothing.
    pub(super) prescribed: Result<Prescribed, &'static str>,
    /// Whether it was found in a folder, where notes and tables lie, too; else it was named.
    pub(super) is_found: bool,
}
