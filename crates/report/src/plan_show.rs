//! A plan's doses per stage and week: tables, a picture, JSON.

use jiff::civil::Date;
use serde::Serialize;

use jogaudit_core::prescription::figures::{ASSUMED_RUN_MPS, ASSUMED_WALK_MPS};
use jogaudit_core::prescription::{
    ASSUMED_SESSIONS_PER_WEEK, Figures, Plan, PrescribedDose, Stage, weekday_word,
};
use jogaudit_core::range::Range;
use jogaudit_recording::units::{LengthUnit, Seconds};

use super::document::document;
use super::ends;
use super::lengths;
use super::outside::escaped;
use super::plan_lint::ratio;
use super::review_view::DatedView;
use super::text::{HEADING, Page, RUN, UNKNOWN, WIDTH};
use super::wording::{clock, counted, needed};

/// The document `jogaudit.plan/1`.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct PlanView {
    pub schema: &'static str,
    pub title: String,
    pub timezone: Option<String>,
    pub start: Option<String>,
    pub weekdays: Vec<&'static str>,
    pub note: Option<String>,
    pub contact: Option<String>,
    pub assumed_run_mps: f64,
    pub assumed_walk_mps: f64,
    pub stages: Vec<StageView>,
    pub weeks: Vec<WeekView>,
    pub calendar: Vec<DatedView>,
    /// What paces and distances are read by.
    #[serde(skip)]
    pub units: LengthUnit,
}

/// One of the `stages`. What its words leave open is `None`, and then there is an estimate.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct StageView {
    pub stage: String,
    pub session: String,
    pub sessions: Option<u32>,
    /// Weeks kept before moving on, where the stage goes by weeks.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weeks: Option<u32>,
    /// At most.
    pub sessions_per_week: Option<u32>,
    /// The least, where more are optional.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sessions_per_week_least: Option<u32>,
    /// How often a week, where the stage has several kinds of session.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub a_week: Option<String>,
    pub runs: Option<usize>,
    pub run_s: Option<f64>,
    pub walk_s: Option<f64>,
    pub session_s: Option<f64>,
    pub longest_run_s: Option<f64>,
    pub run_distance_m: Option<f64>,
    pub longest_run_m: Option<f64>,
    pub run_to_walk: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least: Option<DosesView>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most: Option<DosesView>,
    pub estimate: Option<EstimateView>,
}

/// Doses of the `least` or the `most` that a session with ranges asks for: not known where it is by distance or, of the
/// most, where there is none.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct DosesView {
    pub runs: Option<usize>,
    pub run_s: Option<f64>,
    pub walk_s: Option<f64>,
    pub session_s: Option<f64>,
    pub longest_run_s: Option<f64>,
    pub run_distance_m: Option<f64>,
    pub longest_run_m: Option<f64>,
}

/// Times of what is by distance, at the assumed speeds, in whole seconds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct EstimateView {
    pub run_s: f64,
    pub walk_s: f64,
    pub session_s: f64,
    pub longest_run_s: f64,
}

/// One of the `weeks`.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[expect(missing_docs, reason = "the fields are those of docs/schema")]
pub struct WeekView {
    pub week: usize,
    pub stages: Vec<String>,
    pub sessions: usize,
    pub run_s: Option<f64>,
    pub walk_s: Option<f64>,
    pub session_s: Option<f64>,
    pub longest_run_s: Option<f64>,
    pub run_rise: Option<f64>,
    pub estimate: Option<EstimateView>,
}

impl PlanView {
    /// Works out the doses of every stage and week.
    pub fn new(plan: &Plan) -> Self {
        let figures: Vec<Range<Figures>> = plan.stages.iter().map(|stage| stage.session.figures()).collect();
        Self {
            schema: "jogaudit.plan/1",
            title: plan.title.clone(),
            timezone: plan.timezone.clone(),
            start: plan.start.map(|date| date.to_string()),
            weekdays: plan.weekdays.iter().map(|day| weekday_word(*day)).collect(),
            note: plan.note.clone(),
            contact: plan.contact.clone(),
            assumed_run_mps: ASSUMED_RUN_MPS,
            assumed_walk_mps: ASSUMED_WALK_MPS,
            stages: plan.stages.iter().zip(&figures).map(|(stage, f)| StageView::new(stage, f)).collect(),
            weeks: weeks(plan, &figures),
            calendar: calendar(plan),
            units: plan.read_in(),
        }
    }
}

