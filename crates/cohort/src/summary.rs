//! Rows → what each participant did of each stage.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use jogaudit_core::audit::Outcome;
use jogaudit_core::statistics::quantile;
use jogaudit_recording::units;
use jogaudit_report::escaped;
use jogaudit_report::view::tenths;

use super::scored::Scored;
use super::table::Table;
use super::value::{CellKind, Row, Value};

/// Columns of the recordings that a summary needs.
const NEEDED: [&str; 8] = [
    "participant",
    "plan",
    "stage",
    "outcome",
    "run_prescribed_s",
    "run_achieved_s",
    "error_code",
    "left_out",
];
/// The quantiles that are given of the excess.
const QUANTILES: [(&str, f64); 5] =
    [("q10", 0.1), ("q25", 0.25), ("median", 0.5), ("q75", 0.75), ("q90", 0.9)];

/// The outcomes in the order of their columns.
const OUTCOMES: [Outcome; 4] = [Outcome::Kept, Outcome::Underdone, Outcome::Overdone, Outcome::Undecided];

/// Collects what a summary needs while the rows go by.
pub(super) struct Tally {
    positions: Vec<usize>,
    rows: Vec<Row>,
}

/// A summary: its rows and their columns.
pub(super) struct Summary {
    pub(super) table: Table,
    pub(super) rows: Vec<Row>,
}

impl Tally {
    pub(super) fn new(recordings: &Table) -> Self {
        let positions: Vec<usize> = NEEDED.iter().filter_map(|name| recordings.position(name)).collect();
        Self { positions, rows: Vec::new() }
    }

    pub(super) fn add(&mut self, rows: &[Row]) {
        for row in rows {
            let mut kept: Row = self.positions.iter().map(|at| row[*at].clone()).collect();
            if kept[7].text().is_some() {
                continue;
            }
            let excess =
                kept[5].real().zip(kept[4].real()).map(|(achieved, prescribed)| achieved - prescribed);
            kept.push(Value::from(excess));
            self.rows.push(kept);
        }
    }

    /// Sums up each participant and stage, in order of both.
    pub(super) fn summary(&self) -> Summary {
        let mut groups: BTreeMap<[Option<&str>; 3], Vec<&Row>> = BTreeMap::new();
        for row in &self.rows {
            groups.entry([0, 1, 2].map(|at| row[at].text())).or_default().push(row);
        }
        let mut rows: Vec<Row> = groups.values().map(|group| line(group)).collect();
        rows.sort_by(|a, b| key(a).partial_cmp(&key(b)).unwrap_or(std::cmp::Ordering::Equal));
        Summary { table: table(), rows }
    }
}

/// Participant and plan by name, stage by number where it is one.
fn key(row: &Row) -> (&str, &str, f64, &str) {
    let text = |at: usize| row[at].text().unwrap_or_default();
    (text(0), text(1), text(2).parse().unwrap_or(f64::MAX), text(2))
}

/// The columns of a summary; [`line`] fills them.
fn table() -> Table {
    let mut table = Table::new("jogaudit.batch.summary/1", "a participant and stage", |_| 0);
    let mut add = |name: &str, unit, kind, about: &str| {
        table.add(name, unit, kind, about, |_: &Scored, _| Value::Missing);
    };
    add("participant", "", CellKind::Text, "From the roster");
    add("plan", "", CellKind::Text, "Title of the plan");
    add("stage", "", CellKind::Text, "Name of the stage");
    add("recordings", "", CellKind::Whole, "Recordings");
    add("failed", "", CellKind::Whole, "Recordings without a result");
    for outcome in OUTCOMES.map(Outcome::word) {
        add(outcome, "", CellKind::Whole, &format!("Sessions with the outcome `{outcome}`"));
    }
    add("kept_share", "", CellKind::Real, "Kept sessions among those that are kept, underdone or overdone");
    add("run_prescribed_s", "s", CellKind::Real, "Mean prescribed running time of a session");
    add("run_achieved_s", "s", CellKind::Real, "Mean running time of a session as done");
    for (name, quantile) in QUANTILES {
        let about = format!(
            "Running time beyond the prescribed, quantile {quantile} of the sessions (linear between two)"
        );
        add(&format!("excess_{name}_s"), "s", CellKind::Real, &about);
    }
    table
}

/// The line of the recordings of one participant and stage: rows as a [`Tally`] keeps them.
fn line(group: &[&Row]) -> Row {
    let count = |outcome: Outcome| group.iter().filter(|row| row[3].text() == Some(outcome.word())).count();
    let known = |at: usize| group.iter().filter_map(|row| row[at].real()).collect::<Vec<f64>>();
    let mean = |values: &[f64]| {
        (!values.is_empty()).then(|| tenths(values.iter().sum::<f64>() / values.len() as f64)).into()
    };
    let failed = group.iter().filter(|row| row[6].text().is_some()).count();
    let [kept, underdone, overdone, undecided] = OUTCOMES.map(count);
    let decided = kept + underdone + overdone;
    let share = (decided > 0).then(|| (kept as f64 / decided as f64 * 1000.0).round() / 1000.0);
    let mut row: Row = group[0][..3].to_vec();
    row.extend([group.len(), failed, kept, underdone, overdone, undecided].map(Value::from));
    row.extend([share.into(), mean(&known(4)), mean(&known(5))]);
    let mut excess = known(8);
    excess.sort_by(f64::total_cmp);
    for (_, share) in QUANTILES {
        row.push(quantile(&excess, share).map(tenths).into());
    }
    row
}

