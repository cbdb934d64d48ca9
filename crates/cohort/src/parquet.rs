//! Rows → Parquet, by polars.

use std::io::{self, Write};

use polars::prelude::{
    BatchedWriter, Column, DataFrame, DataType, IntoColumn, KeyValueMetadata, NamedFrom, ParquetWriter,
    PolarsError, PolarsResult, Schema, Series, TimeUnit, TimeZone,
};

use super::columns::VERSION;
use super::sink::Encode;
use super::table::{Field, Table};
use super::value::{Kind, Row, Value};

/// Rows of a row group: few enough that memory does not grow with the table.
const GROUP_ROWS: usize = 2048;

/// Writes a table row group by row group.
pub(super) struct Parquet<W: Write> {
    fields: Vec<Field>,
    waiting: Vec<Row>,
    writer: BatchedWriter<W>,
}

impl<W: Write + Send> Parquet<W> {
    pub(super) fn new(table: &Table, to: W) -> io::Result<Self> {
        let fields = table.fields.clone();
        let schema: Schema = fields.iter().map(|f| (f.name.as_str().into(), data_type(f.kind))).collect();
        let writer = ParquetWriter::new(to)
            .set_parallel(false)
            .with_key_value_metadata(Some(KeyValueMetadata::from_static(metadata(table))))
            .batched(&schema)
            .map_err(io_error)?;
        Ok(Self { fields, waiting: Vec::new(), writer })
    }

    fn write(&mut self) -> io::Result<()> {
        if !self.waiting.is_empty() {
            let frame = frame(&self.fields, &self.waiting).map_err(io_error)?;
            self.waiting.clear();
            self.writer.write_batch(&frame).map_err(io_error)?;
        }
        Ok(())
    }
}

impl<W: Write + Send> Encode for Parquet<W> {
    fn rows(&mut self, rows: &[Row]) -> io::Result<()> {
        for row in rows {
            self.waiting.push(row.clone());
            if self.waiting.len() == GROUP_ROWS {
                self.write()?;
            }
        }
        Ok(())
    }

    fn finish(&mut self) -> io::Result<()> {
        self.write()?;
        self.writer.finish().map(|_| ()).map_err(io_error)
    }
}

/// What the file says of itself: schema, version, and each column's unit and meaning as JSON.
fn metadata(table: &Table) -> Vec<(String, String)> {
    let columns: Vec<serde_json::Value> = table
        .fields
        .iter()
        .map(|f| serde_json::json!({"name": f.name, "unit": f.unit, "kind": f.kind.word(), "about": f.about}))
        .collect();
    vec![
        ("jogaudit.schema".to_owned(), table.schema.to_owned()),
        ("jogaudit.version".to_owned(), VERSION.to_owned()),
        ("jogaudit.columns".to_owned(), serde_json::Value::Array(columns).to_string()),
    ]
}

fn data_type(kind: Kind) -> DataType {
    match kind {
        Kind::Text => DataType::String,
        Kind::Whole => DataType::Int64,
        Kind::Real => DataType::Float64,
        Kind::Flag => DataType::Boolean,
        Kind::Instant => DataType::Datetime(TimeUnit::Microseconds, Some(TimeZone::UTC)),
    }
}

/// Rows → columns.
fn frame(fields: &[Field], rows: &[Row]) -> PolarsResult<DataFrame> {
    let columns = fields.iter().enumerate().map(|(at, field)| column(field, rows, at)).collect();
    DataFrame::new(rows.len(), columns)
}

fn column(field: &Field, rows: &[Row], at: usize) -> Column {
    let name = || field.name.as_str().into();
    let cells = || rows.iter().map(|row| &row[at]);
    let series = match field.kind {
        Kind::Text => Series::new(name(), cells().map(Value::text).collect::<Vec<_>>()),
        Kind::Real => Series::new(name(), cells().map(Value::real).collect::<Vec<_>>()),
        Kind::Whole => Series::new(name(), cells().map(whole).collect::<Vec<_>>()),
        Kind::Flag => {
            let flag = |value: &Value| if let Value::Flag(flag) = value { Some(*flag) } else { None };
            Series::new(name(), cells().map(flag).collect::<Vec<_>>())
        }
        Kind::Instant => {
            let instant =
                |value: &Value| if let Value::Instant(at) = value { Some(at.as_microsecond()) } else { None };
            let series = Series::new(name(), cells().map(instant).collect::<Vec<_>>());
            series.into_datetime(TimeUnit::Microseconds, Some(TimeZone::UTC))
        }
    };
    series.into_column()
}

fn whole(value: &Value) -> Option<i64> {
    if let Value::Whole(number) = value { Some(*number) } else { None }
}

fn io_error(error: PolarsError) -> io::Error {
    match error {
        PolarsError::IO { error, .. } => io::Error::new(error.kind(), error.to_string()),
        other => io::Error::other(other.to_string()),
    }
}
