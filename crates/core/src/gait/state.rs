//! The states of the chain and tables with a value for each.

/// A state of the chain: one of the recording's ways of moving, or standing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum State {
    /// The moving state of this number, in order of cadence or else speed.
    Moving(usize),
    Standing,
}

impl State {
    /// The state of a column of a row over all states: `moving` moving ones in order, then standing.
    pub(super) fn of_column(column: usize, moving: usize) -> Self {
        if column < moving { Self::Moving(column) } else { Self::Standing }
    }

    /// The states of all columns, in order.
    pub(super) fn all(moving: usize) -> impl Iterator<Item = Self> {
        (0..=moving).map(move |column| Self::of_column(column, moving))
    }
}

/// Number of columns of a row over all states.
pub(super) const fn columns(moving: usize) -> usize {
    moving + 1
}

/// A row over all states, as its moving states and standing.
pub(super) fn split_row(row: &[f64]) -> (&[f64], f64) {
    row.split_last().map_or((row, 0.0), |(&standing, moving)| (moving, standing))
}

/// A table of rows of one width, in one piece of memory.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Rows<T = f64> {
    width: usize,
    cells: Vec<T>,
}

impl<T: Clone> Rows<T> {
    /// So many rows of so many values, all the same.
    pub(super) fn filled(rows: usize, width: usize, value: T) -> Self {
        let width = width.max(1);
        Self { width, cells: vec![value; rows * width] }
    }
}

impl<T: Copy> Rows<T> {
    /// Puts the first columns in another order: column `l` becomes what column `order[l]` was.
    pub(super) fn reorder(&mut self, order: &[usize]) {
        let mut before = self.cells.get(..self.width).map(<[T]>::to_vec).unwrap_or_default();
        for row in self.iter_mut() {
            before.copy_from_slice(row);
            for (cell, &from) in row.iter_mut().zip(order) {
                *cell = before[from];
            }
        }
    }
}

impl<T: Clone + Default> Rows<T> {
    /// Makes the table one of so many rows and values a row, in the memory that it has; what stands in them is for the caller to
    /// write.
    pub(super) fn reshape(&mut self, rows: usize, width: usize) {
        self.width = width.max(1);
        self.cells.resize(rows * self.width, T::default());
    }
}

impl<T> Default for Rows<T> {
    fn default() -> Self {
        Self { width: 1, cells: Vec::new() }
    }
}

impl<T> Rows<T> {
    /// Values in a row.
    pub(super) fn width(&self) -> usize {
        self.width
    }

    /// Number of rows.
    pub(super) fn len(&self) -> usize {
        self.cells.len() / self.width
    }

    /// One row.
    pub(super) fn row(&self, row: usize) -> &[T] {
        &self.cells[row * self.width..(row + 1) * self.width]
    }

    /// One row, to be changed.
    pub(super) fn row_mut(&mut self, row: usize) -> &mut [T] {
        &mut self.cells[row * self.width..(row + 1) * self.width]
    }

    /// All rows in order.
    pub(super) fn iter(&self) -> std::slice::ChunksExact<'_, T> {
        self.cells.chunks_exact(self.width)
    }

    /// All rows in order, to be changed.
    pub(super) fn iter_mut(&mut self) -> std::slice::ChunksExactMut<'_, T> {
        self.cells.chunks_exact_mut(self.width)
    }
}

#[cfg(test)]
impl Rows {
    /// A table of these rows.
    pub(super) fn of<const N: usize>(rows: &[[f64; N]]) -> Self {
        Self { width: N, cells: rows.as_flattened().to_vec() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn standing_is_the_column_after_the_moving_states() {
        let states: Vec<State> = State::all(2).collect();
        assert_eq!(states, [State::Moving(0), State::Moving(1), State::Standing]);
        assert_eq!(states.len(), columns(2));
        assert_eq!(split_row(&[0.5, 0.3, 0.2]), (&[0.5, 0.3][..], 0.2));
    }

    #[test]
    fn rows_are_read_and_written_by_their_number() {
        let mut table = Rows::filled(3, 2, 0.0);
        table.row_mut(1)[0] = 4.0;
        assert_eq!((table.len(), table.width()), (3, 2));
        assert_eq!(
            table.iter().map(<[f64]>::to_vec).collect::<Vec<_>>(),
            [[0.0, 0.0], [4.0, 0.0], [0.0, 0.0]]
        );
        let mut turned = Rows::of(&[[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]);
        turned.reorder(&[1, 0]);
        assert_eq!(turned, Rows::of(&[[2.0, 1.0, 3.0], [5.0, 4.0, 6.0]]));
        table.reshape(1, 3);
        table.row_mut(0).fill(1.0);
        assert_eq!(table, Rows::of(&[[1.0, 1.0, 1.0]]));
    }
}
