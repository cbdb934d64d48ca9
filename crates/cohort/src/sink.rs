//! Tables → bytes of their format.

use std::io::{self, BufWriter, Write};
use std::path::Path;

use jogaudit_case::{Failure, named};

use super::encode::Encode;
use super::parquet::Parquet;
use super::table::{Field, Table};
use super::value::{Row, Value};

/// How a table is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    Parquet,
    Csv,
    Ndjson,
}

impl Form {
    /// As the name of the file ends; standard output takes NDJSON.
    pub(super) fn of(path: &Path) -> Result<Self, Failure> {
        if path == Path::new("-") {
            return Ok(Self::Ndjson);
        }
        match path.extension().map(|end| end.to_string_lossy().to_lowercase()).as_deref() {
            Some("parquet") => Ok(Self::Parquet),
            Some("csv") => Ok(Self::Csv),
            Some("ndjson") => Ok(Self::Ndjson),
            _ => Err(Failure::refused(format!("cannot tell how to write {}", named(path)))
                .hint("end its name in .parquet, .csv or .ndjson")),
        }
    }
}

pub(super) fn encoder<'w>(
    form: Form,
    table: &Table,
    to: impl Write + Send + 'w,
) -> io::Result<Box<dyn Encode + 'w>> {
    Ok(match form {
        Form::Csv => {
            let mut csv = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(to);
            csv.write_record(table.fields.iter().map(|field| &field.name))?;
            Box::new(Csv(csv))
        }
        Form::Ndjson => Box::new(Ndjson { fields: table.fields.clone(), to: BufWriter::new(to) }),
        Form::Parquet => Box::new(Parquet::new(table, to)?),
    })
}

struct Csv<W: Write>(csv::Writer<W>);

impl<W: Write> Encode for Csv<W> {
    fn rows(&mut self, rows: &[Row]) -> io::Result<()> {
        for row in rows {
            self.0.write_record(row.iter().map(csv_cell))?;
        }
        self.0.flush()
    }

    fn finish(&mut self) -> io::Result<()> {
        self.0.flush()
    }
}

/// A text that a spreadsheet would take for a formula gets an apostrophe in front; so does one that begins with an
/// apostrophe, so that taking one away always gives the text back. (The characters are those that OWASP's page on CSV
/// injection names.)
fn csv_cell(value: &Value) -> String {
    let plain = value.to_plain();
    let is_risky =
        matches!(value, Value::Text(text) if text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\'']));
    if is_risky { format!("'{plain}") } else { plain }
}

struct Ndjson<W: Write> {
    fields: Vec<Field>,
    to: BufWriter<W>,
}

impl<W: Write> Encode for Ndjson<W> {
    fn rows(&mut self, rows: &[Row]) -> io::Result<()> {
        for row in rows {
            let cells =
                self.fields.iter().zip(row).map(|(field, value)| (field.name.clone(), json_cell(value)));
            let line = serde_json::Value::Object(cells.collect());
            serde_json::to_writer(&mut self.to, &line)?;
            self.to.write_all(b"\n")?;
        }
        // Whoever reads the other end of a pipe gets the rows now.
        self.to.flush()
    }

    fn finish(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

fn json_cell(value: &Value) -> serde_json::Value {
    match value {
        Value::Missing => serde_json::Value::Null,
        Value::Text(text) => text.as_str().into(),
        Value::Whole(number) => (*number).into(),
        Value::Real(number) => (*number).into(),
        Value::Flag(flag) => (*flag).into(),
        Value::Instant(instant) => instant.to_string().into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::value::CellKind;

    #[test]
    fn formulas_are_taken_for_text() {
        for (text, cell) in [
            ("=1+1.fit", "'=1+1.fit"),
            ("@a", "'@a"),
            ("-a", "'-a"),
            ("+a", "'+a"),
            ("'a", "''a"),
            ("\ta", "'\ta"),
            ("a=b", "a=b"),
        ] {
            assert_eq!(csv_cell(&Value::Text(text.into())), cell);
        }
        assert_eq!(csv_cell(&Value::Real(-1.5)), "-1.5", "a number stays a number");
    }

    fn table() -> Table {
        let mut table = Table::new("test/1", "a line", |_| 1);
        table.add("path", "", CellKind::Text, "x", |s, _| Value::from(s.path.as_str()));
        table.add("n_s", "s", CellKind::Real, "y", |_, _| 1.5);
        table
    }

    #[test]
    fn text_forms_are_lines_with_names() {
        let rows = [vec![Value::Text("a,\"b\".fit".into()), Value::Missing]];
        let mut out = Vec::new();
        {
            let mut csv = encoder(Form::Csv, &table(), &mut out).unwrap();
            csv.rows(&rows).unwrap();
            csv.finish().unwrap();
        }
        assert_eq!(String::from_utf8(out).unwrap(), "path,n_s\r\n\"a,\"\"b\"\".fit\",\r\n");
        let mut out = Vec::new();
        encoder(Form::Ndjson, &table(), &mut out).unwrap().rows(&rows).unwrap();
        assert_eq!(String::from_utf8(out).unwrap(), "{\"path\":\"a,\\\"b\\\".fit\",\"n_s\":null}\n");
    }

    #[test]
    fn the_form_is_told_by_the_name() {
        assert_eq!(Form::of(Path::new("a.PARQUET")).unwrap(), Form::Parquet);
        assert_eq!(Form::of(Path::new("-")).unwrap(), Form::Ndjson);
        assert!(Form::of(Path::new("a.xlsx")).unwrap_err().to_string().contains(".parquet, .csv or .ndjson"));
    }
}
