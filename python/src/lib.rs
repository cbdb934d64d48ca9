//! jogaudit for Python: what the crates give, as dictionaries, Arrow tables and exceptions. No logic of its own.
//!
//! | module | holds |
//! |---|---|
//! | `given` | what was passed: recordings, plans, tables |
//! | `reports` | `bouts`, `check`, `review`: documents as dictionaries |
//! | `batch`, `table` | many recordings; columns as Arrow tables |
//! | `simulate`, `agree` | made-up recordings; agreement of two sides |
//! | `errors` | failures as exceptions; work without the interpreter's lock |
//!
//! Python sees this module as `jogaudit._native`; `package/jogaudit` gives it its names, types and exceptions.

mod agree;
mod batch;
mod errors;
mod given;
mod reports;
mod simulate;
mod table;

use pyo3::prelude::*;

#[pymodule]
mod _native {
    #[pymodule_export]
    use super::agree::agree;
    #[pymodule_export]
    use super::batch::{Batch, batch};
    #[pymodule_export]
    use super::reports::{bouts, check, review};
    #[pymodule_export]
    use super::simulate::simulate;
    #[pymodule_export]
    use super::table::Table;

    use super::{Bound, PyModule, PyModuleMethods, PyResult};

    #[pymodule_init]
    fn init(module: &Bound<'_, PyModule>) -> PyResult<()> {
        module.add("__version__", env!("CARGO_PKG_VERSION"))
    }
}
