//! Faults that may happen thousands of times in one file: counted, told once.

use crate::notice::{Notice, NoticeCode, Place};

/// How often something happened, and where first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Tally {
    pub(super) count: u64,
    first_byte: usize,
}

impl Tally {
    pub(super) fn add(&mut self, at_byte: usize) {
        if self.count == 0 {
            self.first_byte = at_byte;
        }
        self.count += 1;
    }

    /// Makes a notice with the place of the first case, if there was one.
    pub(super) fn notice(
        self,
        code: NoticeCode,
        place: impl Fn(usize) -> Place,
        text: impl Fn(u64) -> String,
    ) -> Option<Notice> {
        (self.count > 0).then(|| Notice::new(code, text(self.count)).at(place(self.first_byte)))
    }
}
