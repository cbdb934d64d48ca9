//! The hand-out of a plan: what a patient takes home on paper, in words and figures.

use jiff::civil::Date;

use jogaudit_core::gait::Gait;
use jogaudit_core::prescription::figures::{ASSUMED_RUN_MPS, ASSUMED_WALK_MPS};
use jogaudit_core::prescription::{Count, End, Extent, Item, Move, Plan, Session, Stage};
use jogaudit_core::range::Range;
use jogaudit_core::review::Pattern;
use jogaudit_recording::units::{LengthUnit, MetresPerSecond};

use super::card::CardView;
use super::days;
use super::ends;
use super::lengths;
use super::strip::GaitSpan;
use super::wording::{capitalised, counted, how_many};

/// Boxes of a stage that are shown; our choice, as is the next one.
const MOST_BOXES: usize = 60;
/// Runs and walks of a session that are drawn.
const MOST_SPANS: usize = 300;

/// What a hand-out shows.
#[derive(Clone, Debug, PartialEq)]
pub struct HandoutView {
    pub(super) title: String,
    /// How much there is, and when.
    pub(super) summary: Vec<String>,
    /// The prescriber's words for every session.
    pub(super) note: Option<String>,
    pub(super) contact: Option<String>,
    /// What holds for every session with running, one order each.
    pub(super) every: Vec<String>,
    pub(super) stages: Vec<HandoutStage>,
    /// The longest session as drawn, s.
    pub(super) longest_s: f64,
    /// What a drawing assumes, where something is by distance.
    pub(super) assumed: Option<String>,
}

/// A stage with all its kinds of session.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct HandoutStage {
    pub(super) name: String,
    /// `3 sessions`, `2 weeks`; nothing where the plan does not say.
    pub(super) how_many: Option<String>,
    pub(super) note: Option<String>,
    /// How to reach the professional, where it is another way than the plan's.
    pub(super) contact: Option<String>,
    pub(super) kinds: Vec<HandoutSession>,
    pub(super) boxes: Vec<SessionBox>,
    /// Sessions beyond the boxes.
    pub(super) left_out: usize,
}

/// A session as it is prescribed.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct HandoutSession {
    /// Name and how often, where the stage holds several kinds.
    pub(super) kind: Option<String>,
    pub(super) lines: Vec<Line>,
    /// `26:40 in all, 9:10 of running.`
    pub(super) sum: Option<String>,
    /// Runs and walks to draw; empty where they are too many.
    pub(super) spans: Vec<GaitSpan>,
    /// What is high and what is low in the drawing.
    pub(super) heights: &'static str,
    /// Whether the drawing is the least of a session that may be more.
    pub(super) is_least: bool,
    /// What holds here besides what holds for every session.
    pub(super) orders: Vec<String>,
}

/// A line of a session in words, and what it repeats.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    pub(super) text: String,
    pub(super) inside: Vec<Line>,
}

/// A session to tick.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct SessionBox {
    /// Its day, else its number.
    pub(super) day: String,
    /// Its kind, or how often the repeat is due.
    pub(super) what: Option<String>,
}

