//! The sentences of the reports and how figures are written in them.

use std::borrow::Cow;

use jiff::Timestamp;
use jogaudit_core::audit::{Code, DECIDES, Finding, Outcome};
use jogaudit_core::gait::Gait;
use jogaudit_core::prescription::{Limits, PaceBasis, Session, Stage};
use jogaudit_core::review::Zone;
use jogaudit_recording::notice::NoticeCode;
pub(super) use jogaudit_recording::units::clock;
use jogaudit_recording::units::{LengthUnit, Unit};

use super::ends;
use super::lengths;

/// What every report ends with.
pub(super) const CAUTIONS: &str = "This judges a recording, not a body: it cannot tell whether running is right for \
    you. With pain, swelling, a limp or pain at night, stop and see a health professional. What your clinician says takes \
    precedence over this report.";

/// A text in which a professional is named, with how to reach one.
pub(super) fn with_contact(text: &str, contact: Option<&str>) -> String {
    contact.map_or_else(|| text.to_owned(), |contact| format!("{text} Contact: {contact}"))
}

/// `5 repetitions were`.
pub(super) fn were_due(repetitions: u32) -> String {
    let were = if repetitions == 1 { "was" } else { "were" };
    format!("{} {were}", counted(repetitions as usize, "repetition"))
}

/// `1 stage`, `2 stages`.
pub(super) fn counted(n: usize, what: &str) -> String {
    if n == 1 { format!("1 {what}") } else { format!("{n} {what}s") }
}

/// How often a stage is to be done before the next: `3 sessions`, `2 weeks`; nothing where the plan does not say.
pub fn how_many(stage: &Stage) -> Option<String> {
    let of = |n: Option<u32>, what: &str| n.map(|n| counted(n as usize, what));
    of(stage.sessions, "session").or_else(|| of(stage.weeks, "week"))
}

/// The same in a column of sessions: `3`, `2 weeks`.
pub(super) fn needed(sessions: Option<u32>, weeks: Option<u32>) -> Option<String> {
    weeks.map(|weeks| counted(weeks as usize, "week")).or_else(|| sessions.map(|n| n.to_string()))
}

/// The outcome in one sentence; `count` findings decide it.
pub(super) fn summary(outcome: Outcome, stage: &str, count: usize) -> String {
    match outcome {
        Outcome::Overdone => {
            let ways = if count == 1 { "in one way".to_owned() } else { format!("in {count} ways") };
            format!("Overdone: more was done than stage “{stage}” prescribes, {ways}.")
        }
        Outcome::Kept => format!("As prescribed: the recording shows what stage “{stage}” asks for."),
        Outcome::Underdone => {
            format!("Underdone: less was done than stage “{stage}” prescribes, and nothing went beyond it.")
        }
        Outcome::Undecided => {
            format!("Undecided: the recording cannot tell whether stage “{stage}” was done as prescribed.")
        }
    }
}

/// The outcome where nothing was scored.
pub(super) fn not_scored(stage: &str) -> String {
    format!(
        "Undecided: nothing was scored, so it is not known whether stage “{stage}” was done as prescribed."
    )
}

/// The recorded sport in a list of what is known of a recording.
pub(super) fn sport_in_words(sport: Option<&str>) -> String {
    sport.map_or_else(|| "sport not said".to_owned(), |word| format!("as {word}"))
}

/// Notices that may be why nothing was decided.
const REASONS: [NoticeCode; 20] = [
    NoticeCode::NotOnFoot,
    NoticeCode::SportDoubtful,
    NoticeCode::OrderDoubtful,
    NoticeCode::GaitUnknown,
    NoticeCode::NoGaitData,
    NoticeCode::TooMuchToMatch,
    NoticeCode::TooMuchUnknown,
    NoticeCode::GaitUncertain,
    NoticeCode::WalkMayHideRun,
    NoticeCode::RunMayHideWalk,
    NoticeCode::SlopesUnknown,
    NoticeCode::VerdictHangs,
    NoticeCode::HoleHidesLength,
    NoticeCode::NoDistance,
    NoticeCode::LateStart,
    NoticeCode::PaceNotJudged,
    NoticeCode::PaceAtCeiling,
    NoticeCode::AltitudeAbsent,
    NoticeCode::AltitudeTooCoarse,
    NoticeCode::HeartRateNotJudged,
];

