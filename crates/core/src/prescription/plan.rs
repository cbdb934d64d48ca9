//! The plan file, TOML ↔ [`Plan`]. Keys and their meaning: `docs/plan-file.md`.

use std::ops::Range as Span;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use jogaudit_recording::notice::Noted;
use jogaudit_recording::units::{BeatsPerMinute, LengthUnit, MetresPerSecond, Seconds, StepsPerMinute};

use super::bounds::{self, Bound};
use super::error::{LanguageError, PlanError, UnplacedFault, quoted};
use super::scan::Scanner;
use super::source::part_of_string;
use super::suggest::closest;
pub use dates::{parse_weekdays, weekday_word};
pub(super) use stages::MOST_WORK;
pub(super) use words::WORD_KEYS;
use words::Words;

use super::{Limits, PaceBasis, Plan, Runner, Stage, Tolerance};
use crate::range::Range;

const PLAN_KEYS: &[&str] =
    &["title", "timezone", "units", "start", "weekdays", "runner", "limits", "tolerance", "stage", "other"];
pub(super) const RUNNER_KEYS: &[&str] = &["usual_run_cadence", "max_heart_rate"];
const TOLERANCE_KEYS: &[&str] = &["run", "walk", "pace"];
pub(super) const LIMIT_KEYS: &[&str] = &[
    "pace_ceiling",
    "pace_basis",
    "heart_rate_ceiling",
    "walk_cadence_floor",
    "walk_cadence_within",
    "session_ceiling",
    "sessions_per_week",
    "rest_days_between",
    "weekly_running_increase",
    "pain_limit",
    "effort_ceiling",
    "break_repeat_days",
    "break_step_back_days",
    "clinician_override",
];
pub(super) const STAGE_KEYS: &[&str] = &["name", "session", "sessions", "weeks"];
pub(super) const KIND_KEYS: &[&str] = &["name", "do", "a_week"];

impl Plan {
    /// Reads a plan file.
    ///
    /// # Errors
    /// When the text is not TOML, or has an unknown key, a bad unit, a value outside its bounds, no stage, two stages
    /// of one name, or an unknown time zone. All mistakes that can be told apart are in the error.
    ///
    /// # Example
    /// ```
    /// use jogaudit_core::prescription::Plan;
    /// let text = "title = 'Back on the path'\n[[stage]]\nname = '1'\nsession = '6 x (run 1:00, walk 2:00)'";
    /// let plan = Plan::parse(text)?.value;
    /// assert_eq!(plan.stage("1").and_then(|stage| stage.session.dose().run).map(|run| run.most.get()), Some(360.0));
    /// # Ok::<(), jogaudit_core::prescription::PlanError>(())
    /// ```
    pub fn parse(text: &str) -> Result<Noted<Self>, PlanError> {
        let unmarked = text.strip_prefix('\u{feff}').unwrap_or(text);
        let (table, errors) = DeTable::parse_recoverable(unmarked);
        let mut reader = Reader {
            text: unmarked,
            faults: Vec::new(),
            work: 0,
            usual_run_cadence: None,
            names_run_cadence: false,
        };
        for error in &errors {
            let end = unmarked.len();
            let message = format!("not valid TOML: {}", error.message());
            reader.fault(error.span().unwrap_or(end..end), message);
        }
        // What is said about keys of a text that is not TOML would only confuse.
        let plan = if errors.is_empty() { reader.plan(table.get_ref()) } else { None };
        match (PlanError::of(unmarked, reader.faults), plan) {
            (None, Some(plan)) => Ok(Noted::plain(plan)),
            (Some(error), _) => Err(error),
            (None, None) => unreachable!("a plan that was not read has a fault"),
        }
    }
}

/// Limits as one table gives them.
#[derive(Clone, Default)]
struct Given {
    pace_ceiling: Option<MetresPerSecond>,
    pace_basis: Option<PaceBasis>,
    heart_rate_ceiling: Option<BeatsPerMinute>,
    walk_cadence_floor: Option<StepsPerMinute>,
    session_ceiling: Option<Seconds>,
    sessions_per_week: Option<Range<u32>>,
    rest_days_between: Option<u32>,
    weekly_running_increase: Option<f64>,
    pain_limit: Option<f64>,
    effort_ceiling: Option<f64>,
    break_repeat_days: Option<u32>,
    break_step_back_days: Option<u32>,
    clinician_override: Option<String>,
}

