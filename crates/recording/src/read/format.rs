//! The formats of recordings.

/// A recording format.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// FIT, the binary format.
    Fit,
    /// GPX 1.0 or 1.1.
    Gpx,
    /// TCX version 2.
    Tcx,
}

impl Format {
    /// Lower-case name as in the JSON outputs.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fit => "fit",
            Self::Gpx => "gpx",
            Self::Tcx => "tcx",
        }
    }
}
