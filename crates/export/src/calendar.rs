//! The dated sessions of a plan as iCalendar (RFC 5545).

use std::collections::BTreeSet;

use base16ct::HexDisplay;
use calcard::common::PartialDateTime;
use calcard::icalendar::{
    ICalendar, ICalendarComponent, ICalendarComponentType, ICalendarProperty, ICalendarStatus,
    ICalendarTransparency, ICalendarValue, ICalendarValueType,
};
use jiff::civil::{DateTime, Time};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use sha2::{Digest, Sha256};

use jogaudit_core::prescription::{DatedSession, Plan, Stage};
use jogaudit_core::review::Review;
use jogaudit_report::card::CardView;
use jogaudit_report::session_lines;

use super::ical::{date_time, entry, moment, text};
use super::zone::observances;

/// What a calendar is made of.
#[derive(Clone, Copy, Debug)]
pub struct CalendarRequest<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The sessions of this stage alone.
    pub only: Option<&'a Stage>,
    /// The review of the case: the sessions are those that come next by it, and planned ones that do not come are cancelled.
    pub review: Option<&'a Review>,
    /// The time of day of every session, on the clock of the plan's zone; without it a session takes its whole day.
    pub at: Option<Time>,
    /// When it is made: an event of a later calendar takes the place of the same event of an earlier one.
    pub made: Timestamp,
}

/// The plan gives its sessions no dates.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the plan has no `start`, so its sessions have no dates")]
pub struct NoDates;

/// An event of the calendar.
struct Session {
    dated: DatedSession,
    /// Why it is cancelled.
    cancelled: Option<&'static str>,
}

/// Writes the calendar: one event a dated session, in the order of its stages.
///
/// # Errors
/// When the plan gives its sessions no dates.
pub fn calendar(request: &CalendarRequest<'_>) -> Result<String, NoDates> {
    let sessions = sessions(request)?;
    let zone = request.plan.timezone.as_deref().filter(|_| request.at.is_some());
    let zone = zone.and_then(|name| Some((name, TimeZone::get(name).ok()?)));
    let mut components = vec![ICalendarComponent {
        component_type: ICalendarComponentType::VCalendar,
        entries: vec![
            text(ICalendarProperty::Version, "2.0"),
            text(ICalendarProperty::Prodid, "-//jogaudit//plan//EN"),
            text(ICalendarProperty::Name, &request.plan.title),
        ],
        component_ids: Vec::new(),
    }];
    let dates = || sessions.iter().map(|session| session.dated.date);
    if let Some(((name, zone), (first, last))) = zone.as_ref().zip(dates().min().zip(dates().max())) {
        let at = components.len() as u32;
        let observances = observances(zone, first, last);
        components.push(ICalendarComponent {
            component_type: ICalendarComponentType::VTimezone,
            entries: vec![text(ICalendarProperty::Tzid, name)],
            component_ids: (at + 1..).take(observances.len()).collect(),
        });
        components.extend(observances);
        components[0].component_ids.push(at);
    }
    for session in &sessions {
        let at = components.len() as u32;
        components[0].component_ids.push(at);
        components.push(event(request, session, zone.as_ref()));
    }
    Ok(ICalendar { components }.to_string())
}

/// Stage and number: what stays of a session when its day moves.
fn key(plan: &Plan, session: &DatedSession) -> (usize, u32) {
    (plan.stages[session.stage].place, session.number)
}

fn sessions(request: &CalendarRequest<'_>) -> Result<Vec<Session>, NoDates> {
    let plan = request.plan;
    let is_asked =
        |session: &DatedSession| request.only.is_none_or(|only| plan.stages[session.stage].name == only.name);
    let planned = plan.calendar().into_iter().flatten();
    let held = |dated: DatedSession| Session { dated, cancelled: None };
    let mut sessions: Vec<Session> = match request.review {
        None => {
            plan.start.ok_or(NoDates)?;
            planned.filter(is_asked).map(held).collect()
        }
        Some(_) if !plan.is_dated() => return Err(NoDates),
        Some(review) => {
            let coming = coming(plan, review);
            let keys: BTreeSet<_> = coming.iter().map(|session| key(plan, session)).collect();
            let why = cancelled_by(review);
            let never = planned.filter(|session| {
                let (place, number) = key(plan, session);
                let attempts: u32 =
                    review.stages[plan.kinds_at(place)].iter().map(|stage| stage.attempts).sum();
                !keys.contains(&(place, number)) && number > attempts
            });
            let never = never.map(|dated| Session { dated, cancelled: Some(why) });
            coming.into_iter().map(held).chain(never).filter(|session| is_asked(&session.dated)).collect()
        }
    };
    sessions.sort_by_key(|session| (key(plan, &session.dated), session.dated.date));
    Ok(sessions)
}

