//! The card of one session, to take along: its runs and walks on a running clock, its limits, its cautions.
//!
//! It fits half a page: at most [`MOST_LINES`] lines.

use serde::Serialize;

use jogaudit_core::prescription::{Block, DueSession, Expansion, Extent, Move, PaceBasis, Plan, Stage, Step};
use jogaudit_core::range::Range;
use jogaudit_core::review::Recommendation;
use jogaudit_recording::units::{
    BeatsPerMinute, LengthUnit, METRES_PER_MILE, MetresPerSecond, Seconds, StepsPerMinute,
};

use super::document::document;
use super::ends::{self, Most};
use super::lengths;
use super::text::{HEADING, Page, QUIET, UNKNOWN, WIDTH};
use super::word::{StableWord, as_word, as_word_or_null};
use super::wording::{capitalised, clock, counted, with_contact};

/// Lines of the longest card: half a page of print. Our choice, as are the three numbers below, which keep to it.
pub const MOST_LINES: usize = 36;
/// Rows of the table of runs and walks.
const ROWS: usize = 12;
/// Columns of that table.
const COLUMNS: usize = 3;
/// Runs and walks that are shown at the end when not all can be.
const SHOWN_LAST: usize = 6;

/// The document `jogaudit.card/1`.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CardView {
    /// `jogaudit.card/1`.
    pub schema: &'static str,
    /// Title of the plan.
    pub plan: String,
    /// Name of the stage.
    pub stage: String,
    /// `rest` or `see_clinician` when there is no session; then nothing is prescribed below.
    #[serde(serialize_with = "as_word_or_null")]
    pub instead: Option<Recommendation>,
    /// The session in the session language.
    pub session: String,
    /// Repetitions that are due, where their number rises from session to session and is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repetitions: Option<u32>,
    /// Length of the session, s; `None` when a part of it is by distance. So the next two.
    pub session_s: Option<f64>,
    /// The least, where it may be more or less. So the next ones.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub session_least_s: Option<f64>,
    /// The most, unknown where there is none. So the next ones.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub session_most_s: Option<Most>,
    /// Running in it, s.
    pub run_s: Option<f64>,
    #[allow(missing_docs)]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run_least_s: Option<f64>,
    #[allow(missing_docs)]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run_most_s: Option<Most>,
    /// Walking in it, s.
    pub walk_s: Option<f64>,
    #[allow(missing_docs)]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub walk_least_s: Option<f64>,
    #[allow(missing_docs)]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub walk_most_s: Option<Most>,
    /// The three times as prescribed, figure or range: session, running, walking.
    #[serde(skip)]
    pub times_s: [Option<Range>; 3],
    /// Runs and walks in their order.
    pub bouts: Vec<CardBout>,
    /// For which pace the ceilings hold.
    #[serde(serialize_with = "as_word")]
    pub pace_basis: PaceBasis,
    /// Never above, beats a minute.
    pub heart_rate_ceiling_bpm: Option<f64>,
    /// Never walk at a lower cadence, steps a minute, both feet.
    pub walk_cadence_floor_spm: Option<f64>,
    /// The whole session takes no longer, s.
    pub session_ceiling_s: Option<f64>,
    /// Greatest pain while running that is accepted, 0 to 10.
    pub pain_limit: Option<f64>,
    /// Never harder than this, 0 to 10.
    pub effort_ceiling: Option<f64>,
    /// The prescriber's words, the plan's first.
    pub notes: Vec<String>,
    /// How to reach the professional.
    pub contact: Option<String>,
    /// Limits and cautions in sentences.
    pub text: Vec<String>,
    /// What paces and distances are read by.
    #[serde(skip)]
    pub units: LengthUnit,
}

/// What a bout of a card is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CardGait {
    /// A run.
    Run,
    /// A walk.
    Walk,
    /// Anything but running.
    Rest,
    /// Runs and walks in turn until a time or distance is reached, or so often.
    InTurn,
}

impl StableWord for CardGait {
    fn stable_word(self) -> &'static str {
        self.word()
    }
}