impl Given {
    /// These, with those of `outer` where none is given.
    fn or_given(&self, outer: &Self) -> Self {
        Self {
            pace_ceiling: self.pace_ceiling.or(outer.pace_ceiling),
            pace_basis: self.pace_basis.or(outer.pace_basis),
            heart_rate_ceiling: self.heart_rate_ceiling.or(outer.heart_rate_ceiling),
            walk_cadence_floor: self.walk_cadence_floor.or(outer.walk_cadence_floor),
            session_ceiling: self.session_ceiling.or(outer.session_ceiling),
            sessions_per_week: self.sessions_per_week.or(outer.sessions_per_week),
            rest_days_between: self.rest_days_between.or(outer.rest_days_between),
            weekly_running_increase: self.weekly_running_increase.or(outer.weekly_running_increase),
            pain_limit: self.pain_limit.or(outer.pain_limit),
            effort_ceiling: self.effort_ceiling.or(outer.effort_ceiling),
            break_repeat_days: self.break_repeat_days.or(outer.break_repeat_days),
            break_step_back_days: self.break_step_back_days.or(outer.break_step_back_days),
            clinician_override: self.clinician_override.clone().or_else(|| outer.clinician_override.clone()),
        }
    }

    /// The limits, with those of `plan` where none is given.
    fn or(&self, plan: &Self) -> Limits {
        let given = self.or_given(plan);
        Limits {
            pace_ceiling: given.pace_ceiling,
            pace_basis: given.pace_basis.unwrap_or_default(),
            heart_rate_ceiling: given.heart_rate_ceiling,
            walk_cadence_floor: given.walk_cadence_floor,
            session_ceiling: given.session_ceiling,
            sessions_per_week: given.sessions_per_week,
            rest_days_between: given.rest_days_between,
            weekly_running_increase: given.weekly_running_increase,
            pain_limit: given.pain_limit,
            effort_ceiling: given.effort_ceiling,
            break_repeat_days: given.break_repeat_days,
            break_step_back_days: given.break_step_back_days,
            clinician_override: given.clinician_override,
        }
    }
}

/// Stages of a plan, our choice: three a week for three years stay below.
pub(super) const MOST_STAGES: usize = 500;

type Value<'a, 'i> = &'a Spanned<DeValue<'i>>;

/// Reads values and collects what is wrong with them.
struct Reader<'i> {
    text: &'i str,
    faults: Vec<UnplacedFault>,
    /// Runs and walks of all sessions so far.
    work: usize,
    /// What `walk_cadence_within` is measured from.
    usual_run_cadence: Option<StepsPerMinute>,
    /// Whether the plan has one, even if it cannot be read.
    names_run_cadence: bool,
}

impl<'i> Reader<'i> {
    fn fault(&mut self, span: Span<usize>, message: impl Into<String>) {
        self.helpful(span, message, None);
    }

    fn helpful(&mut self, span: Span<usize>, message: impl Into<String>, help: Option<String>) {
        self.faults.push(UnplacedFault { span, message: message.into(), help });
    }

    fn plan(&mut self, table: &DeTable<'i>) -> Option<Plan> {
        self.known_keys(table, &[PLAN_KEYS, WORD_KEYS], "of a plan");
        let title =
            self.name(table, "title", &bounds::TITLE_LENGTH).unwrap_or_else(|| "Untitled plan".to_owned());
        let timezone = self.timezone(table);
        let units = self.units(table);
        let (start, weekdays) = (self.start(table), self.weekdays(table));
        let words = self.words(table);
        let runner = self.section(table, "runner", RUNNER_KEYS, Self::runner);
        let tolerance = self.section(table, "tolerance", TOLERANCE_KEYS, Self::tolerance);
        self.usual_run_cadence = runner.usual_run_cadence;
        let limits = self.section(table, "limits", LIMIT_KEYS, Self::limits);
        let other = self.other(table);
        let mut stages = self.stages(table, &limits)?;
        for stage in &mut stages {
            stage.contact = stage.contact.take().or_else(|| words.contact.clone());
        }
        let Words { note, contact } = words;
        Some(Plan {
            title,
            timezone,
            units,
            start,
            weekdays,
            note,
            contact,
            runner,
            tolerance,
            stages,
            other,
        })
    }

