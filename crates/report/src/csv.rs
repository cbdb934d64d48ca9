//! Bouts as CSV (RFC 4180): one line a bout, empty where a value is not known. Found ones, and those that a person marked.

use csv::{Terminator, WriterBuilder};

use jiff::Timestamp;
use jogaudit_core::gait::agreement::GaitSpan;

use super::view::BoutsView;

/// The columns, named as in the JSON document: seconds from the first sample, metres, metres a second, steps a minute
/// (both feet), beats a minute.
const COLUMNS: [&str; 8] = [
    "gait",
    "start_s",
    "end_s",
    "certainty",
    "distance_m",
    "mean_speed_mps",
    "mean_cadence_spm",
    "mean_heart_rate_bpm",
];

/// The columns of marked bouts: the recording's file, its SHA-256 and start, who marked it and when, seconds from the first sample.
const MARKED_COLUMNS: [&str; 8] =
    ["recording", "sha256", "start", "rater", "marked_at", "gait", "start_s", "end_s"];

/// The bouts that a person marked on a recording.
#[derive(Clone, Copy, Debug)]
pub struct MarkedBouts<'a> {
    /// Name of the recording's file.
    pub recording: &'a str,
    /// SHA-256 of that file.
    pub sha256: &'a str,
    /// When the recording began.
    pub start: Timestamp,
    /// Who marked it.
    pub rater: &'a str,
    /// When that was saved.
    pub marked_at: Timestamp,
    /// What was marked, in order of time.
    pub bouts: &'a [GaitSpan],
}

/// Writes marked bouts under a line of column names; lines end in CR LF.
pub fn marked(of: &MarkedBouts<'_>) -> String {
    String::from_utf8(marked_table(of).unwrap_or_default()).unwrap_or_default()
}

fn marked_table(of: &MarkedBouts<'_>) -> csv::Result<Vec<u8>> {
    let mut table = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    table.write_record(MARKED_COLUMNS)?;
    let (start, marked_at) = (of.start.to_string(), of.marked_at.to_string());
    for bout in of.bouts {
        let (from, to) = (bout.start_s.to_string(), bout.end_s.to_string());
        table.write_record([
            of.recording,
            of.sha256,
            &start,
            of.rater,
            &marked_at,
            bout.gait.word(),
            &from,
            &to,
        ])?;
    }
    table.into_inner().map_err(|error| error.into_error().into())
}

/// Writes the bouts under a line of column names; lines end in CR LF.
pub fn bouts(view: &BoutsView) -> String {
    // Memory takes every byte and every row has all columns: nothing here fails.
    String::from_utf8(table(view).unwrap_or_default()).unwrap_or_default()
}

fn table(view: &BoutsView) -> csv::Result<Vec<u8>> {
    let mut table = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    table.write_record(COLUMNS)?;
    for bout in &view.bouts {
        // As JSON and the text have them: 300, not 300.0.
        let number = |value: Option<f64>| value.map(|n| n.to_string()).unwrap_or_default();
        table.write_record([
            bout.gait.word().to_owned(),
            number(Some(bout.start_s)),
            number(Some(bout.end_s)),
            number(Some(bout.certainty)),
            number(bout.distance_m),
            number(bout.mean_speed_mps),
            number(bout.mean_cadence_spm),
            number(bout.mean_heart_rate_bpm),
        ])?;
    }
    table.into_inner().map_err(|error| error.into_error().into())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Source;
    use jogaudit_core::gait::{Bout, Gait, Segmentation};
    use jogaudit_recording::read::{Facts, Format, Sport};
    use jogaudit_recording::units::LengthUnit;

    #[test]
    fn what_is_not_known_is_empty() {
        let bout = Bout {
            gait: Gait::Stand,
            start_s: 0.0,
            end_s: 12.34,
            start_error_s: 0.0,
            end_error_s: 0.0,
            certainty: 0.95,
            distance_m: Some(0.0),
            mean_speed_mps: None,
            mean_cadence_spm: None,
            mean_heart_rate_bpm: Some(f64::NAN),
        };
        let facts = Facts {
            format: Format::Fit,
            sport: Sport::Running,
            start: jiff::Timestamp::UNIX_EPOCH,
            utc_offset_s: None,
            samples: 13,
            channels: vec![],
        };
        let source = Source { facts: &facts, sha256: "" };
        let view =
            BoutsView::new(source, &Segmentation::new(vec![bout]).unwrap(), &[], LengthUnit::Kilometre);
        let header =
            "gait,start_s,end_s,certainty,distance_m,mean_speed_mps,mean_cadence_spm,mean_heart_rate_bpm";
        assert_eq!(bouts(&view), format!("{header}\r\nstand,0,12.3,0.95,0,,,\r\n"));
    }
}
