//! What a person reads in each situation: headline, card and reasons, one line each.

use std::fmt::Write as _;

use jiff::civil::Date;

use jogaudit_core::audit::Outcome;
use jogaudit_core::prescription::Plan;
use jogaudit_core::review::{
    Diary, Given, PerformedSession, PerformedSessions, ReviewConfig, Seen, StageChoice, Totals, Written,
    review,
};
use jogaudit_report::review_text::fact;
use jogaudit_report::{ReviewParts, ReviewView};

const PLAN: &str = "
title = 'Back to the lake loop'
timezone = 'UTC'
[limits]
sessions_per_week = 3
rest_days_between = 1
pain_limit = 2
[[stage]]
name = '1'
session = 'walk 4:40, 6 x (run 0:50, walk 1:40)'
sessions = 2
[[stage]]
name = '2'
session = 'walk 4:40, 6 x (run 1:20, walk 1:40)'
sessions = 2
[[stage]]
name = '3'
session = 'walk 4:40, 6 x (run 1:50, walk 1:40)'
sessions = 2
";

/// Days of March 2026.
fn day(day: &str) -> Date {
    Date::constant(2026, 3, day.parse().unwrap())
}

/// A session of a stage, `2:1k`, with its outcome by letter: kept, overdone, underdone, undecided (`?`); `x` for the stage is
/// running outside the plan, `~` a stage that cannot be told.
fn session(plan: &Plan, word: &str) -> PerformedSession {
    let (date, what) = word.split_once(':').unwrap();
    let (stage, outcome) = what.split_at(1);
    let stage = match stage {
        "x" => StageChoice::NoSession,
        "~" => StageChoice::Ambiguous(vec![(0, 0.5), (1, 0.5)]),
        number => StageChoice::Given(number.parse::<usize>().unwrap() - 1),
    };
    let run_s = stage.stage().map_or(600.0, |s| plan.stages[s].session.dose().run.unwrap().most.get());
    PerformedSession {
        recordings: vec![format!("{date}.fit")],
        start: format!("{}T07:00:00Z", day(date)).parse().unwrap(),
        date: day(date),
        totals: Totals {
            run_s,
            sure_run_s: run_s,
            walk_s: 900.0,
            session_s: run_s + 900.0,
            longest_run_s: run_s / 6.0,
            ..Totals::default()
        },
        stage,
        due: None,
        outcome: match outcome {
            "k" => Outcome::Kept,
            "o" => Outcome::Overdone,
            "u" => Outcome::Underdone,
            _ => Outcome::Undecided,
        },
        audit: None,
        notices: Vec::new(),
        bouts: Vec::new(),
    }
}

/// A case and the day on which it is looked at. The diary: `2:0,0` is no pain during and on the morning after of the 2nd.
struct Case {
    sessions: &'static str,
    diary: &'static str,
    seen: &'static str,
    on: &'static str,
}

const fn case(sessions: &'static str, diary: &'static str, on: &'static str) -> Case {
    Case { sessions, diary, seen: "", on }
}

fn reviewed(case: &Case) -> ReviewView {
    let plan = Plan::parse(PLAN).unwrap().value;
    let as_of = day(case.on);
    let mut diary = "date,pain_during,pain_next_morning,pain_pattern,effort\n".to_owned();
    for word in case.diary.split_whitespace().filter(|word| *word != "?") {
        let (date, rest) = word.split_once(':').unwrap();
        let _ = writeln!(diary, "{},{rest}", day(date));
    }
    let unreadable = case.diary == "?";
    let written = Written {
        diary: if unreadable { Diary::unreadable() } else { Diary::parse(&diary, as_of).value },
        given: Given::default(),
        seen: Seen::parse(case.seen, &plan, as_of).value,
    };
    let sessions = PerformedSessions {
        sessions: case.sessions.split_whitespace().map(|word| session(&plan, word)).collect(),
        left_out: Vec::new(),
    };
    let config = ReviewConfig::default();
    let review = review(&plan, &written, &sessions.sessions, &[], as_of, &config).value;
    ReviewView::new(&ReviewParts {
        plan: &plan,
        written: &written,
        sessions: &sessions,
        other: &[],
        review: &review,
        config: &config,
        notices: &[],
    })
}