impl CardGait {
    /// The word as in the JSON outputs.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Walk => "walk",
            Self::Rest => "rest",
            Self::InTurn => "in_turn",
        }
    }
}

/// One of the `bouts`: a run, a walk, or runs and walks in turn until a time or distance is reached, or so often.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CardBout {
    /// What it is.
    #[serde(serialize_with = "as_word")]
    pub gait: CardGait,
    /// Counted among the runs or walks of the session; `None` for `in_turn`.
    pub rep: Option<u32>,
    /// On the session's clock; `None` after something by distance.
    pub at_s: Option<f64>,
    /// From the session's start; known while all before is by distance.
    pub at_m: Option<f64>,
    /// How long, s; `None` when it is by distance or a range.
    pub duration_s: Option<f64>,
    /// The least time, where it may be longer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duration_least_s: Option<f64>,
    /// The most time, unknown where there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub duration_most_s: Option<Most>,
    /// How far, m; `None` when it is by time or a range.
    pub distance_m: Option<f64>,
    /// The least distance, where it may be longer.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance_least_m: Option<f64>,
    /// The most distance, unknown where there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub distance_most_m: Option<Most>,
    /// The least often, of what is repeated so often.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub times_least: Option<u32>,
    /// The most often.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub times_most: Option<u32>,
    /// How long or far.
    #[serde(skip)]
    pub extent: Option<Range<Extent>>,
    /// Never run faster, s/km; of runs in turn the first ceiling.
    pub pace_ceiling_s_per_km: Option<f64>,
    /// What goes in turn, in the session language; empty for a run or walk.
    pub cycle: String,
}

impl CardView {
    /// Lays out the card of a stage. `recommended`: for the next session, if it was reviewed; to rest and to see a
    /// clinician take the place of the session, any other recommendation changes nothing.
    pub fn new(plan: &Plan, stage: &Stage, recommended: Option<Recommendation>) -> Self {
        let instead = recommended.filter(|asked| *asked >= Recommendation::Rest);
        let dose = stage.session.dose();
        let bouts = if instead.is_none() { bouts(stage) } else { Vec::new() };
        let limits = &stage.limits;
        let shown = |is_shown: bool, value: Option<f64>| value.filter(|_| is_shown);
        let seconds =
            |time: Option<Range<Seconds>>| time.filter(|_| instead.is_none()).map(|s| s.map(Seconds::get));
        let times_s = [seconds(dose.session), seconds(dose.run), seconds(dose.walk)];
        let [session_s, run_s, walk_s] = times_s;
        let is_on = instead.is_none();
        let mut view = Self {
            schema: "jogaudit.card/1",
            plan: plan.title.clone(),
            stage: stage.name.clone(),
            instead,
            session: if is_on { stage.session.to_string() } else { String::new() },
            repetitions: None,
            session_s: ends::one(session_s),
            session_least_s: ends::least(session_s),
            session_most_s: ends::most(session_s),
            run_s: ends::one(run_s),
            run_least_s: ends::least(run_s),
            run_most_s: ends::most(run_s),
            walk_s: ends::one(walk_s),
            walk_least_s: ends::least(walk_s),
            walk_most_s: ends::most(walk_s),
            times_s,
            bouts,
            pace_basis: limits.pace_basis,
            heart_rate_ceiling_bpm: shown(is_on, limits.heart_rate_ceiling.map(BeatsPerMinute::get)),
            walk_cadence_floor_spm: shown(is_on, limits.walk_cadence_floor.map(StepsPerMinute::get)),
            session_ceiling_s: shown(is_on, limits.session_ceiling.map(Seconds::get)),
            pain_limit: limits.pain_limit,
            effort_ceiling: shown(is_on, limits.effort_ceiling),
            notes: if is_on { notes(plan, stage) } else { Vec::new() },
            contact: stage.contact.clone(),
            text: Vec::new(),
            units: LengthUnit::default(),
        };
        view.units = plan.units.unwrap_or_else(|| units_of(&view.bouts));
        view.text = view.sentences("card");
        if let Some(rise) = stage.session.rise().filter(|_| view.instead.is_none()) {
            let begin = counted(rise.least as usize, "repetition");
            view.text.insert(
                0,
                format!("Begin with {begin}. Each session done as prescribed adds one, up to {}.", rise.most),
            );
        }
        view
    }