/// Every session with its day; none without a first day.
fn calendar(plan: &Plan) -> Vec<DatedView> {
    let this_year = plan.start.map_or(0, Date::year);
    plan.calendar().into_iter().flatten().map(|session| DatedView::new(plan, session, this_year)).collect()
}

fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn estimate(run_s: f64, walk_s: f64, session_s: f64, longest_run_s: f64) -> EstimateView {
    EstimateView {
        run_s: run_s.round(),
        walk_s: walk_s.round(),
        session_s: session_s.round(),
        longest_run_s: longest_run_s.round(),
    }
}

fn is_exact(figures: &Figures) -> bool {
    figures.is_run_exact && figures.is_walk_exact && figures.is_session_exact
}

impl DosesView {
    fn new(figures: &Figures) -> Self {
        let exact = |is_exact: bool, value: f64| is_exact.then(|| tenth(value));
        Self {
            runs: Some(figures.runs),
            run_s: exact(figures.is_run_exact, figures.run_s),
            walk_s: exact(figures.is_walk_exact, figures.walk_s),
            session_s: exact(figures.is_session_exact, figures.session_s),
            longest_run_s: exact(figures.is_run_exact, figures.longest_run_s),
            run_distance_m: figures.run_m.map(tenth),
            longest_run_m: figures.longest_run_m.map(tenth),
        }
    }

    /// The most: unknown where there is none.
    fn most(figures: &Figures, dose: &PrescribedDose) -> Self {
        let ends = |range: Option<Range<Seconds>>| range.is_none_or(|range| range.most.get().is_finite());
        let distance_ends = dose.run_distance.is_none_or(|range| range.most.get().is_finite());
        let known = Self::new(figures);
        Self {
            runs: known.runs.filter(|_| dose.runs_end),
            run_s: known.run_s.filter(|_| ends(dose.run)),
            walk_s: known.walk_s.filter(|_| ends(dose.walk)),
            session_s: known.session_s.filter(|_| ends(dose.session)),
            longest_run_s: known.longest_run_s.filter(|_| dose.longest_run_ends),
            run_distance_m: known.run_distance_m.filter(|_| distance_ends),
            longest_run_m: known.longest_run_m.filter(|_| dose.longest_run_ends),
        }
    }
}

impl StageView {
    /// `3`, `2 weeks`.
    fn needed(&self) -> Option<String> {
        needed(self.sessions, self.weeks)
    }

    fn new(stage: &Stage, figures: &Range<Figures>) -> Self {
        let dose = stage.session.dose();
        let is_range = figures.exact().is_none() || is_without_end(&dose);
        let (least, most) = (DosesView::new(&figures.least), DosesView::most(&figures.most, &dose));
        let figures = &figures.most;
        // What may be more or less stands under `least` and `most`.
        let one = |of: fn(&DosesView) -> Option<f64>| of(&most).filter(|_| of(&least) == of(&most));
        let estimate = estimate(figures.run_s, figures.walk_s, figures.session_s, figures.longest_run_s);
        let is_counted = stage.session.expand().fixed_steps().is_some();
        Self {
            stage: stage.name.clone(),
            session: stage.session.to_string(),
            sessions: stage.sessions,
            weeks: stage.weeks,
            sessions_per_week: stage.limits.sessions_per_week.map(|week| week.most),
            sessions_per_week_least: range_of(stage.limits.sessions_per_week),
            a_week: stage.kind.as_ref().map(|kind| kind.a_week.to_string()),
            runs: is_counted.then_some(figures.runs),
            run_s: one(|d| d.run_s),
            walk_s: one(|d| d.walk_s),
            session_s: one(|d| d.session_s),
            longest_run_s: one(|d| d.longest_run_s),
            run_distance_m: one(|d| d.run_distance_m),
            longest_run_m: one(|d| d.longest_run_m),
            run_to_walk: figures.run_to_walk.map(|ratio| (ratio * 1000.0).round() / 1000.0),
            least: is_range.then_some(least),
            most: is_range.then_some(most),
            estimate: (!is_exact(figures)).then_some(estimate),
        }
    }
}

