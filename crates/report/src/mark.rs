//! The mark of a day: its gravest session, as a sign in text and as a shape in HTML.

use jogaudit_core::audit::Outcome;

/// What a day is marked with, from the lightest to the gravest.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// The day lies after that of the review.
    NotYet,
    /// No session.
    NoSession,
    /// Agreed training besides running.
    Other,
    /// A walk that is no session of the plan.
    Walk,
    /// A session kept.
    Kept,
    /// A session underdone.
    Underdone,
    /// A session that can't be judged.
    Undecided,
    /// A session overdone.
    Overdone,
    /// Running that is no session of the plan.
    Unplanned,
}

impl Mark {
    /// The marks of sessions, the lightest first.
    pub const OF_SESSIONS: [Self; 7] = [
        Self::Other,
        Self::Walk,
        Self::Kept,
        Self::Underdone,
        Self::Undecided,
        Self::Overdone,
        Self::Unplanned,
    ];

    /// One character for a line of text.
    pub const fn sign(self) -> char {
        match self {
            Self::NotYet => ' ',
            Self::NoSession => '.',
            Self::Other => '+',
            Self::Walk => 'w',
            Self::Kept => 'o',
            Self::Underdone => '-',
            Self::Undecided => '?',
            Self::Overdone => '!',
            Self::Unplanned => 'x',
        }
    }

    /// What it means, in words.
    pub const fn word(self) -> &'static str {
        match self {
            Self::NotYet | Self::NoSession => "no session",
            Self::Other => "other training, agreed",
            Self::Walk => "walk",
            Self::Kept => "as prescribed",
            Self::Underdone => "underdone",
            Self::Undecided => "undecided",
            Self::Overdone => "overdone",
            Self::Unplanned => "running outside the plan",
        }
    }
}

impl From<Outcome> for Mark {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Kept => Self::Kept,
            Outcome::Overdone => Self::Overdone,
            Outcome::Underdone => Self::Underdone,
            Outcome::Undecided => Self::Undecided,
        }
    }
}