    /// The card of a session with the number of repetitions that is due.
    pub fn due(plan: &Plan, stage: &Stage, due: &DueSession, recommended: Option<Recommendation>) -> Self {
        let stage = Stage { session: due.session.clone(), ..stage.clone() };
        let mut view = Self::new(plan, &stage, recommended);
        if view.instead.is_none() {
            view.repetitions = Some(due.repetitions);
            view.text.insert(0, format!("{} next time.", counted(due.repetitions as usize, "repetition")));
        }
        view
    }

    /// Limits and cautions in sentences, in a document that calls itself so: "card".
    pub fn sentences(&self, document: &str) -> Vec<String> {
        match self.instead {
            Some(Recommendation::Rest) => {
                let sentences = ["No session for now: rest.", "There is no need to catch up later."];
                sentences.map(str::to_owned).into_iter().chain([self.help(document)]).collect()
            }
            Some(_) => {
                let sentences = [
                    "Do not run for now.",
                    "See a health professional: your physiotherapist, your doctor, or whoever wrote this plan.",
                    "Take this report along.",
                ];
                sentences.map(str::to_owned).into_iter().chain([self.help(document)]).collect()
            }
            None => {
                let others = self.other_limits();
                let others = (!others.is_empty()).then(|| format!("{}.", capitalised(&others.join("; "))));
                let limits = [self.pace(), others, self.walks(), Some(self.pain())];
                self.notes
                    .iter()
                    .cloned()
                    .chain(limits.into_iter().flatten())
                    .chain([self.help(document)])
                    .collect()
            }
        }
    }

    fn help(&self, document: &str) -> String {
        let help = format!(
            "With swelling, a limp, pain at night or pain that stays, see a health professional. What your clinician says takes \
             precedence over this {document}."
        );
        with_contact(&help, self.contact.as_deref())
    }

    fn pace(&self) -> Option<String> {
        let mut groups: Vec<(f64, Vec<String>)> = Vec::new();
        let held = self.bouts.iter().filter(|bout| !matches!(bout.gait, CardGait::Walk | CardGait::Rest));
        let is_some_free = held.clone().any(|bout| bout.pace_ceiling_s_per_km.is_none());
        for bout in held {
            let Some(ceiling) = bout.pace_ceiling_s_per_km else { continue };
            let name = bout.rep.map_or_else(|| "those in turn".to_owned(), |rep| rep.to_string());
            match groups.iter_mut().find(|(known, _)| *known == ceiling) {
                Some((_, names)) => names.push(name),
                None => groups.push((ceiling, vec![name])),
            }
        }
        let level = if self.pace_basis == PaceBasis::Level { " on level ground, slower uphill" } else { "" };
        match groups.as_slice() {
            [] => None,
            [(ceiling, _)] if !is_some_free => {
                Some(format!("Run slowly: no faster than {}{level}.", lengths::ceiling(*ceiling, self.units)))
            }
            several => {
                let parts: Vec<String> = several
                    .iter()
                    .take(3)
                    .map(|(ceiling, names)| {
                        format!("{} in run {}", lengths::ceiling(*ceiling, self.units), shortened(names))
                    })
                    .collect();
                let more = if several.len() > 3 { "; more in the session's text" } else { "" };
                Some(format!("Run slowly: no faster than {}{level}{more}.", parts.join(", ")))
            }
        }
    }

    /// What the session asks for besides its runs and walks, one order each.
    pub fn orders(&self) -> Vec<String> {
        let others = self.other_limits().into_iter().map(|limit| format!("{}.", capitalised(&limit)));
        let last = [self.walks(), Some(self.pain())];
        self.pace().into_iter().chain(others).chain(last.into_iter().flatten()).collect()
    }

    /// `26:40 in all, 9:10 of running, 17:30 of walking.`
    pub fn sum(&self) -> Option<String> {
        sum(self)
    }

