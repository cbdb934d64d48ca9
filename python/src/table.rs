//! Columns → tables that Python's libraries take by the Arrow C data interface.

use std::collections::HashMap;
use std::sync::Arc;

use arrow_array::{
    Array, ArrayRef, BooleanArray, Float64Array, Int64Array, RecordBatch, StringArray, StructArray,
    TimestampMicrosecondArray,
};
use arrow_schema::{ArrowError, DataType, Field, Schema, SchemaRef};
use pyo3::prelude::*;
use pyo3::types::PyCapsule;
use pyo3_arrow::ffi::{ArrayIterator, to_stream_pycapsule};

use jogaudit_cohort::{Cells, Columns};
use jogaudit_report::BoutsView;

/// A table. `polars.DataFrame(table)`, `pyarrow.table(table)` and `pandas.DataFrame.from_arrow(table)` take it as it is, by the
/// Arrow C data interface. Each column's unit and meaning stand in its field's metadata.
#[pyclass(frozen, module = "jogaudit")]
pub(crate) struct Table {
    batches: Vec<RecordBatch>,
    schema: SchemaRef,
}

#[pymethods]
impl Table {
    /// Names of the columns.
    #[getter]
    fn column_names(&self) -> Vec<String> {
        self.schema.fields().iter().map(|field| field.name().clone()).collect()
    }

    pub(crate) fn __len__(&self) -> usize {
        self.batches.iter().map(RecordBatch::num_rows).sum()
    }

    fn __repr__(&self) -> String {
        format!("<jogaudit.Table: {} rows, {} columns>", self.__len__(), self.schema.fields().len())
    }

    /// The stream of the Arrow C data interface.
    #[pyo3(signature = (requested_schema=None))]
    pub(crate) fn __arrow_c_stream__<'py>(
        &self,
        py: Python<'py>,
        requested_schema: Option<Bound<'py, PyCapsule>>,
    ) -> PyResult<Bound<'py, PyCapsule>> {
        let field = Field::new_struct("", self.schema.fields().clone(), false);
        let field = Arc::new(field.with_metadata(self.schema.metadata().clone()));
        let arrays: Vec<Result<ArrayRef, ArrowError>> = self
            .batches
            .iter()
            .map(|batch| Ok(Arc::new(StructArray::from(batch.clone())) as ArrayRef))
            .collect();
        Ok(to_stream_pycapsule(py, Box::new(ArrayIterator::new(arrays, field)), requested_schema)?)
    }
}

impl Table {
    /// The first batch gives the schema.
    pub(crate) fn new(batches: Vec<RecordBatch>) -> Self {
        let schema = batches.first().map_or_else(|| Arc::new(Schema::empty()), RecordBatch::schema);
        Self { batches, schema }
    }

    /// The bouts of one recording, with the columns of `jogaudit bouts --format csv`.
    pub(crate) fn of_bouts(view: &BoutsView) -> Result<Self, ArrowError> {
        let bouts = &view.bouts;
        let real = |name: &'static str, unit: &'static str, about: &'static str, cells: Vec<Option<f64>>| {
            (field(name, unit, about, DataType::Float64), Arc::new(Float64Array::from(cells)) as ArrayRef)
        };
        let gaits: ArrayRef = Arc::new(StringArray::from_iter_values(bouts.iter().map(|b| b.gait.word())));
        let columns = [
            (field("gait", "", "`run`, `walk`, `stand` or `unknown`", DataType::Utf8), gaits),
            real(
                "start_s",
                "s",
                "Beginning, from the start of the recording",
                of(bouts, |b| Some(b.start_s)),
            ),
            real("end_s", "s", "End", of(bouts, |b| Some(b.end_s))),
            real("certainty", "probability", "How sure the gait is", of(bouts, |b| Some(b.certainty))),
            real("distance_m", "m", "Distance covered", of(bouts, |b| b.distance_m)),
            real("mean_speed_mps", "m/s", "Mean speed", of(bouts, |b| b.mean_speed_mps)),
            real(
                "mean_cadence_spm",
                "steps/min",
                "Mean cadence, both feet",
                of(bouts, |b| b.mean_cadence_spm),
            ),
            real("mean_heart_rate_bpm", "beats/min", "Mean heart rate", of(bouts, |b| b.mean_heart_rate_bpm)),
        ];
        Ok(Self::new(vec![batch_of(view.schema, columns)?]))
    }
}

fn of<T>(lines: &[T], cell: impl Fn(&T) -> Option<f64>) -> Vec<Option<f64>> {
    lines.iter().map(cell).collect()
}

/// A chunk of a table of many recordings.
pub(crate) fn chunk(table: Columns) -> Result<RecordBatch, ArrowError> {
    let columns = table.columns.into_iter().map(|column| {
        let cells = array(column.cells);
        (field(&column.name, column.unit, &column.about, cells.data_type().clone()), cells)
    });
    batch_of(table.schema, columns)
}

fn batch_of(
    schema: &str,
    columns: impl IntoIterator<Item = (Field, ArrayRef)>,
) -> Result<RecordBatch, ArrowError> {
    let (fields, arrays): (Vec<Field>, Vec<ArrayRef>) = columns.into_iter().unzip();
    let said = [("jogaudit.schema", schema), ("jogaudit.version", env!("CARGO_PKG_VERSION"))];
    RecordBatch::try_new(Arc::new(Schema::new_with_metadata(fields, metadata(&said))), arrays)
}

fn field(name: &str, unit: &str, about: &str, kind: DataType) -> Field {
    Field::new(name, kind, true).with_metadata(metadata(&[("unit", unit), ("about", about)]))
}

fn metadata(pairs: &[(&str, &str)]) -> HashMap<String, String> {
    pairs.iter().map(|(key, value)| ((*key).to_owned(), (*value).to_owned())).collect()
}

fn array(cells: Cells) -> ArrayRef {
    match cells {
        Cells::Text(cells) => Arc::new(StringArray::from(cells)),
        Cells::Whole(cells) => Arc::new(Int64Array::from(cells)),
        Cells::Real(cells) => Arc::new(Float64Array::from(cells)),
        Cells::Flag(cells) => Arc::new(BooleanArray::from(cells)),
        Cells::Instant(cells) => Arc::new(TimestampMicrosecondArray::from(cells).with_timezone("UTC")),
    }
}