/// How far an outcome can be trusted, by what was noticed of the recording; nothing where it tells as much as usual.
pub(super) fn trust(outcome: Outcome, is_noticed: &dyn Fn(NoticeCode) -> bool) -> Option<&'static str> {
    if outcome == Outcome::Undecided || !is_noticed(NoticeCode::NoCadence) {
        return None;
    }
    Some(match (is_noticed(NoticeCode::SpeedFromPositions), is_noticed(NoticeCode::PositionSpikes)) {
        (true, true) => {
            "This rests on positions without cadence, and their reception was bad: take it as a hint, not as a finding."
        }
        (true, false) => {
            "This rests on positions without cadence: on simulated sessions such verdicts are wrong more often than others. Take it as a hint."
        }
        (false, _) => {
            "There is no cadence: runs and walks are told apart by speed, and by heart rate if there is one, which is less sure."
        }
    })
}

/// Whether a notice may be why nothing was decided.
pub(super) fn is_reason(code: NoticeCode) -> bool {
    REASONS.contains(&code)
}

/// A notice as a sentence of its own, whoever wrote it: with a capital, its place, a full stop.
pub(super) fn sentence(text: &str, place: &str) -> String {
    let text = text.trim();
    let place = if place.is_empty() { String::new() } else { format!(" ({place})") };
    let body = text.strip_suffix('.').unwrap_or(text);
    format!("{}{place}.", capitalised(body))
}

/// The text with a capital first letter; a first word that is no plain word, such as the name of a file, stays as it is.
///
/// ```
/// use jogaudit_report::capitalised;
/// assert_eq!(capitalised("the plan has a mistake"), "The plan has a mistake");
/// assert_eq!(capitalised("diary.csv was left as it is"), "diary.csv was left as it is");
/// ```
pub fn capitalised(text: &str) -> Cow<'_, str> {
    let word = text.split(char::is_whitespace).next().unwrap_or_default();
    let is_plain = |c: char| c.is_alphabetic() || matches!(c, '-' | '\'' | '’');
    let mut letters = text.chars();
    match letters.next() {
        Some(first)
            if first.is_lowercase() && word.trim_end_matches([',', ':', ';', '.']).chars().all(is_plain) =>
        {
            Cow::Owned(first.to_uppercase().chain(letters).collect())
        }
        _ => Cow::Borrowed(text),
    }
}

/// What a stage limits, in one line; nothing where it limits nothing.
pub(super) fn limits(session: &Session, limits: &Limits, units: LengthUnit) -> Option<String> {
    let level = if limits.pace_basis == PaceBasis::Level { " on level ground" } else { "" };
    let of_session = session.prescribes_running().then_some(limits.pace_ceiling).flatten();
    let parts = [
        of_session
            .map(|speed| format!("pace up to {}{level}", lengths::ceiling(1000.0 / speed.get(), units))),
        limits.heart_rate_ceiling.map(|most| format!("heart rate up to {:.0} bpm", most.get())),
        limits.effort_ceiling.map(|most| format!("effort up to {most} of 10")),
        limits.walk_cadence_floor.map(|least| format!("walks from {:.0} spm", least.get())),
        limits.session_ceiling.map(|most| format!("up to {} in all", clock(most.get()))),
    ];
    let known: Vec<String> = parts.into_iter().flatten().collect();
    (!known.is_empty()).then(|| known.join(", "))
}

/// Run or walk: what the reps of a code are.
pub(super) const fn gait_of(code: Code) -> Gait {
    match code {
        Code::WalkCutShort | Code::WalkMissing | Code::WalkTooSlow => Gait::Walk,
        _ => Gait::Run,
    }
}