    fn other_limits(&self) -> Vec<String> {
        let parts = [
            self.heart_rate_ceiling_bpm.map(|bpm| format!("heart rate never above {bpm:.0} bpm")),
            self.effort_ceiling.map(|most| format!("effort never above {most} of 10")),
            self.session_ceiling_s.map(|s| format!("the whole session no longer than {}", clock(s))),
        ];
        parts.into_iter().flatten().collect()
    }

    /// How to walk; nothing in a session without a walk.
    fn walks(&self) -> Option<String> {
        if !is_some(self.times_s[2]) {
            return None;
        }
        Some(match self.walk_cadence_floor_spm.map(f64::ceil) {
            // In whole numbers, as a watch shows them, and no fewer steps by one foot than by both.
            Some(spm) => format!(
                "Walk briskly: at least {spm} steps a minute, both feet counted (one foot: {}).",
                (spm / 2.0).ceil()
            ),
            None => "Walk briskly.".to_owned(),
        })
    }

    /// At which pain to stop.
    pub fn pain(&self) -> String {
        match self.pain_limit {
            Some(limit) if limit > 0.0 => {
                format!("Pain above {limit} of 10, or pain that rises as you go: stop running.")
            }
            _ => "Any pain: stop running.".to_owned(),
        }
    }
}

/// At most four names.
fn shortened(names: &[String]) -> String {
    match names {
        [first, .., last] if names.len() > 4 => format!("{first} … {last}"),
        _ => names.join(", "),
    }
}

/// Where a bout begins, as far as it is known.
#[derive(Clone, Copy)]
struct At {
    s: Option<f64>,
    m: Option<f64>,
}

impl At {
    /// Nothing is known after what may be longer or shorter.
    fn pass(&mut self, extent: Range<Extent>) {
        *self = match extent.exact() {
            Some(Extent::Time(time)) => Self { s: self.s.map(|s| s + time.get()), m: None },
            Some(Extent::Distance(distance)) => Self { s: None, m: self.m.map(|m| m + distance.get()) },
            None => Self { s: None, m: None },
        };
    }
}

impl CardBout {
    fn new(gait: CardGait, at: At, extent: Option<Range<Extent>>) -> Self {
        let of = |is_time: bool| extent.filter(|e| e.is_time() == is_time).map(Range::<Extent>::amounts);
        let (time_s, far_m) = (of(true), of(false));
        Self {
            gait,
            rep: None,
            at_s: at.s,
            at_m: at.m,
            duration_s: time_s.and_then(|s| s.exact()),
            duration_least_s: ends::least(time_s),
            duration_most_s: ends::most(time_s),
            distance_m: far_m.and_then(|m| m.exact()),
            distance_least_m: ends::least(far_m),
            distance_most_m: ends::most(far_m),
            times_least: None,
            times_most: None,
            extent,
            pace_ceiling_s_per_km: None,
            cycle: String::new(),
        }
    }
}

fn notes(plan: &Plan, stage: &Stage) -> Vec<String> {
    [&plan.note, &stage.note].into_iter().flatten().cloned().collect()
}

fn bouts(stage: &Stage) -> Vec<CardBout> {
    let mut bouts = Vec::new();
    let mut at = At { s: Some(0.0), m: Some(0.0) };
    let (mut runs, mut walks, mut rests) = (0, 0, 0);
    let ceiling = |step: &Step| step.pace_ceiling(&stage.limits).and_then(MetresPerSecond::pace_s_per_km);
    for block in stage.session.expand().blocks {
        match block {
            Block::Steps(steps) => {
                for step in &steps {
                    let (gait, count) = match step.motion {
                        Move::Run => (CardGait::Run, &mut runs),
                        Move::Walk => (CardGait::Walk, &mut walks),
                        Move::Rest => (CardGait::Rest, &mut rests),
                    };
                    *count += 1;
                    let bout = CardBout::new(gait, at, Some(step.extent));
                    bouts.push(CardBout { rep: Some(*count), pace_ceiling_s_per_km: ceiling(step), ..bout });
                    at.pass(step.extent);
                }
            }
            Block::Until { extent, cycle } => {
                bouts.push(CardBout {
                    pace_ceiling_s_per_km: cycle.iter().find_map(ceiling),
                    cycle: steps_in_words(&cycle),
                    ..CardBout::new(CardGait::InTurn, at, Some(extent))
                });
                at.pass(extent);
            }
            Block::Times { times, once } => {
                bouts.push(CardBout {
                    times_least: Some(times.least),
                    times_most: Some(times.most),
                    pace_ceiling_s_per_km: once.kinds_of_step().iter().find_map(ceiling),
                    cycle: in_words(&once),
                    ..CardBout::new(CardGait::InTurn, at, None)
                });
                at = At { s: None, m: None };
            }
        }
    }
    bouts
}