    /// Reads a `[section]`; a missing one as an empty one.
    fn section<T>(
        &mut self,
        table: &DeTable<'i>,
        key: &str,
        keys: &[&str],
        read: impl FnOnce(&mut Self, &DeTable<'i>) -> T,
    ) -> T {
        let empty = DeTable::new();
        let section = match table.get(key).map(|value| (value, value.get_ref())) {
            None => &empty,
            Some((_, DeValue::Table(section))) => section,
            Some((value, other)) => {
                self.wrong_kind(value, other, &format!("a section `[{key}]`"));
                &empty
            }
        };
        self.known_keys(section, &[keys], &format!("of [{key}]"));
        read(self, section)
    }

    fn runner(&mut self, table: &DeTable<'i>) -> Runner {
        self.names_run_cadence = table.contains_key("usual_run_cadence");
        Runner {
            usual_run_cadence: self.cadence(
                table,
                "usual_run_cadence",
                "168 spm` or `84 rpm",
                &bounds::RUN_CADENCE,
            ),
            max_heart_rate: self
                .number(table, "max_heart_rate", "bpm", "182 bpm", &bounds::MAX_HEART_RATE)
                .map(BeatsPerMinute::new),
        }
    }

    fn tolerance(&mut self, table: &DeTable<'i>) -> Tolerance {
        let default = Tolerance::default();
        let duration = |scanner: &mut Scanner<'_>| scanner.duration(&bounds::TIME_TOLERANCE);
        Tolerance {
            run: self.quantity(table, "run", "10 s", duration).unwrap_or(default.run),
            walk: self.quantity(table, "walk", "15 s", duration).unwrap_or(default.walk),
            pace: self.percent(table, "pace", "3 %", &bounds::PACE_TOLERANCE).unwrap_or(default.pace),
        }
    }

    fn limits(&mut self, table: &DeTable<'i>) -> Given {
        Given {
            pace_ceiling: self
                .quantity(table, "pace_ceiling", "6:45 /km", |scanner: &mut Scanner<'_>| scanner.pace()),
            pace_basis: self.pace_basis(table),
            heart_rate_ceiling: self
                .number(table, "heart_rate_ceiling", "bpm", "150 bpm", &bounds::HEART_RATE)
                .map(BeatsPerMinute::new),
            walk_cadence_floor: self.walk_cadence_floor(table),
            session_ceiling: self.quantity(table, "session_ceiling", "45:00", |scanner| {
                scanner.duration(&bounds::SESSION_CEILING)
            }),
            sessions_per_week: self.whole_or_range(table, "sessions_per_week", &bounds::SESSIONS_PER_WEEK),
            rest_days_between: self.whole(table, "rest_days_between", &bounds::REST_DAYS),
            weekly_running_increase: self.percent(
                table,
                "weekly_running_increase",
                "25 %",
                &bounds::WEEKLY_INCREASE,
            ),
            pain_limit: self.of_ten(table, "pain_limit", &bounds::PAIN),
            effort_ceiling: self.of_ten(table, "effort_ceiling", &bounds::EFFORT),
            break_repeat_days: self.whole(table, "break_repeat_days", &bounds::BREAK_DAYS),
            break_step_back_days: self.whole(table, "break_step_back_days", &bounds::BREAK_DAYS),
            clinician_override: self.name(table, "clinician_override", &bounds::REASON_LENGTH),
        }
    }

    fn stages(&mut self, table: &DeTable<'i>, plan_limits: &Given) -> Option<Vec<Stage>> {
        const EXPECTED: &str = "at least one stage: `[[stage]]` with a `name` and a `session`";
        let Some(value) = table.get("stage") else {
            let end = self.text.trim_end().len();
            self.fault(end..end, format!("expected {EXPECTED}"));
            return None;
        };
        let DeValue::Array(entries) = value.get_ref() else {
            self.wrong_kind(value, value.get_ref(), "`[[stage]]`, with two brackets on each side");
            return None;
        };
        if entries.is_empty() {
            self.fault(value.span(), format!("expected {EXPECTED}"));
        }
        if entries.len() > MOST_STAGES {
            let message = format!("expected at most {MOST_STAGES} stages, found {}", entries.len());
            self.fault(value.span(), message);
            return None;
        }
        let mut stages: Vec<Stage> = Vec::new();
        for (place, entry) in entries.iter().enumerate() {
            let DeValue::Table(table) = entry.get_ref() else {
                self.wrong_kind(entry, entry.get_ref(), "`[[stage]]`, with two brackets on each side");
                continue;
            };
            for stage in self.stage(table, entry.span(), place, plan_limits) {
                // Kinds of one stage that are named alike are said there.
                if stages.iter().any(|earlier| earlier.name == stage.name && earlier.place != stage.place) {
                    let span = table.get("name").map_or(entry.span(), Spanned::span);
                    self.fault(
                        span,
                        format!("expected another name: an earlier stage is {} too", quoted(&stage.name)),
                    );
                }
                stages.push(stage);
            }
        }
        Some(stages)
    }

    fn known_keys(&mut self, table: &DeTable<'i>, known: &[&[&str]], of: &str) {
        for key in table.keys() {
            let word = key.get_ref().as_ref();
            let known = || known.iter().copied().flatten().copied();
            if known().any(|known| known == word) {
                continue;
            }
            let help = match closest(word, known()) {
                Some(meant) => format!("did you mean `{meant}`?"),
                None => format!("known here: {}", known().collect::<Vec<_>>().join(", ")),
            };
            self.helpful(key.span(), format!("{} is no key {of}", quoted(word)), Some(help));
        }
    }

    fn wrong_kind(&mut self, value: Value<'_, 'i>, found: &DeValue<'i>, expected: &str) {
        let found = match found {
            DeValue::String(_) => "text",
            DeValue::Integer(_) | DeValue::Float(_) => "a number",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a section",
        };
        self.fault(value.span(), format!("expected {expected}, found {found}"));
    }

    /// Takes a text.
    fn string<'a>(
        &mut self,
        table: &'a DeTable<'i>,
        key: &str,
        example: &str,
    ) -> Option<(Value<'a, 'i>, &'a str)> {
        let value = table.get(key)?;
        if let DeValue::String(text) = value.get_ref() {
            return Some((value, text.as_ref()));
        }
        self.wrong_kind(value, value.get_ref(), &format!("text in quotes, such as `\"{example}\"`"));
        None
    }

    /// Notes a mistake inside a string where it stands.
    fn within_string<T>(
        &mut self,
        value: Value<'_, 'i>,
        text: &str,
        read: Result<T, LanguageError>,
    ) -> Option<T> {
        read.map_err(|error| {
            let span = part_of_string(self.text, value.span(), text, error.span);
            self.fault(span, format!("expected {}", error.expected));
        })
        .ok()
    }

    /// Takes a quantity written as text with its unit.
    fn quantity<T>(
        &mut self,
        table: &DeTable<'i>,
        key: &str,
        example: &str,
        read: impl FnOnce(&mut Scanner<'_>) -> Result<T, LanguageError>,
    ) -> Option<T> {
        let (value, text) = self.string(table, key, example)?;
        let mut scanner = Scanner::new(text);
        let read = read(&mut scanner).and_then(|quantity| scanner.end().map(|()| quantity));
        self.within_string(value, text, read)
    }

    fn number(
        &mut self,
        table: &DeTable<'i>,
        key: &str,
        unit: &str,
        example: &str,
        bound: &Bound,
    ) -> Option<f64> {
        self.quantity(table, key, example, |scanner| scanner.number(unit, example, bound))
    }

    fn cadence(
        &mut self,
        table: &DeTable<'i>,
        key: &str,
        example: &str,
        bound: &Bound,
    ) -> Option<StepsPerMinute> {
        self.quantity(table, key, example, |scanner| scanner.cadence(example, bound))
    }

    /// Takes the least cadence of a brisk walk: as such, or as how far it may lie below the usual running cadence.
    fn walk_cadence_floor(&mut self, table: &DeTable<'i>) -> Option<StepsPerMinute> {
        let floor = self.cadence(table, "walk_cadence_floor", "110 spm", &bounds::WALK_CADENCE);
        let Some(span) = table.get("walk_cadence_within").map(Spanned::span) else { return floor };
        let within = self.cadence(table, "walk_cadence_within", "24 rpm", &bounds::CADENCE_WITHIN)?;
        if table.contains_key("walk_cadence_floor") {
            self.fault(span, "expected either `walk_cadence_within` or `walk_cadence_floor`, not both");
            return floor;
        }
        let Some(usual) = self.usual_run_cadence else {
            if !self.names_run_cadence {
                self.fault(span, "expected `usual_run_cadence` in [runner] for this to be measured from");
            }
            return None;
        };
        let least = usual - within;
        if let Err(expected) = bounds::WALK_CADENCE.check(least.get()) {
            let message =
                format!("expected {expected}; this much below the usual one it is {:.0} spm", least.get());
            self.fault(span, message);
            return None;
        }
        Some(least)
    }

    /// Takes a percentage, as a fraction.
    fn percent(&mut self, table: &DeTable<'i>, key: &str, example: &str, bound: &Bound) -> Option<f64> {
        self.number(table, key, "%", example, bound).map(|percent| percent / 100.0)
    }

    fn whole(&mut self, table: &DeTable<'i>, key: &str, bound: &Bound) -> Option<u32> {
        let value = table.get(key)?;
        let DeValue::Integer(number) = value.get_ref() else {
            self.wrong_kind(
                value,
                value.get_ref(),
                &format!("{} {}, without quotes", bound.name, bound.range),
            );
            return None;
        };
        let number = u32::from_str_radix(number.as_str(), number.radix()).ok();
        let number = number.filter(|number| bound.whole().contains(number));
        if number.is_none() {
            self.fault(value.span(), format!("expected {} {}", bound.name, bound.range));
        }
        number
    }

    /// Takes a point on a scale that ends with ten.
    fn of_ten(&mut self, table: &DeTable<'i>, key: &str, bound: &Bound) -> Option<f64> {
        let value = table.get(key)?;
        let number = match value.get_ref() {
            DeValue::Integer(number) => {
                i64::from_str_radix(number.as_str(), number.radix()).ok().map(|n| n as f64)
            }
            DeValue::Float(number) => number.as_str().parse().ok(),
            other => {
                self.wrong_kind(value, other, &format!("a number {}, without quotes", bound.range));
                return None;
            }
        };
        match bound.check(number.unwrap_or(f64::NAN)) {
            Ok(limit) => Some(limit),
            Err(expected) => {
                self.fault(value.span(), format!("expected {expected}"));
                None
            }
        }
    }

    fn pace_basis(&mut self, table: &DeTable<'i>) -> Option<PaceBasis> {
        let (value, text) = self.string(table, "pace_basis", "ground")?;
        match text {
            "ground" => Some(PaceBasis::Ground),
            "level" => Some(PaceBasis::Level),
            _ => {
                self.fault(value.span(), "expected `\"ground\"` or `\"level\"`");
                None
            }
        }
    }

    /// Takes a title or name.
    fn name(&mut self, table: &DeTable<'i>, key: &str, bound: &Bound) -> Option<String> {
        self.line(table, key, "1", bound)
    }

    /// Takes a text in one line: printable, not blank, no space at its ends.
    fn line(&mut self, table: &DeTable<'i>, key: &str, example: &str, bound: &Bound) -> Option<String> {
        let (value, text) = self.string(table, key, example)?;
        let problem = if let Err(expected) = bound.check(text.chars().count() as f64) {
            Some(expected)
        } else if text.chars().any(char::is_control) {
            Some(format!("{} in one line, without control characters", bound.name))
        } else if text.trim() != text {
            Some(format!("{} without spaces at its ends", bound.name))
        } else {
            None
        };
        if let Some(expected) = problem {
            self.fault(value.span(), format!("expected {expected}"));
            return None;
        }
        Some(text.to_owned())
    }

    fn units(&mut self, table: &DeTable<'i>) -> Option<LengthUnit> {
        let (value, text) = self.string(table, "units", "km")?;
        let unit = text.parse().ok();
        if unit.is_none() {
            self.fault(value.span(), "expected `\"km\"` or `\"mi\"`");
        }
        unit
    }

    fn timezone(&mut self, table: &DeTable<'i>) -> Option<String> {
        let (value, text) = self.string(table, "timezone", "Europe/Oslo")?;
        // The data base that is built in: what a plan means must not depend on the machine.
        let zones = jiff::tz::TimeZoneDatabase::bundled();
        if let Ok(zone) = zones.get(text) {
            return Some(zone.iana_name().unwrap_or(text).to_owned());
        }
        let names: Vec<String> = zones.available().map(|name| name.to_string()).collect();
        let help =
            closest(text, names.iter().map(String::as_str)).map(|name| format!("did you mean `{name}`?"));
        self.helpful(value.span(), "expected a time zone name such as `Europe/Oslo` or `UTC`", help);
        None
    }
}

mod dates;
mod other;
mod stages;
mod words;
mod write;

#[cfg(test)]
mod tests;
