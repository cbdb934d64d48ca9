//! What people write down about a case.

use super::diary::Diary;
use super::given::Given;
use super::seen::Seen;

/// What people wrote down about a case, besides its plan.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Written {
    /// Pain and effort by day.
    pub diary: Diary,
    /// Stages that somebody named.
    pub given: Given,
    /// Visits to a clinician.
    pub seen: Seen,
}