fn steps_in_words(steps: &[Step]) -> String {
    let parts: Vec<String> =
        steps.iter().map(|step| format!("{} {}", step.motion.word(), step.extent)).collect();
    parts.join(", ")
}

/// A part of a session in the session language, repeats of fixed parts written out.
fn in_words(part: &Expansion) -> String {
    let block = |block: &Block| match block {
        Block::Steps(steps) => steps_in_words(steps),
        Block::Until { extent, cycle } => format!("for {extent} ({})", steps_in_words(cycle)),
        Block::Times { times, once } => format!("{times} x ({})", in_words(once)),
    };
    part.blocks.iter().map(block).collect::<Vec<_>>().join(", ")
}

/// Writes the document, ending in a newline.
pub fn json(view: &CardView) -> String {
    document(view)
}

/// Writes the card of a stage; see [`CardView::new`] for what is recommended.
pub fn card(plan: &Plan, stage: &Stage, recommended: Option<Recommendation>) -> String {
    text(&CardView::new(plan, stage, recommended))
}

/// Writes the card for reading, 80 columns wide and at most [`MOST_LINES`] lines long.
pub fn text(view: &CardView) -> String {
    let mut page = Page::default();
    let title = match view.instead {
        None => format!("Next session: stage “{}”", view.stage),
        Some(Recommendation::Rest) => "For now: rest".to_owned(),
        Some(_) => "For now: see a health professional".to_owned(),
    };
    page.styled_paragraph(HEADING, &title);
    page.line(&one_line(&view.plan, WIDTH));
    if view.instead.is_none() {
        page.line(&one_line(&view.session, WIDTH));
        if let Some(sum) = sum(view) {
            page.line(&sum);
        }
        page.line("");
        table(&mut page, view);
    }
    page.line("");
    let (help, others) = view.text.split_last().map_or(("", &[][..]), |(last, rest)| (last.as_str(), rest));
    for sentence in others {
        page.paragraph("", sentence);
    }
    page.styled_paragraph(QUIET, help);
    page.0
}

fn one_line(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    text.chars().take(width - 1).chain(['…']).collect()
}

/// Whether there is any of a time, or it is not known and may be.
fn is_some(time_s: Option<Range>) -> bool {
    time_s.is_none_or(|range| range.most > 0.0)
}

fn sum(view: &CardView) -> Option<String> {
    let words = ["in all", "of running", "of walking"];
    let times = view.times_s.iter().zip(words).filter(|(time, _)| is_some(**time));
    let parts: Vec<String> = times
        .filter_map(|(range, word)| range.map(|range| format!("{} {word}", ends::times(range))))
        .collect();
    (!parts.is_empty()).then(|| format!("{}.", parts.join(", ")))
}