impl HandoutView {
    /// Lays out the plan, or one of its stages alone.
    pub fn new(plan: &Plan, only: Option<&Stage>) -> Self {
        let is_asked = |stage: &Stage| only.is_none_or(|only| only.name == stage.name);
        let shown: Vec<&Stage> = plan.stages.iter().filter(|stage| is_asked(stage)).collect();
        let cards: Vec<CardView> = shown.iter().map(|stage| CardView::new(plan, stage, None)).collect();
        let orders: Vec<Vec<String>> =
            shown.iter().zip(&cards).map(|(stage, card)| orders(stage, card)).collect();
        let planned = planned(plan, &is_asked);
        let every = common(&shown, &orders);
        let mut stages: Vec<HandoutStage> = Vec::new();
        for place in 0..plan.places() {
            let kinds = plan.kinds_at(place);
            let several = kinds.len() > 1;
            let Some(first) = shown.iter().find(|stage| stage.place == place) else { continue };
            let at = shown.iter().zip(cards.iter().zip(&orders)).filter(|(stage, _)| stage.place == place);
            let sessions: Vec<HandoutSession> = at
                .map(|(stage, (card, orders))| {
                    let own = orders.iter().filter(|order| !every.contains(order)).cloned().collect();
                    HandoutSession::new(stage, card, own, several)
                })
                .collect();
            // The places of the plan follow each other.
            let from = |place: usize| planned.partition_point(|one| plan.stages[one.stage].place < place);
            let here = &planned[from(place)..from(place + 1)];
            stages.push(HandoutStage {
                name: first.stage_name().to_owned(),
                how_many: how_many(first),
                note: first.note.clone(),
                contact: first.contact.clone().filter(|contact| plan.contact.as_ref() != Some(contact)),
                kinds: sessions,
                left_out: here.len().saturating_sub(MOST_BOXES),
                boxes: here.iter().take(MOST_BOXES).map(|one| SessionBox::new(plan, one)).collect(),
            });
        }
        let spans = stages.iter().flat_map(|stage| &stage.kinds).flat_map(|session| &session.spans);
        let longest_s = spans.map(|span| span.end_s).fold(0.0, f64::max);
        let is_by_distance = shown.iter().any(|stage| is_by_distance(&stage.session.items));
        Self {
            title: plan.title.clone(),
            summary: summary(plan, stages.len(), &planned, only),
            note: plan.note.clone(),
            contact: plan.contact.clone(),
            every,
            longest_s,
            assumed: is_by_distance.then(|| assumed(plan.read_in())),
            stages,
        }
    }
}

impl HandoutSession {
    fn new(stage: &Stage, card: &CardView, orders: Vec<String>, several: bool) -> Self {
        let (spans, is_least) = drawn(stage);
        let kind = stage.kind.as_ref().filter(|_| several);
        Self {
            kind: kind.map(|kind| format!("{}: {} a week", kind.name, a_week(kind.a_week))),
            lines: lines(&stage.session.items, card.units),
            sum: card.sum(),
            heights: heights(stage),
            spans,
            is_least,
            orders,
        }
    }
}

/// The pattern of pain in words for the person who has it.
pub const fn pattern_words(pattern: Pattern) -> &'static str {
    match pattern {
        Pattern::WarmUpOnly => "while warming up, gone later",
        Pattern::WarmUpStays => "while warming up, and it went on",
        Pattern::Returns => "went away and came back",
        Pattern::After => "after the session",
        Pattern::Night => "at night",
    }
}

/// What a session asks for besides its runs and walks, one order each.
fn orders(stage: &Stage, card: &CardView) -> Vec<String> {
    let mut orders = card.orders();
    if let Some(week) = stage.limits.sessions_per_week {
        let at_most = if week.is_exact() { "At most " } else { "" };
        let sessions = if week.most == 1 { "session" } else { "sessions" };
        orders.push(format!("{at_most}{week} {sessions} a week."));
    }
    let rest = stage.limits.rest_days_held();
    if stage.session.prescribes_running() && rest > 0 {
        let days = if rest == 1 { "a day".to_owned() } else { format!("{rest} days") };
        orders.push(format!("Rest at least {days} between two sessions."));
    }
    orders
}

/// The orders that all sessions with running share; of a plan without running, that all share.
fn common(stages: &[&Stage], orders: &[Vec<String>]) -> Vec<String> {
    let runs = |stage: &Stage| stage.session.prescribes_running();
    let any_runs = stages.iter().any(|stage| runs(stage));
    let all: Vec<&Vec<String>> =
        stages.iter().zip(orders).filter(|(stage, _)| !any_runs || runs(stage)).map(|(_, o)| o).collect();
    let Some(first) = all.first() else { return Vec::new() };
    first.iter().filter(|order| all.iter().all(|orders| orders.contains(order))).cloned().collect()
}

