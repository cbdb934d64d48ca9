//! Stages of a plan file: their sessions, one kind or several.

use std::ops::Range as Span;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::words::{WORD_KEYS, Words};
use super::{Given, KIND_KEYS, LIMIT_KEYS, Reader, STAGE_KEYS, bounds};
use crate::prescription::error::quoted;
use crate::prescription::expand::work;
use crate::prescription::{Count, Kind, Limits, Session, Stage};
use crate::range::Range;

/// Kinds of session of a stage at most, our choice: one for each session that a week may have.
const MOST_KINDS: usize = 14;

/// Runs and walks of a plan, each way to do a session counted, our choice: 500 stages of 200. Looking at more would take
/// long.
pub(in crate::prescription) const MOST_WORK: usize = 100_000;

/// What the kinds of session of a stage have in common.
struct Shared {
    name: Option<String>,
    place: usize,
    sessions: Option<u32>,
    weeks: Option<u32>,
    own: Given,
    words: Words,
}

impl Shared {
    fn stage(&self, kind: Option<Kind>, session: Session, limits: Limits) -> Option<Stage> {
        let name = self.name.clone()?;
        let name = kind.as_ref().map_or(name.clone(), |kind| format!("{name}/{}", kind.name));
        let Words { note, contact } = self.words.clone();
        let (place, sessions, weeks) = (self.place, self.sessions, self.weeks);
        Some(Stage { name, place, kind, session, sessions, weeks, limits, note, contact })
    }
}

impl<'i> Reader<'i> {
    /// Reads a stage: an entry for each kind of session that it holds.
    pub(super) fn stage(
        &mut self,
        table: &DeTable<'i>,
        span: Span<usize>,
        place: usize,
        plan_limits: &Given,
    ) -> Vec<Stage> {
        self.known_keys(table, &[STAGE_KEYS, WORD_KEYS, LIMIT_KEYS], "of [[stage]]");
        for (key, example) in [("name", "\"1\""), ("session", "\"6 x (run 1:00, walk 2:00)\"")] {
            if !table.contains_key(key) {
                self.fault(
                    span.clone(),
                    format!("expected a `{key}` in this stage, such as `{key} = {example}`"),
                );
            }
        }
        if let (Some(_), Some(weeks)) = (table.get("sessions"), table.get("weeks")) {
            self.fault(weeks.span(), "expected either `sessions` or `weeks` in a stage, not both");
        }
        let shared = Shared {
            name: self.name(table, "name", &bounds::NAME_LENGTH),
            place,
            sessions: self.whole(table, "sessions", &bounds::STAGE_SESSIONS),
            weeks: self.whole(table, "weeks", &bounds::STAGE_WEEKS),
            own: self.limits(table),
            words: self.words(table),
        };
        if let Some(value) = table.get("session")
            && let DeValue::Array(entries) = value.get_ref()
        {
            if entries.is_empty() || entries.len() > MOST_KINDS {
                let expected = "one to 14 kinds of session: `[[stage.session]]` with a `name` and a `do`";
                self.fault(value.span(), format!("expected {expected}"));
                return Vec::new();
            }
            return self.kinds(entries, value.span(), &shared, plan_limits);
        }
        let session = self.session(table, "session");
        let limits = shared.own.or(plan_limits);
        session.and_then(|session| shared.stage(None, session, limits)).into_iter().collect()
    }

    fn kinds(
        &mut self,
        entries: &[Spanned<DeValue<'i>>],
        span: Span<usize>,
        shared: &Shared,
        plan_limits: &Given,
    ) -> Vec<Stage> {
        let mut stages: Vec<Stage> = Vec::new();
        for entry in entries {
            let DeValue::Table(table) = entry.get_ref() else {
                self.wrong_kind(
                    entry,
                    entry.get_ref(),
                    "`[[stage.session]]`, with two brackets on each side",
                );
                continue;
            };
            self.known_keys(table, &[KIND_KEYS, LIMIT_KEYS], "of [[stage.session]]");
            for (key, example) in [("name", "\"steady\""), ("do", "\"run 18:20 to 22:10\"")] {
                if !table.contains_key(key) {
                    let expected =
                        format!("expected a `{key}` in this kind of session, such as `{key} = {example}`");
                    self.fault(entry.span(), expected);
                }
            }
            let name = self.name(table, "name", &bounds::NAME_LENGTH);
            let a_week = self.whole_or_range(table, "a_week", &bounds::KIND_A_WEEK);
            let session = self.session(table, "do");
            let limits = self.limits(table).or_given(&shared.own).or(plan_limits);
            let (Some(name), Some(session)) = (name, session) else { continue };
            if stages.iter().any(|s| s.kind.as_ref().is_some_and(|kind| kind.name == name)) {
                let at = table.get("name").map_or(entry.span(), Spanned::span);
                self.fault(at, format!("expected another name: an earlier kind is {} too", quoted(&name)));
            }
            let kind = Kind { name, a_week: a_week.unwrap_or(Range::exactly(1)) };
            stages.extend(shared.stage(Some(kind), session, limits));
        }
        let kinds = stages.iter().filter_map(|stage| stage.kind.as_ref());
        let sum = kinds.fold(Range::exactly(0), |sum: Range<u32>, kind| Range {
            least: sum.least + kind.a_week.least,
            most: sum.most + kind.a_week.most,
        });
        for stage in &mut stages {
            match stage.limits.sessions_per_week {
                None if sum.most > 0 => stage.limits.sessions_per_week = Some(sum),
                Some(week) if sum.least > week.most => {
                    let message = format!(
                        "expected kinds that fit a week of {} sessions at most: their `a_week` add up to {}",
                        week.most, sum.least
                    );
                    self.fault(span, message);
                    break;
                }
                None | Some(_) => {}
            }
        }
        stages
    }

    fn session(&mut self, table: &DeTable<'i>, key: &str) -> Option<Session> {
        let (value, text) = self.string(table, key, "run 20:00")?;
        if self.work > MOST_WORK {
            return None; // said where it was too much
        }
        let read = Session::parse(text);
        let session = self.within_string(value, text, read)?;
        self.work = self.work.saturating_add(work(&session));
        if self.work > MOST_WORK {
            let message =
                "expected a plan of 100000 runs and walks at most, each way to do a session counted";
            self.fault(value.span(), message);
        }
        Some(session)
    }

    /// Takes a whole number, or a range of them as text: `3`, `"2 to 3"`.
    pub(super) fn whole_or_range(
        &mut self,
        table: &DeTable<'i>,
        key: &str,
        bound: &bounds::Bound,
    ) -> Option<Range<u32>> {
        let value = table.get(key)?;
        if let DeValue::String(text) = value.get_ref()
            && text.trim().parse::<u32>().is_err()
        {
            let read = Count::parse_range(text, bound);
            return self.within_string(value, text, read);
        }
        self.whole(table, key, bound).map(Range::exactly)
    }
}