/// The runs and walks in up to three columns, read downwards; when there are too many, the middle is left out.
fn table(page: &mut Page, view: &CardView) {
    let room = ROWS * COLUMNS;
    let bouts = &view.bouts;
    let mut cells: Vec<String> = Vec::new();
    let mut left_out = 0;
    let units = view.units;
    // A range takes the room of two.
    let width = bouts.iter().map(|bout| length(bout, units).chars().count()).max().unwrap_or(0).max(7);
    let room = if width > 7 { ROWS * 2 } else { room };
    let cell = |bout: &CardBout, units| cell(bout, units, width);
    if bouts.len() <= room {
        cells.extend(bouts.iter().map(|bout| cell(bout, units)));
    } else {
        let first = room - SHOWN_LAST - 1;
        left_out = bouts.len() - first - SHOWN_LAST;
        cells.extend(bouts[..first].iter().map(|bout| cell(bout, units)));
        cells.push(format!("{:>7}", "…"));
        cells.extend(bouts[bouts.len() - SHOWN_LAST..].iter().map(|bout| cell(bout, units)));
    }
    let columns = cells.len().div_ceil(ROWS).max(1);
    let rows = cells.len().div_ceil(columns);
    let header = format!("{:>7} {:<8} {:>width$}", "at", "what", "for");
    page.line(&vec![header; columns].join("   "));
    for row in 0..rows {
        let line: Vec<String> = (0..columns)
            .filter_map(|column| cells.get(column * rows + row))
            .map(|cell| format!("{cell:<0$}", width + 17))
            .collect();
        page.line(&line.join("   "));
    }
    if left_out > 0 {
        page.line(&format!("… stands for {left_out} more runs and walks, as the session's text says."));
    }
    let mut cycles: Vec<String> = Vec::new();
    for bout in bouts.iter().filter(|bout| bout.gait == CardGait::InTurn) {
        let until = length(bout, units);
        let sentence = match bout.extent {
            Some(_) => format!("In turn for {until}: {}; the last is cut there.", bout.cycle),
            None => format!("In turn, {until}: {}.", bout.cycle),
        };
        if !cycles.contains(&sentence) {
            cycles.push(sentence);
        }
    }
    for sentence in cycles.iter().take(2) {
        page.paragraph("", sentence);
    }
}

fn cell(bout: &CardBout, units: LengthUnit, width: usize) -> String {
    let [at, what, length] = texts(bout, units);
    format!("{at:>7} {what:<8} {length:>width$}")
}

/// Where each bout begins, what it is and how long.
pub(super) fn bout_texts(bouts: &[CardBout], units: LengthUnit) -> Vec<[String; 3]> {
    bouts.iter().map(|bout| texts(bout, units)).collect()
}

fn texts(bout: &CardBout, units: LengthUnit) -> [String; 3] {
    let at = match (bout.at_s, bout.at_m) {
        (Some(s), _) if s > 0.0 || bout.extent.is_none_or(Range::<Extent>::is_time) => clock(s),
        (_, Some(m)) => lengths::short_distance(m, units),
        (Some(s), None) => clock(s),
        (None, None) => UNKNOWN.to_owned(),
    };
    let what = match (bout.gait, bout.rep) {
        (CardGait::Run, Some(rep)) => format!("run {rep}"),
        (CardGait::Walk, _) => "walk".to_owned(),
        (CardGait::Rest, _) => "rest".to_owned(),
        (CardGait::Run | CardGait::InTurn, _) => "in turn".to_owned(),
    };
    [at, what, length(bout, units)]
}

fn length(bout: &CardBout, units: LengthUnit) -> String {
    let shown = |metres| lengths::short_distance(metres, units);
    match (bout.extent, bout.times_least.zip(bout.times_most)) {
        (Some(extent), _) if extent.is_time() => ends::times(extent.amounts()),
        (Some(extent), _) => ends::between(extent.amounts(), shown),
        (None, Some((least, most))) => format!("{} times", Range { least, most }),
        (None, None) => UNKNOWN.to_owned(),
    }
}

/// What a session is read by where the plan does not say: miles where every distance is in whole thousandths of one and
/// not in whole metres.
fn units_of(bouts: &[CardBout]) -> LengthUnit {
    let ends =
        |bout: &CardBout| bout.extent.filter(|e| !e.is_time()).map(|e| [e.least.amount(), e.most.amount()]);
    let of = bouts.iter().filter_map(ends).flatten().filter(|m| *m > 0.0 && m.is_finite());
    let mut distances = of.peekable();
    let is_in_miles = distances.peek().is_some()
        && distances.all(|m| {
            let thousandths = m / METRES_PER_MILE * 1000.0;
            (thousandths - thousandths.round()).abs() < 1e-6 && m.fract() != 0.0
        });
    if is_in_miles { LengthUnit::Mile } else { LengthUnit::Kilometre }
}

#[cfg(test)]
mod tests;
