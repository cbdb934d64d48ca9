//! Whether ours is at least as good as the best rival, column by column, told by arithmetic on the same recordings.

use std::collections::BTreeMap;

use crate::score::Score;
use crate::sessions::choice;

/// Scores of one recording after another, by who.
pub(crate) type Scores = BTreeMap<(usize, String), Vec<Score>>;

struct Column {
    name: &'static str,
    value: fn(&Score) -> f64,
    more_is_better: bool,
    /// Whether only bouts that were found count, which favours who finds the easy ones alone.
    of_matched: bool,
}

const COLUMNS: [Column; 6] = [
    Column {
        name: "time right, %",
        value: |s| 100.0 * s.time_right(),
        more_is_better: true,
        of_matched: false,
    },
    Column { name: "event F1", value: Score::event_f1, more_is_better: true, of_matched: false },
    Column {
        name: "boundary median, s",
        value: |s| s.boundary_s(0.5),
        more_is_better: false,
        of_matched: true,
    },
    Column { name: "95th, s", value: |s| s.boundary_s(0.95), more_is_better: false, of_matched: true },
    Column {
        name: "exact count, %",
        value: |s| 100.0 * s.exact_count(),
        more_is_better: true,
        of_matched: false,
    },
    Column {
        name: "calibration error",
        value: Score::calibration_error,
        more_is_better: false,
        of_matched: false,
    },
];

/// An F1 lower than ours by more than this makes a rival's boundaries another set of boundaries.
const FEWER_FOUND: f64 = 0.05;
const RESAMPLES: u64 = 400;

/// Counts over all conditions.
#[derive(Default)]
pub(crate) struct Tally {
    kept: usize,
    /// Behind the best rival: in all, by chance as likely as not (ahead in at least 5 % of the resamples), and only behind
    /// rivals that find far fewer bouts.
    behind: usize,
    within_chance: usize,
    behind_fewer_found: usize,
    /// Conditions without cadence under typical reception, and how many of them keep half the count errors, half the 95th.
    halves: (usize, usize, usize),
}

impl Column {
    /// By how much `a` is better than `b`; 0 when both are perfect or alike.
    fn lead(&self, a: f64, b: f64) -> f64 {
        if self.more_is_better { a - b } else { b - a }
    }

    /// The best of those who have this column.
    fn best<'a>(&self, rivals: &[(&'a str, Score)]) -> Option<(&'a str, f64, f64)> {
        rivals
            .iter()
            .map(|(who, score)| (*who, (self.value)(score), score.event_f1()))
            .filter(|(_, value, _)| value.is_finite())
            .max_by(|a, b| self.lead(a.1, b.1).total_cmp(&0.0))
    }
}

pub(crate) fn head() -> String {
    let names: Vec<&str> = COLUMNS.iter().map(|c| c.name).collect();
    format!(
        "| condition | {} | count errors, share of the best rival's | 95th, share |\n|{}",
        names.join(" | "),
        "---|".repeat(COLUMNS.len() + 3)
    )
}

/// One row: ours less the best rival, positive when ours is better.
pub(crate) fn row(condition: &str, scores: &Scores, tally: &mut Tally) -> String {
    let own = &scores[&(0, "ours".to_owned())];
    let all = |resample: &dyn Fn(usize) -> usize| -> (Score, Vec<(&str, Score)>) {
        let sum = |list: &Vec<Score>| Score::sum((0..list.len()).map(|k| &list[resample(k)]));
        let rivals = scores.iter().filter(|(key, list)| key.0 > 0 && list.len() == own.len());
        (sum(own), rivals.map(|((_, who), list)| (who.as_str(), sum(list))).collect())
    };
    let (ours, rivals) = all(&|k| k);
    let mut cells = Vec::new();
    for column in &COLUMNS {
        let Some((who, best, f1)) = column.best(&rivals) else {
            cells.push("–".to_owned());
            continue;
        };
        let lead = column.lead((column.value)(&ours), best);
        if lead >= 0.0 {
            tally.kept += 1;
            cells.push(format!("+{lead:.3}"));
            continue;
        }
        // How often ours is ahead when the recordings are drawn anew (bootstrap, Efron 1979).
        let ahead = (0..RESAMPLES)
            .filter(|&draw| {
                let (ours, rivals) = all(&|k| choice(k as u64, draw + 1, own.len() as u64) as usize);
                column
                    .best(&rivals)
                    .is_none_or(|(_, best, _)| column.lead((column.value)(&ours), best) >= 0.0)
            })
            .count() as f64
            / RESAMPLES as f64;
        let fewer = column.of_matched && ours.event_f1() - f1 > FEWER_FOUND;
        tally.behind += 1;
        tally.within_chance += usize::from(ahead >= 0.05);
        tally.behind_fewer_found += usize::from(fewer);
        let mark = if fewer { format!(", F1 {f1:.2}") } else { String::new() };
        cells.push(format!("**−{:.3}** ({who}{mark}; ahead in {:.0} %)", -lead, 100.0 * ahead));
    }
    let least = |value: fn(&Score) -> f64| rivals.iter().map(|(_, s)| value(s)).fold(f64::INFINITY, f64::min);
    let share = |own: f64, best: f64| if own == 0.0 { 0.0 } else { own / best };
    let count = share(ours.count_error(), least(Score::count_error));
    let last = share(ours.boundary_s(0.95), least(|s| s.boundary_s(0.95)));
    if !condition.starts_with("cadence") && condition.contains("typical") {
        tally.halves.0 += 1;
        tally.halves.1 += usize::from(count <= 0.5);
        tally.halves.2 += usize::from(last <= 0.5);
    }
    format!("| {condition} | {} | {count:.2} | {last:.2} |", cells.join(" | "))
}

impl Tally {
    pub(crate) fn text(&self) -> String {
        format!(
            "At least as good as the best rival in {} of {} cells; behind in {}, of which {} are within chance (ahead in 5 % or \
             more of {RESAMPLES} resamples) and {} are boundaries of a rival that finds far fewer bouts (F1 lower by more than \
             {FEWER_FOUND}). Without cadence, typical reception: at most half of the best rival's count errors in {} of {}, \
             at most half of its 95th percentile in {}.",
            self.kept,
            self.kept + self.behind,
            self.behind,
            self.within_chance,
            self.behind_fewer_found,
            self.halves.1,
            self.halves.0,
            self.halves.2
        )
    }
}