/// A finding in one sentence: what, by how much, when, how sure. `level`: paces are for level ground; `is_rest`: the walk may
/// be any rest.
pub(super) fn finding(f: &Finding, level: bool, is_rest: bool, units: LengthUnit) -> String {
    let compared = |f: &Finding, name: &str, verb: &str, relation: &str, verdict: &str| {
        compared(f, units, [name, verb, relation, verdict])
    };
    let lasting = |f: &Finding, sentence: &str| lasting(f, units, sentence);
    let of_prescribed = |f: &Finding| of_prescribed(f, units);
    let name = match (gait_of(f.code), f.rep) {
        (Gait::Walk, Some(n)) if is_rest => format!("Rest {n}"),
        (Gait::Walk, Some(n)) => format!("Walk {n}"),
        (Gait::Walk, None) => "A walk".to_owned(),
        (_, Some(n)) => format!("Run {n}"),
        (_, None) => "A run".to_owned(),
    };
    let time_over = f.unit == Unit::Seconds;
    let what = match f.code {
        Code::RunTooLong => compared(f, &name, "took", "was prescribed", "too long"),
        Code::RunTooShort | Code::WalkCutShort => compared(f, &name, "took", "was prescribed", "too short"),
        Code::RunTooFast if time_over => lasting(f, &format!("{name} was faster than its ceiling")),
        Code::RunTooFast => too_fast(f, units, &name, level),
        Code::HeartRateTooHigh => {
            let name =
                f.rep.map_or_else(|| "The heart rate".to_owned(), |_| format!("{name}: the heart rate"));
            if time_over {
                lasting(f, &format!("{name} was above its ceiling"))
            } else {
                compared(f, &name, "reached", "is the ceiling", "too high")
            }
        }
        Code::WalkMissing => {
            format!("{name}{} was left out: two runs became one", of_prescribed(f))
        }
        Code::RepMissing => format!("{name}{} was not done", of_prescribed(f)),
        Code::RepExtra => lasting(f, "Ran on after the prescribed session was complete"),
        Code::RunningTimeOver => compared(f, "The running in all", "took", "was prescribed", "too much"),
        Code::SessionTooLong => compared(f, "The whole session", "took", "is the limit", "too long"),
        Code::UnplannedRun => lasting(f, "Ran where no running is prescribed"),
        Code::WalkTooSlow => compared(f, &name, "had", "is the least for a brisk walk", "too slow"),
    };
    // The pace is that of a part of the run, so its sentence says which.
    let when = if f.code == Code::RunTooFast && !time_over { None } else { when(f) };
    let parts: Vec<String> = when.into_iter().chain([sure_enough(f)]).collect();
    format!("{what} ({}).", parts.join(", "))
}

/// `Run 4 went at 6:15 /km from 12:03 to 13:57, where 6:45 /km is the ceiling: 30 s/km too fast`.
fn too_fast(f: &Finding, units: LengthUnit, name: &str, level: bool) -> String {
    let basis = if level { " on level ground" } else { "" };
    let from_to = match (f.start_s, f.end_s) {
        (Some(start), Some(end)) => format!(" from {} to {},", clock(start), clock(end)),
        _ => String::new(),
    };
    compared(f, units, [name, "went at", "is the ceiling", "too fast"]).replacen(
        " where",
        &format!("{basis}{from_to} where"),
        1,
    )
}

/// `Run 1 took 1:14 where 1:00 was prescribed: 14 s too long`, as far as the figures are known.
fn compared(f: &Finding, units: LengthUnit, words: [&str; 4]) -> String {
    let [name, verb, relation, verdict] = words;
    let excess = f.excess.map(|x| format!("{} ", difference(x, f.unit, units))).unwrap_or_default();
    match (f.achieved, f.prescribed) {
        (Some(a), Some(p)) => {
            let p = ends::between(f.range.unwrap_or(p.into()), |p| allowed(p, f.unit, units));
            let a = value(a, f.unit, units);
            format!("{name} {verb} {a} where {p} {relation}: {excess}{verdict}")
        }
        (Some(a), None) => format!("{name} {verb} {}: {excess}{verdict}", value(a, f.unit, units)),
        _ => format!("{name} was {excess}{verdict}"),
    }
}