fn summary(plan: &Plan, stages: usize, planned: &[Planned], only: Option<&Stage>) -> Vec<String> {
    let day = |one: Option<&Planned>| one.and_then(|one| one.date);
    let days = day(planned.first()).zip(day(planned.last()));
    let mut amounts = vec![counted(stages, "stage"), counted(planned.len(), "session")];
    if only.is_none() {
        let weeks =
            days.and_then(|(first, last)| usize::try_from(first.until(last).ok()?.get_days() / 7 + 1).ok());
        amounts.push(counted(weeks.unwrap_or_else(|| plan.weeks().len()), "week"));
    }
    let mut summary = vec![format!("{}, if every session is done as prescribed.", amounts.join(", "))];
    if let Some((first, last)) = days {
        let first_day = days::with_year(first);
        summary.push(if first == last {
            format!("On {first_day}.")
        } else {
            format!("From {first_day} to {}.", days::long_day(last, first.year()))
        });
        summary.push("The days are a guide. After a break they move, in the same order.".to_owned());
    }
    if !plan.other.is_empty() {
        let sports: Vec<&str> = plan.other.iter().map(|other| other.sport.as_str()).collect();
        summary.push(format!("Also agreed: {}.", sports.join(", ")));
    }
    summary
}

/// A session that the plan leads to, if each before it is done as prescribed.
struct Planned {
    /// Its stage, by index.
    stage: usize,
    /// Which session of the place it is, from 1.
    number: u32,
    /// Sessions of its kind before it.
    kept: u32,
    /// Its day, where the plan has days.
    date: Option<Date>,
}

/// The sessions of the stages that are asked for, in order.
fn planned(plan: &Plan, is_asked: &dyn Fn(&Stage) -> bool) -> Vec<Planned> {
    let of_asked = |one: &Planned| is_asked(&plan.stages[one.stage]);
    if let Some(calendar) = plan.calendar() {
        let dated = calendar.map(|session| Planned {
            stage: session.stage,
            number: session.number,
            kept: session.kept,
            date: Some(session.date),
        });
        return dated.filter(of_asked).collect();
    }
    let (mut numbers, mut kept) = (vec![0; plan.places()], vec![0; plan.stages.len()]);
    let sessions = plan.weeks().into_iter().flat_map(|week| week.sessions);
    let numbered = sessions.map(|stage| {
        numbers[plan.stages[stage].place] += 1;
        kept[stage] += 1;
        Planned { stage, number: numbers[plan.stages[stage].place], kept: kept[stage] - 1, date: None }
    });
    numbered.filter(of_asked).collect()
}

impl SessionBox {
    fn new(plan: &Plan, one: &Planned) -> Self {
        let stage = &plan.stages[one.stage];
        let year = plan.start.map_or(0, Date::year);
        let several = plan.kinds_at(stage.place).len() > 1;
        let kind = stage.kind.as_ref().filter(|_| several).map(|kind| kind.name.clone());
        let due = || stage.session.due_after(one.kept);
        Self {
            day: one
                .date
                .map_or_else(|| format!("Session {}", one.number), |date| days::short_day(date, year)),
            what: kind.or_else(|| due().map(|due| format!("{} times", due.repetitions))),
        }
    }
}

/// A session in words, a line an item; what stands inside a repeat is indented by two blanks.
pub fn session_lines(session: &Session, units: LengthUnit) -> Vec<String> {
    fn flat(lines: &[Line], depth: usize, out: &mut Vec<String>) {
        for line in lines {
            out.push(format!("{}{}", "  ".repeat(depth), line.text));
            flat(&line.inside, depth + 1, out);
        }
    }
    let mut out = Vec::new();
    flat(&lines(&session.items, units), 0, &mut out);
    out
}

fn lines(items: &[Item], units: LengthUnit) -> Vec<Line> {
    items.iter().map(|item| line(item, units)).collect()
}

