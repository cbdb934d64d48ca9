//! [`Plan`] → the plan file that reads back as it.

use std::fmt::{self, Write as _};

use super::{bounds, weekday_word};
use crate::prescription::scan::{quoted, write_time, written_pace};
use crate::prescription::{Limits, PaceBasis, Plan, Runner, Stage, Tolerance};
use jogaudit_recording::units::{BeatsPerMinute, LengthUnit, Seconds, StepsPerMinute};

/// Keys with their values as the file has them.
type Entries = Vec<(&'static str, String)>;

/// The plan file: what stands in it, without the comments and the order of a file that it was read from.
impl fmt::Display for Plan {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.to_toml(|_| None))
    }
}

impl Plan {
    /// Writes the plan file. `comment` gives what stands behind `[[stage]]` of the stage at a place, in one line.
    ///
    /// Limits that all stages share stand under `[limits]`.
    pub fn to_toml(&self, comment: impl Fn(usize) -> Option<String>) -> String {
        let mut out = String::new();
        entries(&mut out, &self.top());
        section(&mut out, "[runner]", &runner(self.runner));
        let shared = self.shared_limits();
        section(&mut out, "[limits]", &shared);
        section(&mut out, "[tolerance]", &tolerance(self.tolerance));
        for place in 0..self.places() {
            let kinds = self.stages.get(self.kinds_at(place)).unwrap_or_default();
            let comment = comment(place).map(|comment| format!("  # {comment}")).unwrap_or_default();
            let _ = writeln!(out, "\n[[stage]]{comment}");
            self.write_stage(&mut out, kinds, &shared);
        }
        for other in &self.other {
            section(&mut out, "[[other]]", &vec![("sport", quoted(&other.sport))]);
        }
        out
    }

    fn top(&self) -> Entries {
        let mut top = vec![("title", quoted(&self.title))];
        let mut text = |key, value: Option<&str>| top.extend(value.map(|value| (key, quoted(value))));
        text("timezone", self.timezone.as_deref());
        text("units", self.units.map(LengthUnit::word));
        text("note", self.note.as_deref());
        text("contact", self.contact.as_deref());
        top.extend(self.start.map(|date| ("start", date.to_string())));
        if !self.weekdays.is_empty() {
            let days: Vec<String> = self.weekdays.iter().map(|day| quoted(weekday_word(*day))).collect();
            top.push(("weekdays", format!("[{}]", days.join(", "))));
        }
        top
    }

    /// What stands alike in the limits of every stage.
    fn shared_limits(&self) -> Entries {
        let mut all = self.stages.iter().map(|stage| limits(&stage.limits));
        let mut shared = all.next().unwrap_or_default();
        for other in all {
            shared.retain(|entry| other.contains(entry));
        }
        shared
    }

    /// Writes a stage with all its kinds of session.
    fn write_stage(&self, out: &mut String, kinds: &[Stage], shared: &Entries) {
        let Some(first) = kinds.first() else { return };
        let own = |stage: &Stage| {
            let own = limits(&stage.limits).into_iter().filter(|entry| !shared.contains(entry));
            own.collect::<Entries>()
        };
        let mut lines = vec![("name", quoted(first.stage_name()))];
        if first.kind.is_none() {
            lines.push(("session", quoted(&first.session.to_string())));
        }
        lines.extend(first.sessions.map(|n| ("sessions", n.to_string())));
        lines.extend(first.weeks.map(|n| ("weeks", n.to_string())));
        lines.extend(first.note.as_deref().map(|note| ("note", quoted(note))));
        let contact = first.contact.as_deref().filter(|contact| self.contact.as_deref() != Some(*contact));
        lines.extend(contact.map(|contact| ("contact", quoted(contact))));
        if first.kind.is_none() {
            lines.extend(own(first));
        }
        entries(out, &lines);
        for (kind, stage) in kinds.iter().filter_map(|stage| Some((stage.kind.as_ref()?, stage))) {
            let a_week = whole_or_range(kind.a_week);
            let mut lines = vec![
                ("name", quoted(&kind.name)),
                ("do", quoted(&stage.session.to_string())),
                ("a_week", a_week),
            ];
            lines.extend(own(stage));
            let _ = writeln!(out, "[[stage.session]]");
            entries(out, &lines);
        }
    }
}

