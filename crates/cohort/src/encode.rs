//! What takes the rows of a table, in whatever form.

use std::io;

use super::value::Row;

/// Takes the rows of a table in order.
pub(super) trait Encode {
    fn rows(&mut self, rows: &[Row]) -> io::Result<()>;
    fn finish(&mut self) -> io::Result<()>;
}