/// What comes next by a review; nothing behind a plan that is done.
fn coming(plan: &Plan, review: &Review) -> Vec<DatedSession> {
    let Some(coming) = &review.coming else { return Vec::new() };
    let here = plan.stages[coming.start.stage].place;
    let is_new = |session: &DatedSession| {
        let (place, number) = key(plan, session);
        place != here || number > coming.start.sessions
    };
    plan.calendar_from(coming.start.clone()).filter(is_new).collect()
}

fn cancelled_by(review: &Review) -> &'static str {
    if review.ruling.stage.is_none() {
        "Do not run for now. See a health professional first."
    } else {
        "This session is not among what comes next."
    }
}

fn event(
    request: &CalendarRequest<'_>,
    session: &Session,
    zone: Option<&(&str, TimeZone)>,
) -> ICalendarComponent {
    let (plan, dated) = (request.plan, &session.dated);
    let written = &plan.stages[dated.stage];
    let due =
        written.session.due_after(dated.kept).map_or_else(|| written.session.clone(), |due| due.session);
    let stage = Stage { session: due, ..written.clone() };
    let word = if session.cancelled.is_some() { "Cancelled: stage" } else { "Stage" };
    let status = match session.cancelled {
        Some(_) => ICalendarStatus::Cancelled,
        None => ICalendarStatus::Confirmed,
    };
    let mut entries = vec![
        text(ICalendarProperty::Uid, &uid(plan, dated)),
        moment(
            ICalendarProperty::Dtstamp,
            None,
            ICalendarValueType::DateTime,
            utc(TimeZone::UTC.to_datetime(request.made)),
        ),
        entry(ICalendarProperty::Sequence, ICalendarValue::Integer(sequence(request.made))),
        text(ICalendarProperty::Summary, &format!("{word} {}: {}", stage.name, stage.session)),
        text(ICalendarProperty::Description, &words(plan, &stage, session.cancelled)),
        entry(ICalendarProperty::Status, ICalendarValue::Status(status)),
    ];
    match request.at {
        None => {
            let day = date_time(dated.date.at(0, 0, 0, 0));
            entries.push(moment(ICalendarProperty::Dtstart, None, ICalendarValueType::Date, day));
            let free = ICalendarTransparency::Transparent;
            entries.push(entry(ICalendarProperty::Transp, ICalendarValue::Transparency(free)));
        }
        Some(at) => {
            let (begin, end) = span(dated.date.to_datetime(at), &stage, zone.map(|(_, zone)| zone));
            let name = zone.map(|(name, _)| *name);
            for (property, value) in [(ICalendarProperty::Dtstart, begin), (ICalendarProperty::Dtend, end)] {
                entries.push(moment(property, name, ICalendarValueType::DateTime, date_time(value)));
            }
        }
    }
    ICalendarComponent { component_type: ICalendarComponentType::VEvent, entries, component_ids: Vec::new() }
}

/// The same for a session wherever it moves: from the title, the stage and which session of it it is. A name that says nothing, so
/// that it may stand anywhere.
fn uid(plan: &Plan, session: &DatedSession) -> String {
    let stage = plan.stages[session.stage].stage_name();
    let digest = Sha256::digest(format!("{}\u{0}{stage}\u{0}{}", plan.title, session.number));
    format!("{:x}@jogaudit", HexDisplay(&digest[..16]))
}

/// Days since 1970: it rises from day to day, as a later version of an event has to (RFC 5545, 3.8.7.4). Of two of one day the
/// time stamp decides (RFC 5546, 2.1.5).
fn sequence(made: Timestamp) -> i64 {
    const DAY_S: i64 = 86_400;
    made.as_second().div_euclid(DAY_S)
}

/// What to do, in words, with the limits, the notes and the contact of the card.
fn words(plan: &Plan, stage: &Stage, cancelled: Option<&str>) -> String {
    let card = CardView::new(plan, stage, None);
    if let Some(why) = cancelled {
        let contact = card.contact.iter().cloned();
        return std::iter::once(why.to_owned()).chain(contact).collect::<Vec<_>>().join("\n");
    }
    let session = session_lines(&stage.session, card.units).into_iter().chain(card.sum());
    let day = "This day holds if every session before it was done as prescribed.".to_owned();
    session.chain(card.sentences("calendar")).chain([day]).collect::<Vec<_>>().join("\n")
}

/// When a session begins and ends on the clock of its zone; a time that the clock skips is the one that it shows instead. Its most, at
/// assumed speeds, in whole minutes.
fn span(begin: DateTime, stage: &Stage, zone: Option<&TimeZone>) -> (DateTime, DateTime) {
    let minutes = (stage.session.figures().most.session_s / 60.0).ceil().max(1.0) as i64;
    let shown = zone.and_then(|zone| zone.to_zoned_datetime(begin).ok());
    match shown {
        Some(shown) => {
            let end = shown.checked_add(minutes.minutes()).unwrap_or_else(|_| shown.clone());
            (shown.datetime(), end.datetime())
        }
        None => (begin, begin.checked_add(minutes.minutes()).unwrap_or(begin)),
    }
}

