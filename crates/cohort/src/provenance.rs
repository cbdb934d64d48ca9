//! What a table was made from: one JSON document for the paper's files.

use std::io::{self, BufWriter, Write};
use std::path::PathBuf;

use jogaudit_case::Failure;
use jogaudit_files::{self as files, Staged, could_not_write};

use super::columns::VERSION;
use super::opened::{Opened, failed};

/// Writes the document as the run goes on.
pub(super) struct Provenance<'w> {
    path: PathBuf,
    /// `None` for standard output.
    staged: Option<Staged>,
    to: BufWriter<Box<dyn Write + Send + 'w>>,
    inputs: u64,
    /// The file that was added last: of its several activities each is a row.
    last: String,
}

/// What a table is made from besides its inputs.
pub(super) struct MadeFrom<'a> {
    pub(super) configuration: serde_json::Value,
    /// Title and SHA-256 of each plan, keyed where names are.
    pub(super) plans: Vec<(&'a str, String)>,
    pub(super) roster_sha256: Option<String>,
    pub(super) is_pseudonymised: bool,
}

impl<'w> Provenance<'w> {
    /// Begins the document.
    pub(super) fn create(opened: Opened<'w>, from: &MadeFrom<'_>) -> Result<Self, Failure> {
        let program = std::env::current_exe().and_then(|program| files::sha256_of_file(&program));
        let program = program
            .map_err(|error| Failure::refused("could not read the program itself").caused_by(&error))?;
        let plans = from.plans.iter();
        let plans: Vec<_> =
            plans.map(|(title, sha256)| serde_json::json!({"title": title, "sha256": sha256})).collect();
        let head = serde_json::json!({
            "schema": "jogaudit.provenance/1",
            "version": VERSION,
            "program_sha256": program,
            "configuration": from.configuration,
            "plans": plans,
            "roster_sha256": from.roster_sha256,
            "pseudonymised": from.is_pseudonymised,
        });
        let Opened { path, staged, to } = opened;
        let mut this = Self { path, staged, to: BufWriter::new(to), inputs: 0, last: String::new() };
        let head = head.to_string();
        // The document goes on where the brace would close it.
        let open = head.strip_suffix('}').unwrap_or(&head);
        write!(this.to, "{open},\n\"inputs\": [").map_err(|error| failed(&this.path, error))?;
        Ok(this)
    }

    /// Adds an input: the hash of its bytes, or the code of why they could not be read.
    pub(super) fn input(
        &mut self,
        path: &str,
        sha256: Option<&str>,
        error_code: Option<&str>,
    ) -> Result<(), Failure> {
        if self.inputs > 0 && self.last == path {
            return Ok(());
        }
        path.clone_into(&mut self.last);
        let comma = if self.inputs == 0 { "" } else { "," };
        self.inputs += 1;
        let error_code = error_code.filter(|_| sha256.is_none());
        let line = serde_json::json!({"path": path, "sha256": sha256, "error_code": error_code});
        write!(self.to, "{comma}\n{line}").map_err(|error| failed(&self.path, error))
    }

    /// Ends the document with what was passed over and the hashes of what was written.
    pub(super) fn finish(
        mut self,
        outputs: &[Staged],
        passed_over: &[String],
    ) -> Result<Option<Staged>, Failure> {
        let mut listed = Vec::new();
        for output in outputs {
            let name = output.target().file_name().map(|name| name.to_string_lossy().into_owned());
            // What went to a device cannot be read back.
            let sha256 = output.path().map(files::sha256_of_file).transpose();
            let sha256 = sha256.map_err(|error| could_not_write(output.target(), &error))?;
            listed.push(serde_json::json!({"name": name, "sha256": sha256}));
        }
        let outputs = serde_json::Value::Array(listed);
        let written: io::Result<()> = writeln!(
            self.to,
            "\n],\n\"passed_over\": {},\n\"outputs\": {outputs}}}",
            serde_json::json!(passed_over)
        )
        .and_then(|()| self.to.flush());
        written.map_err(|error| failed(&self.path, error))?;
        Ok(self.staged)
    }
}
