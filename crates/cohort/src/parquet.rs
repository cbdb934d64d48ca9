//! Rows → Parquet, by the `parquet` crate of Apache Arrow; of Arrow itself only its schema, which has the units.

use std::io::{self, Write};
use std::sync::Arc;

use arrow_ipc::writer::{DictionaryTracker, IpcDataGenerator, IpcWriteOptions};
use arrow_schema::{DataType as ArrowType, Field as ArrowField, Metadata, Schema, TimeUnit as ArrowTimeUnit};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use parquet::basic::{Compression, LogicalType, Repetition, TimeUnit, Type as PhysicalType};
use parquet::data_type::{BoolType, ByteArray, ByteArrayType, DataType, DoubleType, Int64Type};
use parquet::errors::{ParquetError, Result};
use parquet::file::metadata::KeyValue;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::{Type, TypePtr};

use super::columns::VERSION;
use super::encode::Encode;
use super::table::{Field, Table};
use super::value::{CellKind, Row, Value};

/// Rows of a row group, our choice: few enough that memory does not grow with the table.
const GROUP_ROWS: usize = 2048;

/// Writes a table row group by row group.
pub(super) struct Parquet<W: Write + Send> {
    fields: Vec<Field>,
    /// Rows of the group that is not full yet.
    waiting: Vec<Row>,
    writer: SerializedFileWriter<W>,
}

impl<W: Write + Send> Parquet<W> {
    pub(super) fn new(table: &Table, to: W) -> io::Result<Self> {
        let fields = table.fields.clone();
        let properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_key_value_metadata(Some(metadata(table)))
            .build();
        let writer = schema(&fields)
            .and_then(|schema| SerializedFileWriter::new(to, schema, Arc::new(properties)))
            .map_err(io_error)?;
        Ok(Self { fields, waiting: Vec::new(), writer })
    }

    /// Writes the waiting rows as a row group.
    fn write_group(&mut self) -> Result<()> {
        if self.waiting.is_empty() {
            return Ok(());
        }
        let mut group = self.writer.next_row_group()?;
        for (at, field) in self.fields.iter().enumerate() {
            let missing = || ParquetError::General(format!("the schema has no column `{}`", field.name));
            let mut column = group.next_column()?.ok_or_else(missing)?;
            write_column(&mut column, field.kind, &self.waiting, at)?;
            column.close()?;
        }
        group.close()?;
        self.waiting.clear();
        Ok(())
    }
}

impl<W: Write + Send> Encode for Parquet<W> {
    fn rows(&mut self, rows: &[Row]) -> io::Result<()> {
        for row in rows {
            self.waiting.push(row.clone());
            if self.waiting.len() == GROUP_ROWS {
                self.write_group().map_err(io_error)?;
            }
        }
        Ok(())
    }

    fn finish(&mut self) -> io::Result<()> {
        self.write_group().and_then(|()| self.writer.finish().map(|_| ())).map_err(io_error)
    }
}

