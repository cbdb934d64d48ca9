//! What of a table of the case could not be read: it is not taken for nothing.

/// How much of `diary.csv`, `stages.csv` or `seen.csv` could not be read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Unread {
    /// All is read, or there is no such table.
    #[default]
    Nothing,
    /// Lines of it, of which it is not known what they are about.
    Lines,
    /// The table is there, and nothing of it could be read.
    Whole,
}

impl Unread {
    /// From whether a line was lost and whether one was read.
    pub(super) const fn of(has_lost: bool, has_read: bool) -> Self {
        match (has_lost, has_read) {
            (false, _) => Self::Nothing,
            (true, true) => Self::Lines,
            (true, false) => Self::Whole,
        }
    }
}