/// The least of a number that may be more.
fn range_of(week: Option<Range<u32>>) -> Option<u32> {
    week.filter(|week| !week.is_exact()).map(|week| week.least)
}

fn is_without_end(dose: &PrescribedDose) -> bool {
    let times = [dose.run, dose.walk, dose.session].into_iter().flatten().map(|range| range.most.get());
    times.chain(dose.run_distance.map(|range| range.most.get())).any(f64::is_infinite)
}

/// The weeks, each with the most that it may hold; where there is no most, with the least.
fn weeks(plan: &Plan, figures: &[Range<Figures>]) -> Vec<WeekView> {
    let mut views: Vec<WeekView> = Vec::new();
    let mut before_s = None;
    for week in plan.weeks() {
        let of =
            |read: fn(&Figures) -> f64| week.sessions.iter().map(move |&stage| read(&figures[stage].most));
        let all = |read: fn(&Figures) -> bool| week.sessions.iter().all(|&stage| read(&figures[stage].most));
        let sum = |read| of(read).sum::<f64>();
        let [run_s, walk_s, session_s] = [sum(|f| f.run_s), sum(|f| f.walk_s), sum(|f| f.session_s)];
        let longest_run_s = of(|f| f.longest_run_s).fold(0.0, f64::max);
        let mut stages: Vec<usize> = week.sessions.clone();
        stages.dedup();
        let rise = before_s.filter(|before: &f64| *before > 0.0).map(|before| run_s / before - 1.0);
        before_s = Some(run_s);
        views.push(WeekView {
            week: week.number,
            stages: stages.iter().map(|&stage| plan.stages[stage].name.clone()).collect(),
            sessions: week.sessions.len(),
            run_s: all(|f| f.is_run_exact).then_some(tenth(run_s)),
            walk_s: all(|f| f.is_walk_exact).then_some(tenth(walk_s)),
            session_s: all(|f| f.is_session_exact).then_some(tenth(session_s)),
            longest_run_s: all(|f| f.is_run_exact).then_some(tenth(longest_run_s)),
            run_rise: rise.map(|rise| (rise * 1000.0).round() / 1000.0),
            estimate: (!all(is_exact)).then(|| estimate(run_s, walk_s, session_s, longest_run_s)),
        });
    }
    views
}

/// Writes the document, ending in a newline.
pub fn json(view: &PlanView) -> String {
    document(view)
}

/// Writes the tables and the picture, 80 columns wide.
pub fn text(view: &PlanView) -> String {
    let mut page = Page::default();
    page.styled_paragraph(HEADING, &view.title);
    let (stages, weeks) = (view.stages.len(), view.weeks.len());
    page.paragraph(
        "",
        &format!(
            "{}, {} when every session is done as prescribed.",
            counted(stages, "stage"),
            counted(weeks, "week")
        ),
    );
    if let Some(note) = &view.note {
        page.paragraph("", &format!("To the runner: {note}"));
    }
    if let Some(contact) = &view.contact {
        page.paragraph("", &format!("Contact: {contact}"));
    }
    stage_table(&mut page, view);
    week_table(&mut page, view);
    picture(&mut page, view);
    calendar_list(&mut page, view);
    let estimates = view.stages.iter().any(|stage| stage.estimate.is_some());
    page.line("");
    if estimates {
        page.paragraph(
            "",
            &format!(
                "~ is an estimate for what is prescribed by distance: running at {} and walking at {}.",
                lengths::pace(1000.0 / ASSUMED_RUN_MPS, view.units),
                lengths::pace(1000.0 / ASSUMED_WALK_MPS, view.units)
            ),
        );
    }
    if view.stages.iter().any(|stage| stage.needed().is_none() || stage.sessions_per_week.is_none()) {
        page.paragraph(
            "",
            &format!(
                "Where the plan does not say, a week is taken to have {ASSUMED_SESSIONS_PER_WEEK} sessions and a stage \
                 to last a week."
            ),
        );
    }
    page.paragraph(
        "",
        "longest: the longest run without a walk. run:walk: the mean run to the mean walk between two runs. rise: of \
         the running, from the week before.",
    );
    page.0
}