/// Headline | the card's first order, or the session on it | reasons.
fn line(view: &ReviewView) -> String {
    let card = match &view.card {
        None => "no card".to_owned(),
        Some(card) if card.instead.is_none() => format!("card of {}", card.stage),
        Some(card) => card.text[0].clone(),
    };
    let reasons: Vec<String> = view.ruling.rules.iter().map(fact).collect();
    format!("{} | {card} | {}", view.ruling.text, reasons.join(" "))
}

const SITUATIONS: &[(Case, &str)] = &[
    // nothing done
    (
        case("", "", "5"),
        "First session: stage “1”, from Thursday 5 March. | card of 1 | No session of the plan is on record yet.",
    ),
    // nothing done, pain noted
    (
        case("", "2:4,0", "3"),
        "No session for now: rest. Then stage “1”, from Friday 6 March. | No session for now: rest. | There was pain in the session of 2 March, more than the limit of 2. No session of the plan is on record yet.",
    ),
    // first stage, going on
    (
        case("2:1k", "2:0,0", "3"),
        "Go on with stage “1”, from Wednesday 4 March. | card of 1 | 1 of 2 sessions of stage “1” is done as prescribed.",
    ),
    // first stage, pain
    (
        case("2:1k", "2:3,0", "3"),
        "No session for now: rest. Then stage “1”, from Friday 6 March. | No session for now: rest. | There was pain in the session of 2 March, more than the limit of 2. 1 of 2 sessions of stage “1” is done as prescribed.",
    ),
    // first stage, pain, the rest is over
    (
        case("2:1k", "2:3,0", "6"),
        "Repeat stage “1”, from Friday 6 March. | card of 1 | There was pain in the session of 2 March, more than the limit of 2. 1 of 2 sessions of stage “1” is done as prescribed.",
    ),
    // first stage, overdone twice
    (
        case("2:1o 4:1o", "2:0,0 4:0,0", "5"),
        "Repeat stage “1”, from Friday 6 March. | card of 1 | Your last two runs both went beyond the plan, the second on 4 March. More than prescribed was done on 4 March. 0 of 2 sessions of stage “1” are done as prescribed.",
    ),
    // first stage, much pain, the rest is over
    (
        case("2:1k", "2:6,0", "6"),
        "Repeat stage “1”, from Friday 6 March. | card of 1 | Pain above 5 of 10 was noted on 2 March. There was pain in the session of 2 March, more than the limit of 2. 1 of 2 sessions of stage “1” is done as prescribed.",
    ),
    // first stage, done
    (
        case("2:1k 4:1k", "2:0,0 4:0,0", "5"),
        "By the plan, stage “2” comes next, from Friday 6 March. | card of 2 | The stage's sessions are done as prescribed and nothing recorded or noted calls for holding back; the last was on 4 March.",
    ),
    // first stage, pain at night
    (
        case("2:1k", "2:1,0,night", "3"),
        "See a health professional before you run again. | Do not run for now. | Pain at night was noted on 2 March. There was pain within the limit, and not only while warming up, on 2 March. 1 of 2 sessions of stage “1” is done as prescribed.",
    ),
    // middle, done
    (
        case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:0,0 9:0,0", "10"),
        "By the plan, stage “3” comes next, from Wednesday 11 March. | card of 3 | The stage's sessions are done as prescribed and nothing recorded or noted calls for holding back; the last was on 9 March.",
    ),
    // middle, within the limit
    (
        case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:0,0 9:2,0", "10"),
        "Repeat stage “2”, from Wednesday 11 March. | card of 2 | The greatest pain of the last seven days is 2 of 10; in the seven days before that it was 0.",
    ),
    // middle, pain not noted
    (
        case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:0,0", "10"),
        "Repeat stage “2”, from Wednesday 11 March. | card of 2 | The diary does not say whether there was pain on 9 March.",
    ),
    // middle, overdone
    (
        case("2:1k 4:1k 6:2k 9:2o", "2:0,0 4:0,0 6:0,0 9:0,0", "10"),
        "Repeat stage “2”, from Wednesday 11 March. | card of 2 | More than prescribed was done on 9 March. 1 of 2 sessions of stage “2” is done as prescribed.",
    ),
    // middle, overdone and pain
    (
        case("2:1k 4:1k 6:2k 9:2o", "2:0,0 4:0,0 6:0,0 9:3,0", "10"),
        "No session for now: rest. Then stage “2”, from Friday 13 March. | No session for now: rest. | There was pain in the session of 9 March, more than the limit of 2. More than prescribed was done on 9 March. The greatest pain of the last seven days is 3 of 10; in the seven days before that it was 0. 1 of 2 sessions of stage “2” is done as prescribed.",
    ),
    // middle, overdone twice
    (
        case("2:1k 4:1k 6:2o 9:2o", "2:0,0 4:0,0 6:0,0 9:0,0", "10"),
        "Go back to stage “1”, from Wednesday 11 March. | card of 1 | Your last two runs both went beyond the plan, the second on 9 March. More than prescribed was done on 9 March. 0 of 2 sessions of stage “2” are done as prescribed.",
    ),
    // middle, underdone
    (
        case("2:1k 4:1k 6:2k 9:2u", "2:0,0 4:0,0 6:0,0 9:0,0", "10"),
        "Repeat stage “2”, from Wednesday 11 March. | card of 2 | Less than prescribed was done on 9 March. 1 of 2 sessions of stage “2” is done as prescribed.",
    ),
    // middle, undecided
    (
        case("2:1k 4:1k 6:2k 9:2?", "2:0,0 4:0,0 6:0,0 9:0,0", "10"),
        "Repeat stage “2”, from Wednesday 11 March. | card of 2 | It can't be told whether the session went as prescribed on 9 March. 1 of 2 sessions of stage “2” is done as prescribed.",
    ),
    // middle, stage not known
    (
        case("2:1k 4:1k 6:2k 9:~?", "2:0,0 4:0,0 6:0,0 9:0,0", "10"),
        "Repeat stage “2”, from Wednesday 11 March. | card of 2 | A run was far longer than usual on 9 March. It can't be told which stage was done on 9 March. 1 of 2 sessions of stage “2” is done as prescribed.",
    ),
    // middle, a run outside the plan
    (
        case("2:1k 4:1k 6:2k 9:xk", "2:0,0 4:0,0 6:0,0 9:0,0", "10"),
        "Repeat stage “2”, from Wednesday 11 March. | card of 2 | A run matched no session of the plan on 9 March. 1 of 2 sessions of stage “2” is done as prescribed.",
    ),
    // middle, too many and too close
    (
        case("2:1k 4:1k 5:1k 6:1k", "2:0,0 4:0,0 5:0,0 6:0,0", "7"),
        "No session for now: rest. Then stage “1”, from Tuesday 10 March. | No session for now: rest. | There were too many sessions, or sessions too close together, on 5 March and 6 March. Your last two runs both went beyond the plan, the second on 6 March. The session went beyond the plan on 6 March.",
    ),
    // middle, a stage skipped
    (
        case("2:1k 4:1k 6:3k", "2:0,0 4:0,0 6:0,0", "7"),
        "Go back to stage “2”, from Monday 9 March. | card of 2 | Stage “2” was not done as prescribed before 6 March. A stage was skipped and a run was far longer than usual on 6 March. 1 of 2 sessions of stage “3” is done as prescribed.",
    ),
    // middle, pain on the morning after
    (
        case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:0,0 9:0,3", "10"),
        "No session for now: rest. Then stage “2”, from Friday 13 March. | No session for now: rest. | There was pain on the morning after the session of 9 March. The greatest pain of the last seven days is 3 of 10; in the seven days before that it was 0.",
    ),
    // middle, pain that came back, the rest is over
    (
        case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:0,0 9:3,0,returns", "13"),
        "Go back to stage “1”, from Friday 13 March. | card of 1 | Pain went away and came back on 9 March. There was pain in the session of 9 March, more than the limit of 2. The greatest pain of the last seven days is 3 of 10; in the seven days before that it was 0.",
    ),
    // middle, pain after
    (
        case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:0,0 9:3,0,after", "10"),
        "No session for now: rest. Then stage “2”, from Friday 13 March. | No session for now: rest. | There was pain after the session of 9 March. There was pain in the session of 9 March, more than the limit of 2. The greatest pain of the last seven days is 3 of 10; in the seven days before that it was 0.",
    ),
    // middle, pain twice
    (
        case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:3,0 9:3,0", "10"),
        "See a health professional before you run again. | Do not run for now. | There was pain in two sessions in a row, the last on 9 March. There was pain in the session of 9 March, more than the limit of 2. The greatest pain of the last seven days is 3 of 10; in the seven days before that it was 0.",
    ),
    // middle, pain rising within the limit
    (
        case("2:1k 4:1k 6:2k 9:2k", "2:1,0 4:1,0 9:2,0", "10"),
        "Repeat stage “2”, from Wednesday 11 March. | card of 2 | The greatest pain of the last seven days is 2 of 10; in the seven days before that it was 1.",
    ),
    // middle, a break
    (
        case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:0,0 9:0,0", "17"),
        "Repeat stage “2”, from Tuesday 17 March. | card of 2 | It has been 8 days since 9 March.",
    ),
    // middle, a long break
    (
        case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:0,0 9:0,0", "24"),
        "Go back to stage “1”, from Tuesday 24 March. | card of 1 | It has been 15 days since 9 March.",
    ),
    // middle, diary that cannot be read
    (
        case("2:1k 4:1k 6:2k 9:2k", "?", "10"),
        "Rest: no session until the diary can be read again. | No session for now: rest. | The diary is there and can't be read, so there may be pain in it. The diary does not say whether there was pain on 9 March.",
    ),
    // middle, seen, going on from where they were
    (
        Case {
            seen: "2026-03-11,R. Lunde",
            ..case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:0,0 9:3,0,night", "12")
        },
        "Go on with stage “2”, from Thursday 12 March. | card of 2 | A health professional saw you on 11 March: R. Lunde. 0 of 2 sessions of stage “2” are done as prescribed.",
    ),
    // middle, seen, going back
    (
        Case {
            seen: "2026-03-11,R. Lunde,1",
            ..case("2:1k 4:1k 6:2k 9:2k", "2:0,0 4:0,0 6:0,0 9:3,0,night", "12")
        },
        "Go on with stage “1”, from Thursday 12 March. | card of 1 | A health professional saw you on 11 March: R. Lunde. 0 of 2 sessions of stage “1” are done as prescribed.",
    ),
    // last, going on
    (
        case("2:1k 4:1k 6:2k 9:2k 11:3k", "2:0,0 4:0,0 6:0,0 9:0,0 11:0,0", "12"),
        "Go on with stage “3”, from Friday 13 March. | card of 3 | 1 of 2 sessions of stage “3” is done as prescribed.",
    ),
    // last, pain at night
    (
        case("2:1k 4:1k 6:2k 9:2k 11:3k", "2:0,0 4:0,0 6:0,0 9:0,0 11:1,0,night", "12"),
        "See a health professional before you run again. | Do not run for now. | Pain at night was noted on 11 March. There was pain within the limit, and not only while warming up, on 11 March. The greatest pain of the last seven days is 1 of 10; in the seven days before that it was 0. 1 of 2 sessions of stage “3” is done as prescribed.",
    ),
    // last, done
    (
        case("2:1k 4:1k 6:2k 9:2k 11:3k 13:3k", "2:0,0 4:0,0 6:0,0 9:0,0 11:0,0 13:0,0", "14"),
        "The plan is done: ask your prescriber what comes next. | no card | The last stage is done as prescribed.",
    ),
    // last, done, pain
    (
        case("2:1k 4:1k 6:2k 9:2k 11:3k 13:3k", "2:0,0 4:0,0 6:0,0 9:0,0 11:0,0 13:3,0", "14"),
        "No session for now: rest. Then stage “3”, from Tuesday 17 March. | No session for now: rest. | There was pain in the session of 13 March, more than the limit of 2. The greatest pain of the last seven days is 3 of 10; in the seven days before that it was 0. The last stage is done as prescribed.",
    ),
    // last, done, overdone
    (
        case("2:1k 4:1k 6:2k 9:2k 11:3k 13:3k 16:3o", "2:0,0 4:0,0 6:0,0 9:0,0 11:0,0 13:0,0 16:0,0", "17"),
        "Repeat stage “3”, from Wednesday 18 March. | card of 3 | More than prescribed was done on 16 March. The last stage is done as prescribed.",
    ),
    // last, done, a break
    (
        case("2:1k 4:1k 6:2k 9:2k 11:3k 13:3k", "2:0,0 4:0,0 6:0,0 9:0,0 11:0,0 13:0,0", "21"),
        "Repeat stage “3”, from Saturday 21 March. | card of 3 | It has been 8 days since 13 March. The last stage is done as prescribed.",
    ),
];