fn line(item: &Item, units: LengthUnit) -> Line {
    match item {
        Item::Interval { motion, extent, ceiling } => {
            let word = capitalised(motion.word());
            let pace = ceiling.and_then(MetresPerSecond::pace_s_per_km);
            let pace = pace.map(|pace| format!(", no faster than {}", lengths::ceiling(pace, units)));
            let text = format!("{word} {}{}", extent_in_words(*extent, units), pace.unwrap_or_default());
            Line { text, inside: Vec::new() }
        }
        Item::Repeat { times, items } => {
            let text = match times {
                Count::Times(Range { least: 1, most: 1 }) => "Once:".to_owned(),
                Count::Times(times) => format!("{times} times:"),
                Count::Rising { first, last } => format!(
                    "{first} times at first; each session done as prescribed adds one, up to {last} times:"
                ),
            };
            Line { text, inside: lines(items, units) }
        }
        Item::Until { extent, items } => {
            let text = format!("In turn, for {} in all:", extent_in_words(*extent, units));
            Line { text, inside: lines(items, units) }
        }
    }
}

fn extent_in_words(extent: Range<Extent>, units: LengthUnit) -> String {
    if extent.is_time() {
        ends::times(extent.amounts())
    } else {
        ends::between(extent.amounts(), |metres| lengths::short_distance(metres, units))
    }
}

fn is_by_distance(items: &[Item]) -> bool {
    items.iter().any(|item| match item {
        Item::Interval { extent, .. } => !extent.is_time(),
        Item::Repeat { items, .. } => is_by_distance(items),
        Item::Until { extent, items } => !extent.is_time() || is_by_distance(items),
    })
}

fn assumed(units: LengthUnit) -> String {
    format!(
        "Distances are drawn for running at {} and walking at {}. These are not paces to aim for.",
        lengths::pace(1000.0 / ASSUMED_RUN_MPS, units),
        lengths::pace(1000.0 / ASSUMED_WALK_MPS, units)
    )
}

fn a_week(often: Range<u32>) -> String {
    if often.least == 0 { format!("up to {}", often.most) } else { often.to_string() }
}

fn heights(stage: &Stage) -> &'static str {
    let steps = stage.session.expand().kinds_of_step();
    let has = |motion| steps.iter().any(|step| step.motion == motion);
    match (has(Move::Run), has(Move::Walk), has(Move::Rest)) {
        (false, _, false) => "The walk",
        (false, ..) => "Walks and rests",
        (true, false, false) => "The run",
        (true, true, false) => "Runs high, walks low",
        (true, false, true) => "Runs high, rests low",
        (true, true, true) => "Runs high, walks and rests low",
    }
}

/// The least of a session as runs and walks on a clock, and whether it may be more.
fn drawn(stage: &Stage) -> (Vec<GaitSpan>, bool) {
    let (run, walk) = (MetresPerSecond::new(ASSUMED_RUN_MPS), MetresPerSecond::new(ASSUMED_WALK_MPS));
    let expansion = stage.session.expand();
    let steps = expansion.steps_at(run, walk, End::Least);
    let is_least = !is_exact(&stage.session.items);
    if steps.len() > MOST_SPANS {
        return (Vec::new(), is_least);
    }
    let mut at_s = 0.0;
    let spans = steps.iter().map(|step| {
        let (gait, speed) = if step.motion == Move::Run { (Gait::Run, run) } else { (Gait::Walk, walk) };
        let start_s = at_s;
        at_s += step.extent.least.seconds_at(speed.get());
        GaitSpan { gait, start_s, end_s: at_s }
    });
    (spans.collect(), is_least)
}