fn entries(out: &mut String, entries: &Entries) {
    for (key, value) in entries {
        let _ = writeln!(out, "{key} = {value}");
    }
}

fn section(out: &mut String, head: &str, lines: &Entries) {
    if !lines.is_empty() {
        let _ = writeln!(out, "\n{head}");
        entries(out, lines);
    }
}

fn runner(runner: Runner) -> Entries {
    let cadence = runner.usual_run_cadence.map(|cadence| ("usual_run_cadence", spm(cadence)));
    let heart_rate = runner.max_heart_rate.map(|rate| ("max_heart_rate", bpm(rate)));
    [cadence, heart_rate].into_iter().flatten().collect()
}

fn tolerance(tolerance: Tolerance) -> Entries {
    if tolerance == Tolerance::default() {
        return Entries::new();
    }
    let Tolerance { run, walk, pace } = tolerance;
    vec![("run", time(run)), ("walk", time(walk)), ("pace", percent(pace))]
}

fn limits(limits: &Limits) -> Entries {
    let whole = |number: u32| number.to_string();
    // What kinds of session add up to may be nothing or more than can be written, and follows from them anyhow.
    let can_be_written = |n: u32| bounds::SESSIONS_PER_WEEK.whole().contains(&n);
    let week = limits.sessions_per_week.filter(|w| can_be_written(w.least) && can_be_written(w.most));
    let lines = [
        ("pace_ceiling", limits.pace_ceiling.map(|speed| quoted(&written_pace(speed)))),
        ("pace_basis", Some(limits.pace_basis).filter(|b| *b != PaceBasis::Ground).map(|b| quoted(b.word()))),
        ("heart_rate_ceiling", limits.heart_rate_ceiling.map(bpm)),
        ("walk_cadence_floor", limits.walk_cadence_floor.map(spm)),
        ("session_ceiling", limits.session_ceiling.map(time)),
        ("sessions_per_week", week.map(whole_or_range)),
        ("rest_days_between", limits.rest_days_between.map(whole)),
        ("weekly_running_increase", limits.weekly_running_increase.map(percent)),
        ("pain_limit", limits.pain_limit.map(|pain| pain.to_string())),
        ("effort_ceiling", limits.effort_ceiling.map(|effort| effort.to_string())),
        ("break_repeat_days", limits.break_repeat_days.map(whole)),
        ("break_step_back_days", limits.break_step_back_days.map(whole)),
        ("clinician_override", limits.clinician_override.as_deref().map(quoted)),
    ];
    lines.into_iter().filter_map(|(key, value)| Some((key, value?))).collect()
}

/// `3`, or `"2 to 3"`.
fn whole_or_range(range: crate::range::Range<u32>) -> String {
    if range.is_exact() { range.to_string() } else { quoted(&range.to_string()) }
}

fn time(time: Seconds) -> String {
    quoted(&write_time(time))
}

fn spm(cadence: StepsPerMinute) -> String {
    quoted(&format!("{} spm", cadence.get()))
}

fn bpm(rate: BeatsPerMinute) -> String {
    quoted(&format!("{} bpm", rate.get()))
}

/// A fraction in percent, as it was written: 0.07 is `7 %`.
fn percent(share: f64) -> String {
    // The shortest number that reads back as the same fraction.
    let rounded = (0..=12).map(|places| {
        let factor = 10_f64.powi(places);
        (share * 100.0 * factor).round() / factor
    });
    // With all its digits the product may be the one beside.
    let product = share * 100.0;
    let beside = [product, product.next_up(), product.next_down()];
    let number = rounded.chain(beside).find(|number| number / 100.0 == share).unwrap_or(product);
    quoted(&format!("{number} %"))
}

#[cfg(test)]
mod tests;
