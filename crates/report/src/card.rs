//! The card of one session, to take along: its runs and walks on a running clock, its limits, its cautions.
//!
//! It fits half a page: at most [`MOST_LINES`] lines.

use serde::Serialize;

use jogaudit_core::prescription::{Block, Extent, Move, PaceBasis, Plan, Stage, Step};
use jogaudit_core::review::Recommendation;
use jogaudit_recording::units::{
    BeatsPerMinute, LengthUnit, METRES_PER_MILE, MetresPerSecond, Seconds, StepsPerMinute,
};

use super::json;
use super::lengths;
use super::text::{HEADING, Page, QUIET, UNKNOWN, WIDTH};
use super::word::{as_word, as_word_or_null};
use super::wording::{clock, with_contact};

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
    /// Length of the session, s; `None` when a part of it is by distance. So the next two.
    pub session_s: Option<f64>,
    /// Running in it, s.
    pub run_s: Option<f64>,
    /// Walking in it, s.
    pub walk_s: Option<f64>,
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
    /// Runs and walks in turn until a time or distance is reached.
    InTurn,
}

impl CardGait {
    /// The word as in the JSON outputs.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Run => "run",
            Self::Walk => "walk",
            Self::InTurn => "in_turn",
        }
    }
}

/// One of the `bouts`: a run, a walk, or runs and walks in turn until a time or distance is reached.
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
    /// How long, s; `None` when it is by distance.
    pub duration_s: Option<f64>,
    /// How far, m; `None` when it is by time.
    pub distance_m: Option<f64>,
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
        let is_on = instead.is_none();
        let mut view = Self {
            schema: "jogaudit.card/1",
            plan: plan.title.clone(),
            stage: stage.name.clone(),
            instead,
            session: if is_on { stage.session.to_string() } else { String::new() },
            session_s: shown(is_on, dose.session.map(Seconds::get)),
            run_s: shown(is_on, dose.run.map(Seconds::get)),
            walk_s: shown(is_on, dose.walk.map(Seconds::get)),
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
        view.text = view.sentences();
        view
    }

    fn sentences(&self) -> Vec<String> {
        match self.instead {
            Some(Recommendation::Rest) => {
                vec!["No session for now: rest, and do not make up for it later.".to_owned(), self.help()]
            }
            Some(_) => vec![
                "No session for now: see a health professional before the next run, and take this report along."
                    .to_owned(),
                self.help(),
            ],
            None => {
                let limits = [self.pace(), self.other_limits(), Some(self.walks()), Some(self.pain())];
                self.notes.iter().cloned().chain(limits.into_iter().flatten()).chain([self.help()]).collect()
            }
        }
    }

    fn help(&self) -> String {
        with_contact(HELP, self.contact.as_deref())
    }

    fn pace(&self) -> Option<String> {
        let mut groups: Vec<(f64, Vec<String>)> = Vec::new();
        let held = self.bouts.iter().filter(|bout| bout.gait != CardGait::Walk);
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
            [(ceiling, _)] if !is_some_free => Some(format!(
                "Run slowly: never faster than {}{level}.",
                lengths::ceiling(*ceiling, self.units)
            )),
            several => {
                let parts: Vec<String> = several
                    .iter()
                    .take(3)
                    .map(|(ceiling, names)| {
                        format!("{} in run {}", lengths::ceiling(*ceiling, self.units), shortened(names))
                    })
                    .collect();
                let more = if several.len() > 3 { "; more in the session's text" } else { "" };
                Some(format!("Run slowly: never faster than {}{level}{more}.", parts.join(", ")))
            }
        }
    }

    fn other_limits(&self) -> Option<String> {
        let parts: Vec<String> = [
            self.heart_rate_ceiling_bpm.map(|bpm| format!("heart rate never above {bpm:.0} bpm")),
            self.effort_ceiling.map(|most| format!("effort never above {most} of 10")),
            self.session_ceiling_s.map(|s| format!("the whole session no longer than {}", clock(s))),
        ]
        .into_iter()
        .flatten()
        .collect();
        let mut sentence = parts.join("; ");
        let first = sentence.get(..1)?.to_uppercase();
        sentence.replace_range(..1, &first);
        Some(format!("{sentence}."))
    }

    fn walks(&self) -> String {
        match self.walk_cadence_floor_spm {
            Some(spm) => format!(
                "Walk briskly: at least {spm:.0} steps a minute, both feet counted (one foot: {}).",
                spm / 2.0
            ),
            None => "Walk briskly.".to_owned(),
        }
    }

    fn pain(&self) -> String {
        match self.pain_limit {
            Some(limit) if limit > 0.0 => {
                format!("Pain above {limit} of 10, or pain that rises as you go: stop running.")
            }
            _ => "Any pain: stop running.".to_owned(),
        }
    }
}