/// Whether nothing may be more or less.
fn is_exact(items: &[Item]) -> bool {
    items.iter().all(|item| match item {
        Item::Interval { extent, .. } => extent.is_exact(),
        Item::Repeat { times, items } => times.range().is_exact() && is_exact(items),
        Item::Until { extent, items } => extent.is_exact() && is_exact(items),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan(text: &str) -> Plan {
        Plan::parse(text).unwrap().value
    }

    /// The lines of a session, what is repeated one step further in.
    fn flat(lines: &[Line], depth: usize) -> Vec<String> {
        let of = |line: &Line| {
            let own = format!("{}{}", "  ".repeat(depth), line.text);
            std::iter::once(own).chain(flat(&line.inside, depth + 1)).collect::<Vec<_>>()
        };
        lines.iter().flat_map(of).collect()
    }

    fn session(text: &str) -> HandoutSession {
        let view = HandoutView::new(&plan(&format!("[[stage]]\nname = 'x'\nsession = '{text}'\n")), None);
        view.stages[0].kinds[0].clone()
    }

    #[test]
    fn a_session_reads_line_by_line() {
        let of = |text| flat(&session(text).lines, 0);
        assert_eq!(
            of("walk 4:40, 5 to 6 x (run 1:50 @ 7:00 /km, walk 1:40), rest 3:00"),
            ["Walk 4:40", "5 to 6 times:", "  Run 1:50, no faster than 7:00 /km", "  Walk 1:40", "Rest 3:00"]
        );
        assert_eq!(
            of("walk 4:00 or more, for 1 mi (run 0.1 mi, walk 0.1 mi)"),
            ["Walk 4:00 or more", "In turn, for 1 mi in all:", "  Run 0.1 mi", "  Walk 0.1 mi"]
        );
        let rising = of("4 rising to 7 x (run 1:30)");
        assert!(
            rising[0].starts_with("4 times at first") && rising[0].ends_with("up to 7 times:"),
            "{rising:?}"
        );
    }

    #[test]
    fn the_drawing_is_the_least_of_a_session_and_says_so() {
        let spans = |text| {
            let session = session(text);
            let spans: Vec<(Gait, f64)> =
                session.spans.iter().map(|span| (span.gait, span.end_s - span.start_s)).collect();
            (spans, session.is_least, session.heights)
        };
        let (run, walk) = (Gait::Run, Gait::Walk);
        let exact = spans("walk 2:00, 2 x (run 1:00, walk 0:30)");
        let steps = vec![(walk, 120.0), (run, 60.0), (walk, 30.0), (run, 60.0), (walk, 30.0)];
        assert_eq!(exact, (steps, false, "Runs high, walks low"));
        let range = spans("1 to 3 x (run 1:00 to 2:00, rest 0:30)");
        assert_eq!(range, (vec![(run, 60.0), (walk, 30.0)], true, "Runs high, rests low"));
        // By arithmetic: 143 m at 1.43 m/s, 260 m at 2.6 m/s.
        let far = spans("walk 143 m, run 260 m");
        assert!(far.0.iter().all(|(_, s)| (s - 100.0).abs() < 1e-9), "{far:?}");
        assert_eq!(spans("400 x (run 0:10, walk 0:10)").0, [], "too many to draw");
    }

    const PLAN: &str = "title = 'x'\nstart = 2026-12-28\nnote = 'Slowly.'\ncontact = 'Ring 555'\n[limits]\n\
        pace_ceiling = '6:45 /km'\neffort_ceiling = 4\nheart_rate_ceiling = '150 bpm'\nsessions_per_week = '2 to 3'\n\
        [[stage]]\nname = 'walk'\nsession = 'walk 25:00'\nsessions = 1\n\
        [[stage]]\nname = '1'\nsession = 'walk 5:00, 4 x (run 1:10, walk 2:00)'\nsessions = 2\n\
        [[stage]]\nname = '2'\nsession = 'run 9:00'\nsessions = 2\nnote = 'On grass.'\ncontact = 'Ring 777'\n\
        pain_limit = 2\n\
        [[stage]]\nname = 'grow'\nsession = '2 rising to 3 x (run 1:00, walk 1:00)'\nsessions = 3\n\
        [[stage]]\nname = 'mixed'\nweeks = 1\n[[stage.session]]\nname = 'run-walk'\ndo = '6 x (run 1:10, walk 1:20)'\na_week = 2\n\
        [[stage.session]]\nname = 'steady'\ndo = 'run 11:00'\na_week = '0 to 1'\n";

    fn days(stage: &HandoutStage) -> Vec<(&str, Option<&str>)> {
        stage.boxes.iter().map(|session| (session.day.as_str(), session.what.as_deref())).collect()
    }

    #[test]
    fn each_session_of_the_plan_has_its_box_and_its_day() {
        let view = HandoutView::new(&plan(PLAN), None);
        assert_eq!(
            view.summary[0],
            "5 stages, 11 sessions, 4 weeks, if every session is done as prescribed."
        );
        assert_eq!(view.summary[1], "From Monday 28 December 2026 to Friday 22 January 2027.");
        let names: Vec<(&str, Option<&str>)> =
            view.stages.iter().map(|stage| (stage.name.as_str(), stage.how_many.as_deref())).collect();
        assert_eq!(names[3..], [("grow", Some("3 sessions")), ("mixed", Some("1 week"))]);
        assert_eq!(days(&view.stages[0]), [("Mon 28 December", None)]);
        assert_eq!(
            days(&view.stages[3]),
            [
                ("Fri 8 January 2027", Some("2 times")),
                ("Mon 11 January 2027", Some("3 times")),
                ("Wed 13 January 2027", Some("3 times"))
            ]
        );
        let mixed: Vec<Option<&str>> = days(&view.stages[4]).into_iter().map(|(_, what)| what).collect();
        assert_eq!(mixed.iter().filter(|what| **what == Some("steady")).count(), 1);
        assert_eq!(mixed.len(), 3);
        let kinds: Vec<Option<&str>> = view.stages[4].kinds.iter().map(|kind| kind.kind.as_deref()).collect();
        assert_eq!(kinds, [Some("run-walk: 2 a week"), Some("steady: up to 1 a week")]);

        let without = HandoutView::new(&plan(&PLAN.replace("start = 2026-12-28\n", "")), None);
        assert_eq!(days(&without.stages[1]), [("Session 1", None), ("Session 2", None)]);
        assert_eq!(without.summary.len(), 1, "no dates");
    }

    #[test]
    fn what_holds_everywhere_is_said_once_and_each_order_alone() {
        let view = HandoutView::new(&plan(PLAN), None);
        assert_eq!(
            view.every,
            [
                "Run slowly: no faster than 6:45 /km.",
                "Heart rate never above 150 bpm.",
                "Effort never above 4 of 10.",
                "2 to 3 sessions a week.",
                "Rest at least a day between two sessions."
            ]
        );
        let own = |stage: usize| view.stages[stage].kinds[0].orders.clone();
        assert_eq!(own(1), ["Walk briskly.", "Any pain: stop running."]);
        assert_eq!(own(2), ["Pain above 2 of 10, or pain that rises as you go: stop running."]);
        let told = |stage: usize| (view.stages[stage].note.as_deref(), view.stages[stage].contact.as_deref());
        assert_eq!((told(1), told(2)), ((None, None), (Some("On grass."), Some("Ring 777"))));
    }

    #[test]
    fn one_stage_is_shown_alone_and_a_long_one_is_cut() {
        let mut plan = plan(PLAN);
        plan.stages[1].sessions = Some(75);
        let stage = plan.stage("1").unwrap().clone();
        let view = HandoutView::new(&plan, Some(&stage));
        let [only] = view.stages.as_slice() else { panic!("one stage") };
        assert_eq!((only.boxes.len(), only.left_out), (MOST_BOXES, 15));
        assert!(view.summary[0].starts_with("1 stage, 75 sessions, if"), "{:?}", view.summary);
        let kind = plan.stage("mixed/steady").unwrap().clone();
        let view = HandoutView::new(&plan, Some(&kind));
        assert_eq!((view.stages[0].name.as_str(), view.stages[0].boxes.len()), ("mixed", 1));
    }
}