#[test]
fn each_situation_has_its_words() {
    for (case, expected) in SITUATIONS {
        assert_eq!(line(&reviewed(case)), *expected, "{} / {} on {}", case.sessions, case.diary, case.on);
    }
}

/// What a sentence orders: verbs at its beginning, and what a headline says of the next session.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Order {
    /// A session is to be done.
    Session,
    /// None is to be done for now.
    None,
}

fn order(sentence: &str) -> Option<Order> {
    let none = ["No session for now", "Rest:", "Do not run", "See a health professional", "The plan is done"];
    let session = ["First session", "Go on with", "By the plan", "Repeat", "Go back"];
    let begins = |list: &[&str]| list.iter().any(|words| sentence.starts_with(words));
    if begins(&none) { Some(Order::None) } else { begins(&session).then_some(Order::Session) }
}

/// Verbs with which an order begins.
const ORDERS: [&str; 17] = [
    "Advance", "Ask", "Begin", "Do", "Go", "Look", "Mend", "Note", "Repeat", "Rest", "Run", "See", "Skip",
    "Start", "Stop", "Take", "Write",
];

#[test]
fn no_situation_gives_two_orders_that_contradict_each_other() {
    for (case, _) in SITUATIONS {
        let view = reviewed(case);
        let headline = order(&view.ruling.text);
        let of_card = match &view.card {
            Some(card) if card.instead.is_none() => Order::Session,
            _ => Order::None,
        };
        assert_eq!(headline, Some(of_card), "{}", view.ruling.text);
        for fact in view.ruling.rules.iter().map(fact) {
            let orders = fact.split(['.', ';', ':']).filter_map(|part| part.split_whitespace().next());
            let orders: Vec<&str> = orders.filter(|word| ORDERS.contains(word)).collect();
            assert!(orders.is_empty() && !fact.contains("please"), "a reason is a fact: {fact}");
        }
        // What a professional is asked for is said wherever that is the ruling, with the way to end it.
        let sends = view.ruling.text.starts_with("See a health professional");
        let card = view
            .card
            .iter()
            .flat_map(|card| &card.text)
            .any(|text| text.starts_with("See a health professional"));
        assert_eq!((sends, sends), (card, view.ruling.ends.is_some_and(|ends| ends.contains("visit"))));
    }
}