/// What the file says of itself: schema, version, and each column's unit and meaning as JSON.
fn told(table: &Table) -> [(&'static str, String); 3] {
    let columns: Vec<serde_json::Value> = table
        .fields
        .iter()
        .map(|f| serde_json::json!({"name": f.name, "unit": f.unit, "kind": f.kind.word(), "about": f.about}))
        .collect();
    [
        ("jogaudit.schema", table.schema.to_owned()),
        ("jogaudit.version", VERSION.to_owned()),
        ("jogaudit.columns", serde_json::Value::Array(columns).to_string()),
    ]
}

/// The same, and the Arrow schema, by which readers of Arrow go alone.
fn metadata(table: &Table) -> Vec<KeyValue> {
    let arrow = ("ARROW:schema", arrow_schema(table));
    std::iter::once(arrow).chain(told(table)).map(|(key, text)| KeyValue::new(key.to_owned(), text)).collect()
}

/// The table's schema as readers of Arrow take it from a Parquet file: a message of its format for files, length first, in base64;
/// each column with its unit and meaning.
fn arrow_schema(table: &Table) -> String {
    let columns = table.fields.iter().map(|field| {
        let each = [("unit", field.unit), ("about", field.about.as_str())];
        let told: Metadata = each.into_iter().filter(|(_, text)| !text.is_empty()).collect();
        ArrowField::new(&field.name, arrow_type(field.kind), true).with_metadata(told)
    });
    let schema = Schema::new(columns.collect::<Vec<_>>()).with_metadata(told(table));
    let (options, mut tracker) = (IpcWriteOptions::default(), DictionaryTracker::new(true));
    let encoded =
        IpcDataGenerator::default().schema_to_bytes_with_dictionary_tracker(&schema, &mut tracker, &options);
    let mut message = vec![0xff; 4];
    message.extend((encoded.ipc_message.len() as u32).to_le_bytes());
    message.extend(encoded.ipc_message);
    STANDARD.encode(message)
}

fn arrow_type(kind: CellKind) -> ArrowType {
    match kind {
        CellKind::Text => ArrowType::Utf8,
        CellKind::Whole => ArrowType::Int64,
        CellKind::Real => ArrowType::Float64,
        CellKind::Flag => ArrowType::Boolean,
        CellKind::Instant => ArrowType::Timestamp(ArrowTimeUnit::Microsecond, Some("UTC".into())),
    }
}

/// The columns, each of which may have missing cells.
fn schema(fields: &[Field]) -> Result<TypePtr> {
    let columns = fields.iter().map(|field| {
        let (physical, logical) = types(field.kind);
        let column = Type::primitive_type_builder(&field.name, physical)
            .with_repetition(Repetition::OPTIONAL)
            .with_logical_type(logical);
        column.build().map(Arc::new)
    });
    let group = Type::group_type_builder("jogaudit").with_fields(columns.collect::<Result<_>>()?);
    group.build().map(Arc::new)
}

/// How a cell is stored, and what it stands for where that does not say it.
fn types(kind: CellKind) -> (PhysicalType, Option<LogicalType>) {
    match kind {
        CellKind::Text => (PhysicalType::BYTE_ARRAY, Some(LogicalType::String)),
        CellKind::Whole => (PhysicalType::INT64, None),
        CellKind::Real => (PhysicalType::DOUBLE, None),
        CellKind::Flag => (PhysicalType::BOOLEAN, None),
        // Microseconds since 1970, UTC.
        CellKind::Instant => (PhysicalType::INT64, Some(LogicalType::timestamp(true, TimeUnit::MICROS))),
    }
}

fn write_column(
    column: &mut SerializedColumnWriter<'_>,
    kind: CellKind,
    rows: &[Row],
    at: usize,
) -> Result<()> {
    let cells = rows.iter().map(|row| &row[at]);
    match kind {
        CellKind::Text => {
            write_cells::<ByteArrayType>(column, cells.map(|cell| cell.text().map(ByteArray::from)))
        }
        CellKind::Whole => write_cells::<Int64Type>(column, cells.map(Value::whole)),
        CellKind::Real => write_cells::<DoubleType>(column, cells.map(Value::real)),
        CellKind::Flag => write_cells::<BoolType>(column, cells.map(Value::flag)),
        CellKind::Instant => {
            let microseconds = |cell: &Value| cell.instant().map(jiff::Timestamp::as_microsecond);
            write_cells::<Int64Type>(column, cells.map(microseconds))
        }
    }
}

/// Writes the known values, and for each cell whether it is known: definition level 1, else 0.
fn write_cells<T: DataType>(
    column: &mut SerializedColumnWriter<'_>,
    cells: impl Iterator<Item = Option<T::T>>,
) -> Result<()> {
    let (mut known, mut levels) = (Vec::new(), Vec::new());
    for cell in cells {
        levels.push(i16::from(cell.is_some()));
        known.extend(cell);
    }
    column.typed::<T>().write_batch(&known, Some(&levels), None).map(|_| ())
}

/// The error of the file below, where there is one: a full disk is said to be one.
fn io_error(error: ParquetError) -> io::Error {
    match error {
        ParquetError::External(cause) => match cause.downcast::<io::Error>() {
            Ok(error) => *error,
            Err(cause) => io::Error::other(cause),
        },
        other => io::Error::other(other),
    }
}

#[cfg(test)]
mod tests {
    use parquet::file::reader::{FileReader, SerializedFileReader};

    use super::*;

    fn table() -> Table {
        let mut table = Table::new("test/1", "a line", |_| 1);
        for (name, kind) in [
            ("text", CellKind::Text),
            ("whole", CellKind::Whole),
            ("real", CellKind::Real),
            ("flag", CellKind::Flag),
            ("instant", CellKind::Instant),
        ] {
            table.add(name, "", kind, "x", |_, _| Value::Missing);
        }
        table
    }

    /// Every row as text, by the crate's own reader.
    fn written(rows: &[Row]) -> (Vec<String>, usize) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.parquet");
        let mut parquet = Parquet::new(&table(), std::fs::File::create(&path).unwrap()).unwrap();
        parquet.rows(rows).unwrap();
        parquet.finish().unwrap();
        let reader = SerializedFileReader::new(std::fs::File::open(&path).unwrap()).unwrap();
        let groups = reader.num_row_groups();
        (reader.get_row_iter(None).unwrap().map(|row| row.unwrap().to_string()).collect(), groups)
    }

    #[test]
    fn cells_are_read_back_and_what_is_missing_stays_so() {
        let instant = "2026-03-02T07:10:00.25Z".parse::<jiff::Timestamp>().unwrap();
        let full: Row = vec!["ø".into(), 3_usize.into(), 0.1.into(), true.into(), instant.into()];
        let (rows, _) = written(&[full, vec![Value::Missing; 5]]);
        assert_eq!(
            rows,
            [
                "{text: \"ø\", whole: 3, real: 0.1, flag: true, instant: 2026-03-02 07:10:00.250000 +00:00}",
                "{text: null, whole: null, real: null, flag: null, instant: null}",
            ]
        );
    }

    #[test]
    fn rows_are_written_group_by_group() {
        assert_eq!(written(&[]), (vec![], 0));
        let rows: Vec<Row> = (0..=GROUP_ROWS)
            .map(|n| vec![Value::Missing, n.into(), Value::Missing, Value::Missing, Value::Missing])
            .collect();
        let (read, groups) = written(&rows);
        assert_eq!((read.len(), groups), (GROUP_ROWS + 1, 2));
        assert!(read[GROUP_ROWS].contains(&format!("whole: {GROUP_ROWS},")), "{}", read[GROUP_ROWS]);
    }

    #[test]
    fn the_reason_why_a_file_cannot_be_written_is_kept() {
        struct Full;
        impl Write for Full {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(io::ErrorKind::StorageFull.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let written = Parquet::new(&table(), Full).and_then(|mut parquet| parquet.finish());
        assert_eq!(written.unwrap_err().kind(), io::ErrorKind::StorageFull);
    }
}