/// At most `width` characters, cut with an ellipsis.
fn cut(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    text.chars().take(width - 1).chain(['…']).collect()
}

/// A time that is known, a distance, or an estimate.
fn amount(
    exact_s: Option<f64>,
    distance_m: Option<f64>,
    estimate_s: Option<f64>,
    units: LengthUnit,
) -> String {
    match (exact_s, distance_m, estimate_s) {
        (Some(s), ..) => clock(s),
        (None, Some(m), _) => lengths::distance(m, units),
        (None, None, Some(s)) => format!("~{}", clock(s)),
        (None, None, None) => UNKNOWN.to_owned(),
    }
}

const LABEL: usize = 14;

fn stage_table(page: &mut Page, view: &PlanView) {
    page.heading("A session of each stage");
    page.line("  stage          sessions   running   walking   session   longest  run:walk");
    for stage in &view.stages {
        let estimate = |read: fn(EstimateView) -> f64| stage.estimate.map(read);
        let amount = |exact_s, distance_m, estimate_s| amount(exact_s, distance_m, estimate_s, view.units);
        let of = |one, read| stage.at_most(one, read);
        page.line(&format!(
            "  {:<LABEL$} {:>8} {:>9} {:>9} {:>9} {:>9} {:>9}",
            cut(&stage.stage, LABEL),
            stage.needed().unwrap_or_else(|| UNKNOWN.to_owned()),
            amount(
                of(stage.run_s, |d| d.run_s),
                of(stage.run_distance_m, |d| d.run_distance_m),
                estimate(|e| e.run_s)
            ),
            amount(of(stage.walk_s, |d| d.walk_s), None, estimate(|e| e.walk_s)),
            amount(of(stage.session_s, |d| d.session_s), None, estimate(|e| e.session_s)),
            amount(
                of(stage.longest_run_s, |d| d.longest_run_s),
                of(stage.longest_run_m, |d| d.longest_run_m),
                estimate(|e| e.longest_run_s)
            ),
            stage.run_to_walk.map_or_else(|| UNKNOWN.to_owned(), ratio),
        ));
        if let Some(ranges) = ranges(stage, view.units) {
            page.hanging("      ", "      ", &ranges);
        }
    }
}

type Figure = fn(&DosesView) -> Option<f64>;

impl StageView {
    /// A figure that is exact, else its most, and where there is none its least.
    fn at_most(&self, exact: Option<f64>, of: Figure) -> Option<f64> {
        exact.or_else(|| [&self.most, &self.least].into_iter().flatten().find_map(of))
    }
}

/// `running 12:00 to 16:00, session 22:00 to 28:00`, where a stage has ranges.
fn ranges(stage: &StageView, units: LengthUnit) -> Option<String> {
    let (least, most) = (stage.least.as_ref()?, stage.most.as_ref()?);
    let figures: [(&str, Figure, bool); 6] = [
        ("running", |d| d.run_s, false),
        ("running", |d| d.run_distance_m, true),
        ("walking", |d| d.walk_s, false),
        ("session", |d| d.session_s, false),
        ("longest run", |d| d.longest_run_s, false),
        ("longest run", |d| d.longest_run_m, true),
    ];
    let parts = figures.iter().filter_map(|(name, of, by_distance)| {
        let range = Range { least: of(least)?, most: of(most).unwrap_or(f64::INFINITY) };
        let distance = || ends::between(range, |m| lengths::distance(m, units));
        let shown = || if *by_distance { distance() } else { ends::times(range) };
        (!range.is_exact()).then(|| format!("{name} {}", shown()))
    });
    let parts: Vec<String> = parts.collect();
    (!parts.is_empty()).then(|| parts.join(", "))
}