/// The sentence with how long or far it went on.
fn lasting(f: &Finding, units: LengthUnit, sentence: &str) -> String {
    match f.excess.or(f.achieved) {
        Some(amount) => format!("{sentence}, for {}", difference(amount, f.unit, units)),
        None => sentence.to_owned(),
    }
}

fn of_prescribed(f: &Finding, units: LengthUnit) -> String {
    let between = |p: f64| ends::between(f.range.unwrap_or(p.into()), |p| value(p, f.unit, units));
    f.prescribed.map(|p| format!(" of {}", between(p))).unwrap_or_default()
}

fn when(f: &Finding) -> Option<String> {
    match (f.start_s, f.end_s) {
        (Some(start), Some(end)) => Some(format!("{} to {}", clock(start), clock(end))),
        (Some(start), None) => Some(format!("from {}", clock(start))),
        _ => None,
    }
}

fn sure_enough(f: &Finding) -> String {
    let may_decide = f.code.is_overdoing() || f.code.is_underdoing();
    let doubt = if may_decide && f.certainty < DECIDES { ", not enough to count" } else { "" };
    format!("{}{doubt}", how_sure(f.certainty))
}

/// `97 % sure`, rounded down.
pub(super) fn how_sure(certainty: f64) -> String {
    let percent = (certainty * 100.0 + 1e-9).floor().clamp(0.0, 100.0);
    if percent > 99.0 { "certain".to_owned() } else { format!("{percent} % sure") }
}

/// A value in its unit, as people write it: `1:14`, `6:42 /km`, `412 m`, `158 bpm`.
fn value(number: f64, unit: Unit, units: LengthUnit) -> String {
    match unit {
        Unit::Seconds => clock(number),
        Unit::SecondsPerKilometre => lengths::pace(number, units),
        Unit::Metres => lengths::distance(number, units),
        _ => format!("{} {unit}", number.round()),
    }
}

/// What was allowed, beside what was done.
fn allowed(number: f64, unit: Unit, units: LengthUnit) -> String {
    match unit {
        Unit::SecondsPerKilometre => lengths::ceiling_beside(number, units),
        _ => value(number, unit, units),
    }
}

/// A difference in its unit: seconds stay seconds up to two minutes.
fn difference(number: f64, unit: Unit, units: LengthUnit) -> String {
    match unit {
        Unit::SecondsPerKilometre => lengths::pace_difference(number, units),
        Unit::Metres => lengths::distance(number, units),
        Unit::Seconds if number.round() >= 120.0 => clock(number),
        _ => format!("{} {unit}", number.round()),
    }
}