const HELP: &str = "With swelling, a limp, pain at night or pain that stays, see a health professional. What your \
    clinician says stands above this card.";

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
    fn pass(&mut self, extent: Extent) {
        match extent {
            Extent::Time(time) => *self = Self { s: self.s.map(|s| s + time.get()), m: None },
            Extent::Distance(distance) => *self = Self { s: None, m: self.m.map(|m| m + distance.get()) },
        }
    }
}

fn notes(plan: &Plan, stage: &Stage) -> Vec<String> {
    [&plan.note, &stage.note].into_iter().flatten().cloned().collect()
}

fn bouts(stage: &Stage) -> Vec<CardBout> {
    let mut bouts = Vec::new();
    let mut at = At { s: Some(0.0), m: Some(0.0) };
    let (mut runs, mut walks) = (0, 0);
    let ceiling = |step: &Step| step.pace_ceiling(&stage.limits).and_then(MetresPerSecond::pace_s_per_km);
    let amounts = |extent| match extent {
        Extent::Time(time) => (Some(time.get()), None),
        Extent::Distance(distance) => (None, Some(distance.get())),
    };
    for block in stage.session.expand().blocks {
        match block {
            Block::Steps(steps) => {
                for step in &steps {
                    let (gait, count) = match step.motion {
                        Move::Run => (CardGait::Run, &mut runs),
                        Move::Walk => (CardGait::Walk, &mut walks),
                    };
                    *count += 1;
                    let (duration_s, distance_m) = amounts(step.extent);
                    bouts.push(CardBout {
                        gait,
                        rep: Some(*count),
                        at_s: at.s,
                        at_m: at.m,
                        duration_s,
                        distance_m,
                        pace_ceiling_s_per_km: ceiling(step),
                        cycle: String::new(),
                    });
                    at.pass(step.extent);
                }
            }
            Block::Until { extent, cycle } => {
                let (duration_s, distance_m) = amounts(extent);
                let parts: Vec<String> =
                    cycle.iter().map(|step| format!("{} {}", step.motion.word(), step.extent)).collect();
                bouts.push(CardBout {
                    gait: CardGait::InTurn,
                    rep: None,
                    at_s: at.s,
                    at_m: at.m,
                    duration_s,
                    distance_m,
                    pace_ceiling_s_per_km: cycle.iter().find_map(ceiling),
                    cycle: parts.join(", "),
                });
                at.pass(extent);
            }
        }
    }
    bouts
}