fn week_table(page: &mut Page, view: &PlanView) {
    page.heading("Each week");
    page.line("  week  stages         sessions   running   walking   longest      rise");
    for week in &view.weeks {
        let estimate = |read: fn(EstimateView) -> f64| week.estimate.map(read);
        let amount = |exact_s, distance_m, estimate_s| amount(exact_s, distance_m, estimate_s, view.units);
        page.line(&format!(
            "  {:<5} {:<LABEL$} {:>8} {:>9} {:>9} {:>9} {:>9}",
            week.week,
            cut(&week.stages.join(", "), LABEL),
            week.sessions,
            amount(week.run_s, None, estimate(|e| e.run_s)),
            amount(week.walk_s, None, estimate(|e| e.walk_s)),
            amount(week.longest_run_s, None, estimate(|e| e.longest_run_s)),
            week.run_rise.map_or_else(|| UNKNOWN.to_owned(), |rise| format!("{:+.0} %", rise * 100.0)),
        ));
    }
}

/// The sessions with their days, as if every one were kept.
fn calendar_list(page: &mut Page, view: &PlanView) {
    if view.calendar.is_empty() {
        if !view.weekdays.is_empty() {
            page.line("");
            let days = view.weekdays.join(", ");
            page.paragraph("", &format!("Sessions are meant for {days}; a `start` gives each its date."));
        }
        return;
    }
    page.heading("Calendar, if every session is done as prescribed");
    for session in &view.calendar {
        page.hanging("  ", "    ", &session.text);
    }
}

const LONGEST_MARK: char = '█';
const RUN_MARK: char = '▄';
const WALK_MARK: char = '▁';

/// One bar a stage: its longest run, its other runs, its walks, to one scale.
fn picture(page: &mut Page, view: &PlanView) {
    const COLUMNS: usize = WIDTH - 2 - LABEL - 1;
    let doses: Vec<[f64; 3]> = view.stages.iter().map(parts).collect();
    let most = doses.iter().map(|parts| parts.iter().sum()).fold(0.0_f64, f64::max);
    if most <= 0.0 {
        return;
    }
    let mark_s = mark_s(most, COLUMNS);
    page.heading("Over the stages");
    for (stage, parts) in view.stages.iter().zip(&doses) {
        let mut ends = [0; 3];
        let mut sum = 0.0;
        for (end, part) in ends.iter_mut().zip(parts) {
            sum += part;
            *end = (sum / mark_s).round() as usize;
        }
        let [longest, running, all] = ends;
        let marks = |mark: char, n: usize| mark.to_string().repeat(n);
        page.styled_line(&format!(
            "  {:<LABEL$} {RUN}{}{}{RUN:#}{}",
            escaped(&cut(&stage.stage, LABEL)),
            marks(LONGEST_MARK, longest),
            marks(RUN_MARK, running - longest),
            marks(WALK_MARK, all - running)
        ));
    }
    page.paragraph(
        "  ",
        &format!(
            "{LONGEST_MARK} longest run   {RUN_MARK} other runs   {WALK_MARK} walks   one mark is {}",
            clock(mark_s)
        ),
    );
}

/// Longest run, other running, walking, s.
fn parts(stage: &StageView) -> [f64; 3] {
    let known = |exact: Option<f64>, of: fn(&DosesView) -> Option<f64>, read: fn(EstimateView) -> f64| {
        stage.at_most(exact, of).or(stage.estimate.map(read)).unwrap_or(0.0)
    };
    let run_s = known(stage.run_s, |d| d.run_s, |e| e.run_s);
    let longest_s = known(stage.longest_run_s, |d| d.longest_run_s, |e| e.longest_run_s);
    [longest_s, (run_s - longest_s).max(0.0), known(stage.walk_s, |d| d.walk_s, |e| e.walk_s)]
}