/// `Monday 9 March 2026, 07:12`, on the runner's clock; with its zone where that is UTC for want of any other.
pub(super) fn began(zone: &Zone, at: Timestamp, utc_offset_s: Option<i32>) -> String {
    let utc = if zone.is_utc_for_want(utc_offset_s) { " UTC" } else { "" };
    format!("{}{utc}", zone.at(at, utc_offset_s).strftime("%A %-d %B %Y, %H:%M"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(code: Code, rep: Option<u32>, unit: Unit, figures: [f64; 3], certainty: f64) -> String {
        let [prescribed, achieved, excess] = figures.map(|x| x.is_finite().then_some(x));
        let finding = |f: &Finding| finding(f, false, false, LengthUnit::Kilometre);
        finding(&Finding {
            code,
            rep,
            start_s: Some(301.4),
            end_s: Some(375.4),
            prescribed,
            range: None,
            achieved,
            unit,
            excess,
            certainty,
        })
    }

    #[test]
    fn times_are_those_of_the_runners_clock() {
        let plan = |zone: &str| format!("{zone}\n[[stage]]\nname = '1'\nsession = 'run 20:00'");
        let zone =
            |text: &str| Zone::of(&jogaudit_core::prescription::Plan::parse(&plan(text)).unwrap().value);
        let at = "2026-03-09T23:30:00Z".parse().unwrap();
        // Oslo is at +01:00 before 29 March; without a zone the recorder's offset counts, without that UTC, which is said.
        let (oslo, none) = (zone("timezone = 'Europe/Oslo'"), zone(""));
        assert_eq!(began(&oslo, at, Some(-3600)), "Tuesday 10 March 2026, 00:30");
        assert_eq!(began(&none, at, Some(-3600)), "Monday 9 March 2026, 22:30");
        assert_eq!(began(&none, at, None), "Monday 9 March 2026, 23:30 UTC");
    }

    #[test]
    #[expect(clippy::too_many_lines, reason = "a table of sentences")]
    fn each_code_has_its_sentence() {
        const NONE: f64 = f64::NAN;
        let cases = [
            (
                Code::RunTooLong,
                Unit::Seconds,
                [60.0, 74.0, 14.0],
                "Run 1 took 1:14 where 1:00 was prescribed: 14 s too long",
            ),
            (
                Code::RunTooLong,
                Unit::Metres,
                [400.0, 450.0, 50.0],
                "Run 1 took 450 m where 400 m was prescribed: 50 m too long",
            ),
            (
                Code::RunTooFast,
                Unit::Seconds,
                [0.0, 40.0, 40.0],
                "Run 1 was faster than its ceiling, for 40 s",
            ),
            (
                Code::HeartRateTooHigh,
                Unit::BeatsPerMinute,
                [150.0, 158.0, 8.0],
                "Run 1: the heart rate reached 158 bpm where 150 bpm is the ceiling: 8 bpm too high",
            ),
            (
                Code::WalkCutShort,
                Unit::Seconds,
                [120.0, 70.0, 50.0],
                "Walk 1 took 1:10 where 2:00 was prescribed: 50 s too short",
            ),
            (
                Code::WalkMissing,
                Unit::Seconds,
                [120.0, 0.0, 120.0],
                "Walk 1 of 2:00 was left out: two runs became one",
            ),
            (Code::RepMissing, Unit::Seconds, [60.0, 0.0, 60.0], "Run 1 of 1:00 was not done"),
            (
                Code::RepExtra,
                Unit::Seconds,
                [NONE, 61.0, 61.0],
                "Ran on after the prescribed session was complete, for 61 s",
            ),
            (
                Code::RunningTimeOver,
                Unit::Seconds,
                [360.0, 500.0, 140.0],
                "The running in all took 8:20 where 6:00 was prescribed: 2:20 too much",
            ),
            (
                Code::SessionTooLong,
                Unit::Seconds,
                [2700.0, 3725.0, 1025.0],
                "The whole session took 1:02:05 where 45:00 is the limit: 17:05 too long",
            ),
            (
                Code::UnplannedRun,
                Unit::Seconds,
                [0.0, 80.0, 80.0],
                "Ran where no running is prescribed, for 80 s",
            ),
            (
                Code::RunTooShort,
                Unit::Seconds,
                [60.0, 30.0, 30.0],
                "Run 1 took 0:30 where 1:00 was prescribed: 30 s too short",
            ),
            (
                Code::WalkTooSlow,
                Unit::StepsPerMinute,
                [110.0, 98.0, 12.0],
                "Walk 1 had 98 spm where 110 spm is the least for a brisk walk: 12 spm too slow",
            ),
            (Code::RunTooLong, Unit::Seconds, [NONE, NONE, NONE], "Run 1 was too long"),
        ];
        for (code, unit, figures, expected) in cases {
            assert_eq!(
                said(code, Some(1), unit, figures, 0.97),
                format!("{expected} (5:01 to 6:15, 97 % sure).")
            );
        }
    }

    #[test]
    fn a_pace_says_for_which_stretch_and_ground_it_is() {
        let f = Finding {
            code: Code::RunTooFast,
            rep: Some(4),
            start_s: Some(303.0),
            end_s: Some(417.0),
            prescribed: Some(405.0),
            range: None,
            achieved: Some(381.0),
            unit: Unit::SecondsPerKilometre,
            excess: Some(24.0),
            certainty: 0.97,
        };
        assert_eq!(
            finding(&f, false, false, LengthUnit::Kilometre),
            "Run 4 went at 6:21 /km from 5:03 to 6:57, where 6:45 /km is the ceiling: 24 s/km too fast (97 % sure)."
        );
        let level = "Run 4 went at 6:21 /km on level ground from 5:03";
        assert!(finding(&f, true, false, LengthUnit::Kilometre).starts_with(level));
        // 381 s/km are 613.16 s/mi, 24 s/km 38.62 s/mi.
        assert_eq!(
            finding(&f, false, false, LengthUnit::Mile),
            "Run 4 went at 10:13 /mi from 5:03 to 6:57, where 6:45 /km, 10:52 /mi, is the ceiling: 39 s/mi too fast (97 % sure)."
        );
    }

    #[test]
    fn a_notice_becomes_a_sentence() {
        assert_eq!(sentence("the file is cut", ""), "The file is cut.");
        assert_eq!(sentence("It is cut: go on.", "line 3"), "It is cut: go on (line 3).");
        assert_eq!(sentence("", ""), ".");
        assert_eq!(sentence("line 3: the quote stays open", ""), "Line 3: the quote stays open.");
        // A name is not ours to spell.
        assert_eq!(sentence("diary.csv is not UTF-8 text", ""), "diary.csv is not UTF-8 text.");
        assert_eq!(sentence("mars/2026-03-02.fit is cut", ""), "mars/2026-03-02.fit is cut.");
        assert_eq!(sentence("`tove` has no plan.toml", ""), "`tove` has no plan.toml.");
    }

    #[test]
    fn a_verdict_says_how_far_it_can_be_trusted() {
        use NoticeCode::{NoCadence, PositionSpikes, SpeedFromPositions};
        let said = |outcome, noticed: &[NoticeCode]| trust(outcome, &|code| noticed.contains(&code));
        assert_eq!(said(Outcome::Kept, &[SpeedFromPositions]), None, "cadence tells enough");
        assert_eq!(said(Outcome::Undecided, &[NoCadence]), None, "it says why already");
        let words = |noticed: &[NoticeCode]| said(Outcome::Overdone, noticed).unwrap();
        assert!(words(&[NoCadence]).contains("by speed"));
        assert!(words(&[NoCadence, SpeedFromPositions]).contains("hint"));
        assert!(words(&[NoCadence, SpeedFromPositions, PositionSpikes]).contains("reception was bad"));
    }

    #[test]
    fn limits_are_said_in_one_line() {
        let plan = |limits: &str| {
            let text = format!("[[stage]]\nname = '1'\nsession = 'run 1:00'\n{limits}");
            let stage = jogaudit_core::prescription::Plan::parse(&text).unwrap().value.stages.remove(0);
            super::limits(&stage.session, &stage.limits, LengthUnit::Mile)
        };
        assert_eq!(plan(""), None);
        assert_eq!(
            plan("pace_ceiling = '6:45 /km'\npace_basis = 'level'\nheart_rate_ceiling = '150 bpm'").unwrap(),
            "pace up to 6:45 /km on level ground, heart rate up to 150 bpm"
        );
        assert_eq!(
            plan("walk_cadence_floor = '110 spm'\nsession_ceiling = '45:00'").unwrap(),
            "walks from 110 spm, up to 45:00 in all"
        );
    }

    #[test]
    fn doubt_is_said() {
        assert!(
            said(Code::RunTooLong, None, Unit::Seconds, [60.0, 74.0, 14.0], 0.7)
                .ends_with("70 % sure, not enough to count).")
        );
        assert!(
            said(Code::RepMissing, None, Unit::Seconds, [60.0, 0.0, 60.0], 0.7)
                .ends_with("70 % sure, not enough to count).")
        );
        assert!(
            said(Code::WalkTooSlow, None, Unit::StepsPerMinute, [105.0, 99.0, 6.0], 0.7)
                .ends_with("70 % sure).")
        );
        assert_eq!(how_sure(0.996), "99 % sure");
        assert_eq!(how_sure(1.0), "certain");
    }
}
