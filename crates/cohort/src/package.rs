//! The tables of a run explained where they lie: `datapackage.json`, a Frictionless Data Package with a Table Schema for each.
//!
//! Source: specs.frictionlessdata.io, Data Package and Table Schema, version 1.

use std::fs::File;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use jogaudit_case::{Failure, named_output};
use jogaudit_files::{self as files, Output, Staged, could_not_write};
use jogaudit_recording::notice::{Notice, NoticeCode};

use super::columns::VERSION;
use super::sink::Form;
use super::table::{Field, Table};
use super::value::CellKind;

/// The name that the specification gives the file.
const NAME: &str = "datapackage.json";
/// Whose it is stands in this key.
const OURS: &str = "jogaudit";
/// Larger ones are not ours.
const MOST_BYTES: u64 = 8 << 20;

/// Where the package of a run lies: beside its main table, where that is a file.
pub(super) fn path(out: &Path) -> Option<PathBuf> {
    let is_other = std::fs::metadata(out).is_ok_and(|known| !known.is_file());
    (out != Path::new("-") && !is_other).then(|| out.with_file_name(NAME))
}

/// Refuses to write over somebody else's.
pub(super) fn refuse_foreign(path: &Path) -> Result<(), Failure> {
    let mut bytes = Vec::new();
    match File::open(path).and_then(|file| file.take(MOST_BYTES).read_to_end(&mut bytes)) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) => return Err(Failure::input(path, &error)),
        Ok(_) => {}
    }
    let known: Option<Value> = serde_json::from_slice(&bytes).ok();
    if known.is_some_and(|document| document.get(OURS).is_some()) {
        return Ok(());
    }
    let what = format!("{} is in the way: it is not one that jogaudit wrote", named_output(path));
    Err(Failure::refused(what)
        .hint("the tables are explained there: move it, or write the tables to another folder"))
}

/// A written table.
pub(super) struct Written<'t> {
    pub(super) schema: &'static str,
    pub(super) line: &'static str,
    pub(super) fields: &'t [Field],
    pub(super) staged: &'t Staged,
}

impl<'t> Written<'t> {
    pub(super) fn new(table: &'t Table, staged: &'t Staged) -> Self {
        Self { schema: table.schema, line: table.line, fields: &table.fields, staged }
    }
}

/// Writes the document that explains tables, and tells what it leaves out: a package holds what lies in or below its folder.
pub(super) fn write(output: &Output, tables: &[Written<'_>]) -> Result<(Staged, Option<Notice>), Failure> {
    let staged = output.stage()?;
    let folder = staged.target().parent().unwrap_or(Path::new(""));
    let (mut resources, mut outside) = (Vec::new(), Vec::new());
    for table in tables {
        let target = table.staged.target();
        match target.strip_prefix(folder) {
            Ok(inside) => resources.push(resource(table, inside)?),
            Err(_) => outside.push(named_output(target)),
        }
    }
    let document = json!({
        "name": "jogaudit-batch",
        "description": "Recordings held against what was prescribed. It judges recordings, not bodies.",
        (OURS): {"version": VERSION},
        "resources": resources,
    });
    let notice = (!outside.is_empty()).then(|| {
        let text = format!("{NAME} explains the tables of its folder, not {}.", outside.join(", "));
        Notice::new(NoticeCode::TableNotInPackage, text)
    });
    let written = staged.file()?.write_all(format!("{document:#}\n").as_bytes());
    written.map_err(|error| could_not_write(output.named(), &error))?;
    Ok((staged, notice))
}

fn resource(table: &Written<'_>, inside: &Path) -> Result<Value, Failure> {
    let failed = |error: io::Error| could_not_write(table.staged.target(), &error);
    // What went to a device cannot be read back.
    let hash = table.staged.path().map(files::sha256_of_file).transpose().map_err(failed)?;
    let bytes = table.staged.path().map(std::fs::metadata).transpose().map_err(failed)?;
    let stem = inside.with_extension("").to_string_lossy().to_lowercase();
    let name: String = stem.chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    let parts: Vec<_> = inside.components().map(|part| part.as_os_str().to_string_lossy()).collect();
    let form = Form::of(inside)?;
    let (format, mediatype) = match form {
        Form::Csv => ("csv", "text/csv"),
        Form::Ndjson => ("ndjson", "application/x-ndjson"),
        Form::Parquet => ("parquet", "application/vnd.apache.parquet"),
    };
    let mut resource = json!({
        "name": format!("{name}-{format}"),
        // Readers of the specification know rows of text only: of Parquet they check the bytes.
        "type": if form == Form::Parquet { "file" } else { "table" },
        "path": parts.join("/"),
        "format": format,
        "mediatype": mediatype,
        "encoding": "utf-8",
        "description": format!("One row {}; {}", table.line, table.schema),
        "schema": {"fields": table.fields.iter().map(field).collect::<Vec<_>>(), "missingValues": [""]},
    });
    if let Some(known) = resource.as_object_mut() {
        known.extend(hash.map(|hash| ("hash".to_owned(), json!(format!("sha256:{hash}")))));
        known.extend(bytes.map(|known| ("bytes".to_owned(), json!(known.len()))));
    }
    Ok(resource)
}

fn field(field: &Field) -> Value {
    let mut described = json!({"name": field.name, "type": type_of(field.kind), "description": field.about});
    if let Some(known) = described.as_object_mut() {
        if field.kind == CellKind::Instant {
            known.insert("format".to_owned(), json!("any"));
        }
        if !field.unit.is_empty() {
            known.insert("unit".to_owned(), json!(field.unit));
        }
    }
    described
}

const fn type_of(kind: CellKind) -> &'static str {
    match kind {
        CellKind::Text => "string",
        CellKind::Whole => "integer",
        CellKind::Real => "number",
        CellKind::Flag => "boolean",
        CellKind::Instant => "datetime",
    }
}