/// The shortest round time that a mark may stand for so that the longest session fits.
fn mark_s(most_s: f64, columns: usize) -> f64 {
    const ROUND_S: [f64; 8] = [10.0, 15.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0];
    let fits = |mark_s: &f64| most_s / mark_s <= columns as f64;
    ROUND_S.into_iter().find(fits).unwrap_or(most_s / columns as f64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn view(text: &str) -> PlanView {
        PlanView::new(&Plan::parse(text).unwrap().value)
    }

    const PLAN: &str = "title = 'Back on the path'\n[limits]\nsessions_per_week = 3\n\
        [[stage]]\nname = '1'\nsession = 'walk 5:00, 6 x (run 1:00, walk 2:00), walk 5:00'\nsessions = 2\n\
        [[stage]]\nname = '2'\nsession = 'walk 5:00, 4 x (run 2:00, walk 2:00), walk 5:00'\nsessions = 2\n\
        [[stage]]\nname = '3'\nsession = 'for 2 mi (walk 0.1 mi, run 0.1 mi)'\nsessions = 2\n";

    #[test]
    fn the_page_reads_as_meant() {
        let shown = anstream::adapter::strip_str(&text(&view(PLAN))).to_string();
        assert_eq!(
            shown,
            "\
Back on the path
3 stages, 2 weeks when every session is done as prescribed.

A session of each stage
  stage          sessions   running   walking   session   longest  run:walk
  1                     2      6:00     22:00     28:00      1:00       1:2
  2                     2      8:00     18:00     26:00      2:00       1:1
  3                     2    1609 m    ~18:45    ~29:04     161 m       1:1

Each week
  week  stages         sessions   running   walking   longest      rise
  1     1, 2                  3     20:00   1:02:00      2:00         –
  2     2, 3                  3    ~28:38    ~55:31     ~2:00     +43 %

Over the stages
  1              ██▄▄▄▄▄▄▄▄▄▄▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁
  2              ████▄▄▄▄▄▄▄▄▄▄▄▄▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁
  3              ██▄▄▄▄▄▄▄▄▄▄▄▄▄▄▄▄▄▄▄▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁▁
  █ longest run ▄ other runs ▁ walks one mark is 0:30

~ is an estimate for what is prescribed by distance: running at 6:25 /km and
walking at 11:39 /km.
longest: the longest run without a walk. run:walk: the mean run to the mean walk
between two runs. rise: of the running, from the week before.
"
        );
    }

    #[test]
    fn what_is_by_distance_is_open_and_estimated() {
        let view = view(PLAN);
        let stage = &view.stages[2];
        assert_eq!((stage.run_s, stage.session_s, stage.runs), (None, None, Some(10)));
        assert_eq!(stage.run_distance_m, Some(1609.3));
        // By arithmetic: 1609.344 m at 2.6 m/s.
        assert_eq!(stage.estimate.map(|e| e.run_s), Some(619.0));
        assert_eq!(view.stages[0].estimate, None);
        assert_eq!(view.weeks[0].run_s, Some(1200.0));
        assert_eq!(view.weeks[1].run_s, None);
    }

    #[test]
    fn what_has_no_most_says_so() {
        let stage = |session: &str| {
            let stages = view(&format!("[[stage]]\nname = '1'\nsession = '{session}'")).stages;
            let most = stages[0].most.expect("a most");
            (most.runs, most.run_s, most.longest_run_s, most.run_distance_m)
        };
        assert_eq!(stage("for 20:50 or more (run 0:50, walk 1:40)"), (None, None, Some(50.0), None));
        assert_eq!(stage("run 18:20 or more, walk 5:00"), (Some(1), None, None, None));
        assert_eq!(stage("run 2 km or more, run 400 m to 600 m"), (Some(1), None, None, None));
        assert_eq!(stage("run 400 m to 600 m"), (Some(1), None, None, Some(600.0)));
    }

    #[test]
    fn bars_never_leave_the_page() {
        for minutes in [1, 29, 31, 63, 300, 1400] {
            let plan = format!("[[stage]]\nname = 'a long name that is cut'\nsession = 'run {minutes}:00'");
            let shown = anstream::adapter::strip_str(&text(&view(&plan))).to_string();
            assert!(shown.lines().all(|line| line.chars().count() <= WIDTH), "{shown}");
        }
    }

    #[test]
    fn a_count_that_rises_has_its_number_on_each_day() {
        let rising = "title = 'x'\nstart = 2026-03-02\n[[stage]]\nname = 'grow'\nsessions = 3\n\
            session = 'walk 6:00, 4 rising to 5 x (run 1:40, walk 2:20)'\n";
        let days: Vec<String> = view(rising).calendar.into_iter().map(|session| session.text).collect();
        assert_eq!(
            days,
            [
                "Monday 2 March: stage grow, 22 min",
                "Wednesday 4 March: stage grow, 26 min",
                "Friday 6 March: stage grow, 26 min"
            ]
        );
    }
}