impl Summary {
    /// For reading, 80 columns: of each plan a table of outcomes and one of running times.
    pub(super) fn text(&self) -> String {
        const OUTCOMES: [&str; 8] =
            ["participant", "stage", "kept", "underdone", "overdone", "undecided", "failed", "share"];
        const OUTCOME_WIDTHS: [usize; 8] = [16, 10, 6, 11, 10, 11, 8, 7];
        const RUNNING: [&str; 7] = ["participant", "stage", "planned", "done", "10 %", "half", "90 %"];
        const RUNNING_WIDTHS: [usize; 7] = [16, 10, 9, 9, 8, 8, 8];
        let mut page = String::new();
        let mut plans: Vec<&Value> = Vec::new();
        for row in &self.rows {
            if !plans.contains(&&row[1]) {
                plans.push(&row[1]);
            }
        }
        for plan in plans {
            let rows = || self.rows.iter().filter(|row| row[1] == *plan);
            let _ = writeln!(page, "Plan “{}”\n", short(plan));
            print(&mut page, &OUTCOME_WIDTHS, &OUTCOMES.map(str::to_owned));
            for row in rows() {
                let share = row[9].real().map_or("–".into(), |share| format!("{:.0} %", share * 100.0));
                let mut cells = [0, 2, 5, 6, 7, 8, 4].map(|at| short(&row[at])).to_vec();
                cells.push(share);
                print(&mut page, &OUTCOME_WIDTHS, &cells);
            }
            page.push('\n');
            print(&mut page, &RUNNING_WIDTHS, &RUNNING.map(str::to_owned));
            for row in rows() {
                let mut cells = [0, 2].map(|at| short(&row[at])).to_vec();
                cells.extend([10, 11].map(|at| clock(&row[at])));
                cells.extend([12, 14, 16].map(|at| seconds(&row[at])));
                print(&mut page, &RUNNING_WIDTHS, &cells);
            }
            page.push('\n');
        }
        page.push_str(
            "undecided: the data cannot tell. failed: no result. share: of kept among kept,\n\
             underdone and overdone. planned, done: mean running time of a session. 10 %,\n\
             half, 90 %: quantiles of the running beyond the planned, s. This judges\n\
             recordings, not bodies.\n",
        );
        page
    }
}

/// One line; the first two cells are names.
fn print(page: &mut String, widths: &[usize], cells: &[String]) {
    for (at, (cell, &width)) in cells.iter().zip(widths).enumerate() {
        let _ = match at {
            0 | 1 => write!(page, "{:<width$}", clipped(cell, width - 1)),
            _ => write!(page, "{cell:>width$}"),
        };
    }
    page.push('\n');
}

fn short(value: &Value) -> String {
    let text = value.to_plain();
    if text.is_empty() { "–".to_owned() } else { escaped(&text).into_owned() }
}

fn clipped(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    text.chars().take(width - 1).chain(['…']).collect()
}

fn clock(value: &Value) -> String {
    value.real().map_or("–".into(), units::clock)
}

fn seconds(value: &Value) -> String {
    value.real().map_or("–".into(), |s| format!("{s:+.0}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::columns::recordings;

    fn row(participant: &str, stage: &str, outcome: &str, achieved_s: f64) -> Row {
        let table = recordings();
        let mut row = vec![Value::Missing; table.fields.len()];
        let mut set = |name: &str, value: Value| row[table.position(name).unwrap()] = value;
        set("participant", participant.into());
        set("plan", "x".into());
        set("stage", stage.into());
        if outcome == "failed" {
            set("error_code", "empty".into());
        } else {
            set("outcome", outcome.into());
            set("run_prescribed_s", 360.0.into());
            set("run_achieved_s", achieved_s.into());
        }
        row
    }

    #[test]
    fn shares_and_quantiles_are_those_worked_by_hand() {
        let mut tally = Tally::new(&recordings());
        tally.add(&[
            row("b", "10", "kept", 360.0),
            row("a", "2", "kept", 360.0),
            row("a", "2", "overdone", 400.0),
            row("b", "9", "undecided", 350.0),
            row("a", "2", "underdone", 340.0),
        ]);
        tally.add(&[row("a", "2", "kept", 370.0), row("a", "2", "failed", 0.0)]);
        let summary = tally.summary();
        let order: Vec<_> = summary.rows.iter().map(|row| (row[0].text(), row[2].text())).collect();
        assert_eq!(order, [(Some("a"), Some("2")), (Some("b"), Some("9")), (Some("b"), Some("10"))]);
        // a, stage 2: 5 recordings, 1 failed; excesses -20, 0, 10, 40. Kept 2 of 4. Mean done 367.5. Linear between
        // order statistics: position q × 3: 10 % at 0.3: -14; 25 % at 0.75: -5; median 5; 75 % at 2.25: 17.5; 90 % at
        // 2.7: 31.
        let expected = [5, 1, 2, 1, 1, 0].map(Value::Whole).into_iter();
        let reals = [0.5, 360.0, 367.5, -14.0, -5.0, 5.0, 17.5, 31.0].map(Value::Real);
        assert_eq!(summary.rows[0][3..].to_vec(), expected.chain(reals).collect::<Vec<_>>());
        assert_eq!(summary.rows[1][9], Value::Missing, "nothing decided: no share");
        let text = summary.text();
        for line in [
            "\na               2              2          1         1          0       1   50 %\n",
            "\na               2              6:00     6:08     -14      +5     +31\n",
        ] {
            assert!(text.contains(line), "{text}");
        }
    }

    #[test]
    fn nothing_sums_up_to_nothing() {
        assert!(Tally::new(&recordings()).summary().rows.is_empty());
    }
}