fn utc(at: DateTime) -> PartialDateTime {
    PartialDateTime { tz_hour: Some(0), tz_minute: Some(0), ..date_time(at) }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAN: &str = "title = 'Back, after a strain'\ntimezone = 'Europe/Oslo'\nstart = 2026-03-24\n\
        weekdays = ['tue', 'fri', 'sun']\nnote = 'Talk; do not race.'\ncontact = 'Ring 555 0101'\n[limits]\n\
        sessions_per_week = 3\nrest_days_between = 1\n[[stage]]\nname = '1'\nsession = 'walk 5:00, 6 x (run 1:00, walk 2:00)'\n\
        sessions = 2\n[[stage]]\nname = 'grow'\nsession = '4 rising to 7 x (run 1:30, walk 2:30)'\nsessions = 3\n";

    fn made(text: &str, at: Option<Time>) -> String {
        let plan = Plan::parse(text).unwrap().value;
        let made = "2026-03-20T09:00:00Z".parse().unwrap();
        calendar(&CalendarRequest { plan: &plan, only: None, review: None, at, made }).unwrap()
    }

    fn lines<'t>(calendar: &'t str, name: &str) -> Vec<&'t str> {
        calendar.lines().filter(|line| line.starts_with(name)).collect()
    }

    #[test]
    fn each_session_is_an_event_on_its_day() {
        let calendar = made(PLAN, None);
        let days: Vec<String> = ["20260324", "20260327", "20260329", "20260331", "20260403"]
            .map(|d| format!("DTSTART;VALUE=DATE:{d}"))
            .into();
        assert_eq!(lines(&calendar, "DTSTART"), days);
        let ids: BTreeSet<&str> = lines(&calendar, "UID:").into_iter().collect();
        assert_eq!(ids.len(), 5);
        assert_eq!(lines(&calendar, "SEQUENCE"), ["SEQUENCE:20532"; 5], "days from 1970 to 20 March 2026");
        assert_eq!(lines(&calendar, "DTSTAMP"), ["DTSTAMP:20260320T090000Z"; 5]);
        let unfolded = calendar.replace("\r\n ", "");
        assert_eq!(lines(&unfolded, "SUMMARY")[3], "SUMMARY:Stage grow: 5 x (run 1:30\\, walk 2:30)");
        for part in
            ["6 times:\\n  Run 1:00", "Talk\\; do not race.", "Ring 555 0101", "Any pain: stop running."]
        {
            assert!(unfolded.contains(part), "{part} in {unfolded}");
        }
        assert!(calendar.lines().all(|line| line.len() <= 75), "RFC 5545, 3.1");
        assert!(lines(&calendar, "BEGIN:VTIMEZONE").is_empty(), "a day has no zone");
    }

    #[test]
    fn a_time_of_day_is_that_of_the_zone_over_a_change_of_the_clock() {
        // Europe/Oslo goes from +01:00 to +02:00 on 2026-03-29 at 02:00 (IANA data base, rule EU).
        let calendar = made(PLAN, Some(jiff::civil::time(7, 30, 0, 0)));
        assert_eq!(lines(&calendar, "DTSTART;")[2], "DTSTART;TZID=Europe/Oslo:20260329T073000");
        assert_eq!(lines(&calendar, "DTEND;")[0], "DTEND;TZID=Europe/Oslo:20260324T075300", "23 minutes");
        assert_eq!(lines(&calendar, "TZOFFSETTO"), ["TZOFFSETTO:+0100", "TZOFFSETTO:+0200"]);
        assert_eq!(lines(&calendar, "DTSTART:"), ["DTSTART:20251026T030000", "DTSTART:20260329T020000"]);
        // What the clock skips is what it shows instead.
        let skipped = made(PLAN, Some(jiff::civil::time(2, 30, 0, 0)));
        assert_eq!(lines(&skipped, "DTSTART;")[2], "DTSTART;TZID=Europe/Oslo:20260329T033000");
        let floating =
            made(&PLAN.replace("timezone = 'Europe/Oslo'\n", ""), Some(jiff::civil::time(7, 30, 0, 0)));
        assert_eq!(lines(&floating, "DTSTART")[0], "DTSTART:20260324T073000");
    }

    #[test]
    fn a_plan_without_a_first_day_says_so() {
        let plan = Plan::parse(&PLAN.replace("start = 2026-03-24\n", "")).unwrap().value;
        let request =
            CalendarRequest { plan: &plan, only: None, review: None, at: None, made: Timestamp::UNIX_EPOCH };
        assert_eq!(calendar(&request), Err(NoDates));
    }
}