/// Writes the document, ending in a newline.
pub fn json(view: &CardView) -> String {
    json::document(view)
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
        Some(Recommendation::Rest) => "Next session: none, rest".to_owned(),
        Some(_) => "Next session: none, see a health professional".to_owned(),
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

fn sum(view: &CardView) -> Option<String> {
    let parts: Vec<String> = [
        view.session_s.map(|s| format!("{} in all", clock(s))),
        view.run_s.map(|s| format!("{} of running", clock(s))),
        view.walk_s.map(|s| format!("{} of walking", clock(s))),
    ]
    .into_iter()
    .flatten()
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
    let header = format!("{:>7} {:<8} {:>7}", "at", "what", "for");
    page.line(&vec![header; columns].join("   "));
    for row in 0..rows {
        let line: Vec<String> = (0..columns)
            .filter_map(|column| cells.get(column * rows + row))
            .map(|cell| format!("{cell:<24}"))
            .collect();
        page.line(&line.join("   "));
    }
    if left_out > 0 {
        page.line(&format!("… stands for {left_out} more runs and walks, as the session's text says."));
    }
    let mut cycles: Vec<String> = Vec::new();
    for bout in bouts.iter().filter(|bout| bout.gait == CardGait::InTurn) {
        let until = length(bout, units);
        let sentence = format!("In turn until {until} are over: {}; the last is cut there.", bout.cycle);
        if !cycles.contains(&sentence) {
            cycles.push(sentence);
        }
    }
    for sentence in cycles.iter().take(2) {
        page.line(&one_line(sentence, WIDTH));
    }
}

fn cell(bout: &CardBout, units: LengthUnit) -> String {
    let [at, what, length] = texts(bout, units);
    format!("{at:>7} {what:<8} {length:>7}")
}

/// Where each bout begins, what it is and how long.
pub(super) fn bout_texts(bouts: &[CardBout], units: LengthUnit) -> Vec<[String; 3]> {
    bouts.iter().map(|bout| texts(bout, units)).collect()
}

fn texts(bout: &CardBout, units: LengthUnit) -> [String; 3] {
    let at = match (bout.at_s, bout.at_m) {
        (Some(s), _) if s > 0.0 || bout.duration_s.is_some() => clock(s),
        (_, Some(m)) => lengths::short_distance(m, units),
        (Some(s), None) => clock(s),
        (None, None) => UNKNOWN.to_owned(),
    };
    let what = match (bout.gait, bout.rep) {
        (CardGait::Run, Some(rep)) => format!("run {rep}"),
        (CardGait::Walk, _) => "walk".to_owned(),
        (CardGait::Run | CardGait::InTurn, _) => "in turn".to_owned(),
    };
    [at, what, length(bout, units)]
}

fn length(bout: &CardBout, units: LengthUnit) -> String {
    match (bout.duration_s, bout.distance_m) {
        (Some(s), _) => clock(s),
        (None, Some(m)) => lengths::short_distance(m, units),
        (None, None) => UNKNOWN.to_owned(),
    }
}

/// What a session is read by where the plan does not say: miles where every distance is in whole thousandths of one and
/// not in whole metres.
fn units_of(bouts: &[CardBout]) -> LengthUnit {
    let mut distances = bouts.iter().filter_map(|bout| bout.distance_m).peekable();
    let is_in_miles = distances.peek().is_some()
        && distances.all(|m| {
            let thousandths = m / METRES_PER_MILE * 1000.0;
            (thousandths - thousandths.round()).abs() < 1e-6 && m.fract() != 0.0
        });
    if is_in_miles { LengthUnit::Mile } else { LengthUnit::Kilometre }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn shown(limits: &str, session: &str, recommended: Option<Recommendation>) -> String {
        let text = format!(
            "title = 'Back on the path'\n[limits]\n{limits}\n[[stage]]\nname = '2'\nsession = '{session}'"
        );
        let plan = Plan::parse(&text).unwrap().value;
        anstream::adapter::strip_str(&card(&plan, &plan.stages[0], recommended)).to_string()
    }

    const LIMITS: &str = "pace_ceiling = '6:45 /km'\nheart_rate_ceiling = '150 bpm'\nwalk_cadence_floor = '110 spm'\n\
        session_ceiling = '45:00'\npain_limit = 2";

    #[test]
    fn the_card_reads_as_meant() {
        assert_eq!(
            shown(LIMITS, "walk 5:00, 5 x (run 2:00, walk 2:00), walk 3:00", None),
            "\
Next session: stage “2”
Back on the path
walk 5:00, 5 x (run 2:00, walk 2:00), walk 3:00
28:00 in all, 10:00 of running, 18:00 of walking.

     at what         for
   0:00 walk        5:00
   5:00 run 1       2:00
   7:00 walk        2:00
   9:00 run 2       2:00
  11:00 walk        2:00
  13:00 run 3       2:00
  15:00 walk        2:00
  17:00 run 4       2:00
  19:00 walk        2:00
  21:00 run 5       2:00
  23:00 walk        2:00
  25:00 walk        3:00

Run slowly: never faster than 6:45 /km.
Heart rate never above 150 bpm; the whole session no longer than 45:00.
Walk briskly: at least 110 steps a minute, both feet counted (one foot: 55).
Pain above 2 of 10, or pain that rises as you go: stop running.
With swelling, a limp, pain at night or pain that stays, see a health
professional. What your clinician says stands above this card.
"
        );
    }

    #[test]
    fn by_distance_the_clock_is_the_distance() {
        let card = shown("", "for 2 mi (walk 0.1 mi, run 0.4 mi)", None);
        assert!(card.contains("   0 mi walk      0.1 mi\n 0.1 mi run 1     0.4 mi\n 0.5 mi walk"), "{card}");
        assert!(card.contains("Any pain: stop"), "without a limit any pain counts: {card}");
    }

    #[test]
    fn alternating_until_a_distance_is_said_in_a_sentence() {
        let card = shown("", "walk 10:00, for 1.5 mi (walk 2:00, run 3:00), walk 5:00", None);
        assert!(card.contains("10:00 in turn   1.5 mi"), "{card}");
        assert!(card.contains("      – walk        5:00"), "no clock after a distance: {card}");
        assert!(
            card.contains("In turn until 1.5 mi are over: walk 2:00, run 3:00; the last is cut there."),
            "{card}"
        );
    }

    #[test]
    fn rest_and_the_clinician_take_the_place_of_the_session() {
        for (asked, said) in [
            (Recommendation::Rest, "none, rest"),
            (Recommendation::SeeClinician, "none, see a health professional"),
        ] {
            let card = shown(LIMITS, "walk 5:00, 5 x (run 2:00, walk 2:00)", Some(asked));
            assert!(card.starts_with(&format!("Next session: {said}\n")), "{card}");
            assert!(!card.contains("run 1") && !card.contains("2:00"), "{card}");
        }
        let kept = shown(LIMITS, "run 20:00", Some(Recommendation::Advance));
        assert!(kept.contains("run 1"));
    }

    #[test]
    fn runs_with_their_own_ceilings_are_named() {
        let card = shown("pace_ceiling = '6:45 /km'", "2 x (run 3:00, walk 1:00), run 3:00 @ 7:30 /km", None);
        assert!(card.contains("never faster than 6:45 /km in run 1, 2, 7:30 /km in run 3."), "{card}");
    }

    #[test]
    fn the_prescribers_words_stand_on_the_card_and_cannot_steer_a_terminal() {
        let text = "title = 'Back'\nnote = \"Talk \u{202e}as you run.\"\ncontact = 'Ring 555 0101.'\n[[stage]]\nname = '2'\n\
            note = '<b>Stay off the hill.</b>'\neffort_ceiling = 4\nsession = 'walk 3:40, run 0:50'";
        let plan = Plan::parse(text).unwrap().value;
        let of = |asked| anstream::adapter::strip_str(&card(&plan, &plan.stages[0], asked)).to_string();
        let kept = of(None);
        for said in [
            "\nTalk \\u{202e}as you run.\n",
            "\n<b>Stay off the hill.</b>\n",
            "\nEffort never above 4 of 10.\n",
        ] {
            assert!(kept.contains(said), "{kept}");
        }
        let words = kept.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.ends_with("above this card. Contact: Ring 555 0101."), "{kept}");
        // Without a session there is nothing to say about it, but a professional is named.
        let ask = of(Some(Recommendation::SeeClinician));
        assert!(!ask.contains("hill") && ask.contains("Contact: Ring 555"), "{ask}");
    }

    #[test]
    fn long_sessions_are_folded() {
        let card = shown("", "walk 5:00, 40 x (run 1:00, walk 0:30), walk 5:00", None);
        // 82 runs and walks; the last walk begins at 5:00 + 40 × 1:30 = 1:05:00.
        assert!(card.contains("1:05:00 walk        5:00"), "{card}");
        assert!(card.contains("… stands for 47 more runs and walks"), "{card}");
    }

    proptest! {
        #[test]
        fn no_card_is_longer_than_half_a_page(
            times in 1u32..200, run in 1u32..300, walk in 1u32..300, nested in 1u32..4, by_distance: bool,
        ) {
            let walk = if by_distance { format!("{} m", walk + 50) } else { format!("{walk} s") };
            let session = format!(
                "walk 5:00, {times} x ({nested} x (run {run} s @ 7:00 /km, walk {walk}), run 1:00 @ 6:30 /km), \
                 for 20:00 (run 400 m, walk 1:00), for 1 km (run 1:00, walk 1:00), walk 5:00"
            );
            let (note, contact) = ("words ".repeat(24), "somebody ".repeat(11));
            let (note, contact) = (note.trim(), contact.trim());
            let text = format!(
                "note = '{note}'\ncontact = '{contact}'\n[limits]\n{LIMITS}\npace_basis = 'level'\neffort_ceiling = 4.5\n\
                 [[stage]]\nname = '1'\nnote = '{note}'\nsession = '{session}'"
            );
            let Ok(plan) = Plan::parse(&text) else { return Ok(()) };
            let card = card(&plan.value, &plan.value.stages[0], None);
            let card = anstream::adapter::strip_str(&card).to_string();
            prop_assert!(card.lines().count() <= MOST_LINES, "{}", card);
            prop_assert!(card.lines().all(|line| line.chars().count() <= WIDTH), "{}", card);
        }
    }
}
