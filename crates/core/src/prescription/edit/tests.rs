#![allow(clippy::format_push_string)] // texts of a test

use proptest::prelude::*;

use super::super::Plan;
use super::*;

const S: fn(usize) -> Place = Place::Stage;

fn set(text: &str, values: &[(Place, &str, &str)]) -> String {
    plan_with_values(text, values).unwrap_or_else(|error| panic!("{error}: {text}"))
}

fn change(text: &str, change: Change) -> String {
    plan_with(text, change).unwrap_or_else(|error| panic!("{error}: {text}"))
}

const PLAN: &str = "\
# Åse's plan

title = 'Back'   # as agreed
weekdays = [
    'tue',  # the club
    'thu',
]

[limits]      # for all
pain_limit = 2   # not the tendon

[tolerance]
run = '10 s'

# walking first
[[stage]]     # one
name = \"1\"
session = \"\"\"
walk 20:10,
# no comment
\"\"\"
sessions = 2  # or three
# the end of one

# ---- running ----

[[stage]]
name = '2'
weeks = 1
  [[stage.session]]
  name = 'run-walk'
  do = '5 x (run 0:50, walk 1:40)'   # easy
  # after the holidays
  [[stage.session]]
  name = 'steady'
  do = 'run 8:20'
  a_week = '0 to 1'

[[other]]
sport = 'cycling'   # to work

[[stage]]
name = '3'
session = 'run 20:10'
# the very end
";

#[test]
fn rows_show_what_the_text_holds() {
    let rows = PlanRows::read(PLAN).unwrap();
    let of = |values: &Values, key: &str| values.get(key).cloned().unwrap_or_default();
    assert_eq!(of(&rows.plan, "title"), "Back");
    assert_eq!(of(&rows.plan, "weekdays"), "tue, thu");
    assert_eq!(of(&rows.limits, "pain_limit"), "2");
    assert_eq!(rows.runner, Values::new());
    assert_eq!(of(&rows.stages[0].values, "session"), "walk 20:10, # no comment");
    let kinds: Vec<String> = rows.stages[1].kinds.iter().map(|kind| of(kind, "name")).collect();
    assert_eq!(kinds, ["run-walk", "steady"]);
    assert_eq!(rows.stages[1].values.get("session"), None);
    assert_eq!(rows.values(Place::Kind(1, 1)).map(|kind| of(kind, "a_week")).as_deref(), Some("0 to 1"));
    assert_eq!(rows.values(S(3)), None);
}

#[test]
fn a_value_is_set_where_it_stands_and_the_rest_stays_byte_for_byte() {
    let after = set(
        PLAN,
        &[
            (Place::Plan, "title", "Back \"home\""),
            (Place::Plan, "weekdays", "tue, sun"),
            (Place::Limits, "pain_limit", "2.5"),
            (S(0), "sessions", "3"),
            (Place::Kind(1, 0), "do", "6 x (run 0:50, walk 1:40)"),
        ],
    );
    let expected = PLAN
        .replace("'Back'", "\"Back \\\"home\\\"\"")
        .replace("[\n    'tue',  # the club\n    'thu',\n]", "[\"tue\", \"sun\"]")
        .replace("pain_limit = 2 ", "pain_limit = 2.5 ")
        .replace("sessions = 2 ", "sessions = 3 ")
        .replace("'5 x (run 0:50, walk 1:40)'", "\"6 x (run 0:50, walk 1:40)\"");
    assert_eq!(after, expected);
}

#[test]
fn what_is_not_changed_stays_as_it_is_written() {
    let rows = PlanRows::read(PLAN).unwrap();
    let mut all = Vec::new();
    for place in [Place::Plan, Place::Limits, Place::Runner, S(0), S(1), S(2), Place::Kind(1, 0)] {
        let values = rows.values(place).unwrap();
        let of = |key: &str| values.get(key).cloned().unwrap_or_default();
        // A form of a stage with kinds has no field for its session.
        let keys = place.keys().filter(|key| (place, *key) != (S(1), "session"));
        all.extend(keys.map(|key| (place, key, of(key))));
    }
    let all: Vec<(Place, &str, &str)> = all.iter().map(|(p, k, v)| (*p, *k, v.as_str())).collect();
    assert_eq!(set(PLAN, &all), PLAN);
}

#[test]
fn new_keys_stand_at_the_end_of_their_section_and_new_sections_before_the_stages() {
    let after = set(
        PLAN,
        &[
            (Place::Plan, "note", "Talk."),
            (Place::Limits, "pace_ceiling", "6:45 /km"),
            (Place::Limits, "sessions_per_week", "2 to 3"),
            (Place::Runner, "max_heart_rate", "182 bpm"),
            (S(0), "weeks", ""),
            (S(0), "note", "Slowly."),
            (Place::Kind(1, 0), "pain_limit", "0"),
            (S(2), "sessions", "2"),
        ],
    );
    let expected = PLAN
        .replace("    'thu',\n]\n", "    'thu',\n]\nnote = \"Talk.\"\n")
        .replace(
            "not the tendon\n",
            "not the tendon\npace_ceiling = \"6:45 /km\"\nsessions_per_week = \"2 to 3\"\n",
        )
        .replace("# walking first", "[runner]\nmax_heart_rate = \"182 bpm\"\n\n# walking first")
        .replace("# or three\n", "# or three\nnote = \"Slowly.\"\n")
        .replace("# easy\n", "# easy\n  pain_limit = 0\n")
        .replace("'run 20:10'\n", "'run 20:10'\nsessions = 2\n");
    assert_eq!(after, expected);
    let bare = "# mine\n\n# first\n[[stage]]\nname = '1'\nsession = 'run 0:50'";
    assert_eq!(
        set(bare, &[(Place::Plan, "title", "T"), (S(0), "sessions", "2")]),
        "# mine\n\ntitle = \"T\"\n\n# first\n[[stage]]\nname = '1'\nsession = 'run 0:50'\nsessions = 2"
    );
    assert_eq!(set("", &[(Place::Plan, "title", "T")]), "title = \"T\"\n\n");
}

#[test]
fn a_value_that_goes_leaves_its_comment() {
    let after = set(PLAN, &[(Place::Limits, "pain_limit", ""), (S(0), "sessions", ""), (S(1), "weeks", "")]);
    let expected = PLAN
        .replace("pain_limit = 2   # not", "# not")
        .replace("sessions = 2  # or three", "# or three")
        .replace("weeks = 1\n", "");
    assert_eq!(after, expected);
    // One goes and another comes, in the last line of a section.
    let swapped = set(PLAN, &[(S(1), "weeks", ""), (S(1), "sessions", "4")]);
    assert_eq!(swapped, PLAN.replace("weeks = 1", "sessions = 4"));
    // What a row cannot be without is written empty, so that its mistake has a place.
    assert!(set(PLAN, &[(S(2), "name", "")]).contains("name = \"\"\nsession = 'run 20:10'"));
}

#[test]
fn values_that_do_not_fit_are_kept_and_shown_where_they_stand() {
    let after = set(
        PLAN,
        &[
            (S(0), "sessions", "two"),
            (S(2), "session", "run 0:5x"),
            (Place::Plan, "start", "tomorrow"),
            (Place::Plan, "weekdays", "tue, thx"),
            (Place::Limits, "pain_limit", "1e99"),
        ],
    );
    let error = Plan::parse(&after).unwrap_err();
    let faults = row_faults(&after, &error);
    let found: Vec<_> =
        faults.iter().map(|f| (f.place, f.key, f.message.as_str(), f.at.as_deref())).collect();
    let at = Place::Plan;
    assert_eq!(found[0], (at, Some("weekdays"), found[0].2, Some("\"thx\"")));
    assert_eq!(found[1], (at, Some("start"), "expected a day such as `2026-03-02`", None));
    assert_eq!(found[2], (Place::Limits, Some("pain_limit"), "expected a pain limit from 0 to 10", None));
    // The session of stage 1 holds a line that is no comment within a text.
    assert_eq!((found[3].0, found[3].1), (S(0), Some("session")));
    assert_eq!(found[4], (S(0), Some("sessions"), "expected a whole number from 1 to 100", None));
    assert_eq!((found[5].0, found[5].1, found[5].3), (S(2), Some("session"), Some("0:5x")));
    assert_eq!(found.len(), 6);
    let rows = PlanRows::read(&after).unwrap();
    assert_eq!(
        (rows.stages[0].values["sessions"].as_str(), rows.plan["start"].as_str()),
        ("two", "tomorrow")
    );
    // A number that stood in quotes is mended by setting it.
    let quoted = "[[stage]]\nname = 1\nsession = 'run 0:50'\nsessions = '3'\n";
    let mended = set(quoted, &[(S(0), "name", "1"), (S(0), "sessions", "3")]);
    assert_eq!(mended, "[[stage]]\nname = \"1\"\nsession = 'run 0:50'\nsessions = 3\n");
}

#[test]
fn mistakes_without_a_field_are_shown_at_their_row() {
    let place = |text: &str| {
        let faults = row_faults(text, &Plan::parse(text).unwrap_err());
        (faults[0].place, faults[0].key)
    };
    assert_eq!(place("[[stage]]\nname = 'a'\nsession = 'run 0:50'\n[[stage]]\nname = 'b'\n"), (S(1), None));
    let kind = "[[stage]]\nname = 'a'\n[[stage.session]]\nname = 'x'\ndo = 'run 0:50'\n[[stage.session]]\ndo = 'run 0:50'";
    assert_eq!(place(kind), (Place::Kind(0, 1), None));
    assert_eq!(place("[[stage]]\nname = 'a'\nsession = 'run 0:50'\nsesions = 2"), (S(0), None));
    assert_eq!(place("title = 'T'\n"), (Place::Plan, None));
}

#[test]
fn a_stage_is_moved_with_its_comments_and_headings_stay() {
    let [one, two] = ["# walking first\n[[stage]]", "[[stage]]\nname = '2'"].map(|at| PLAN.find(at).unwrap());
    let one_end = PLAN.find("\n\n# ---- running").unwrap();
    let two_end = PLAN.find("\n\n[[other]]").unwrap();
    let expected =
        [&PLAN[..one], &PLAN[two..two_end], &PLAN[one_end..two], &PLAN[one..one_end], &PLAN[two_end..]]
            .concat();
    assert_eq!(change(PLAN, Change::Down(S(0))), expected);
    assert_eq!(change(PLAN, Change::Up(S(1))), expected);
    assert_eq!(change(&expected, Change::Down(S(0))), PLAN);
    // Over another section, and without an end of the last line.
    let moved = change(PLAN.trim_end(), Change::Down(S(1)));
    assert!(
        moved.contains("\n[[stage]]\nname = '3'\nsession = 'run 20:10'\n# the very end\n\n[[other]]"),
        "{moved}"
    );
    assert!(moved.ends_with("\n[[stage]]\nname = '2'\nweeks = 1\n  [[stage.session]]\n  name = 'run-walk'\n  \
        do = '5 x (run 0:50, walk 1:40)'   # easy\n  # after the holidays\n  [[stage.session]]\n  name = 'steady'\n  \
        do = 'run 8:20'\n  a_week = '0 to 1'"), "{moved}");
    assert_eq!(plan_with(PLAN, Change::Up(S(0))), Err(EditError::NoSuchRow));
    assert_eq!(plan_with(PLAN, Change::Down(S(2))), Err(EditError::NoSuchRow));
    assert_eq!(plan_with(PLAN, Change::Remove(S(3))), Err(EditError::NoSuchRow));
}

#[test]
fn a_kind_of_session_is_moved_copied_and_added_under_its_stage() {
    let moved = change(PLAN, Change::Down(Place::Kind(1, 0)));
    let kinds = "  # after the holidays\n  [[stage.session]]\n  name = 'steady'\n  do = 'run 8:20'\n  a_week = '0 to 1'\n  \
        [[stage.session]]\n  name = 'run-walk'\n  do = '5 x (run 0:50, walk 1:40)'   # easy\n\n[[other]]";
    assert!(moved.contains(kinds), "{moved}");
    assert_eq!(change(&moved, Change::Up(Place::Kind(1, 1))), PLAN);
    let copied = change(PLAN, Change::Copy(Place::Kind(1, 1)));
    let copy = "  # after the holidays\n  [[stage.session]]\n  name = \"steady 2\"\n  do = 'run 8:20'\n  a_week = '0 to 1'\n";
    assert_eq!(copied, PLAN.replace("'0 to 1'\n", &format!("'0 to 1'\n{copy}")));
    let added = change(PLAN, Change::AddKind(1));
    let new = "  [[stage.session]]\n  name = \"steady 2\"\n  do = \"\"\n";
    assert_eq!(added, PLAN.replace("'0 to 1'\n", &format!("'0 to 1'\n{new}")));
    let removed = change(&change(PLAN, Change::Remove(Place::Kind(1, 0))), Change::Remove(Place::Kind(1, 0)));
    assert!(removed.contains("name = '2'\nweeks = 1\n\n[[other]]"), "{removed}");
}

#[test]
fn one_session_becomes_two_kinds() {
    let after = change(PLAN, Change::AddKind(2));
    let kinds = "name = '3'\n# the very end\n[[stage.session]]\nname = \"1\"\ndo = 'run 20:10'\n[[stage.session]]\n\
        name = \"2\"\ndo = \"\"\n";
    assert_eq!(after, PLAN.replace("name = '3'\nsession = 'run 20:10'\n# the very end\n", kinds));
    assert!(change(PLAN, Change::AddKind(0)).contains("do = \"\"\"\nwalk 20:10,\n# no comment\n\"\"\"\n"));
}

#[test]
fn a_stage_is_added_copied_and_removed() {
    let added = change(PLAN, Change::AddAfter(S(0)));
    let new = "# the end of one\n\n[[stage]]\nname = \"1b\"\nsession = \"\"\n\n# ---- running";
    assert_eq!(added, PLAN.replace("# the end of one\n\n# ---- running", new));
    assert_eq!(change(&added, Change::Remove(S(1))), PLAN);
    let at_end = change(PLAN, Change::AddAfter(Place::Plan));
    assert_eq!(at_end, format!("{PLAN}\n[[stage]]\nname = \"4\"\nsession = \"\"\n"));
    assert_eq!(change(&at_end, Change::Remove(S(3))), PLAN);
    let copied = change(PLAN, Change::Copy(S(1)));
    assert_eq!(PlanRows::read(&copied).unwrap().stages[2].kinds.len(), 2);
    assert_eq!(copied.matches("# after the holidays").count(), 2);
    let removed = change(PLAN, Change::Remove(S(0)));
    assert!(removed.contains("run = '10 s'\n\n# ---- running ----\n\n[[stage]]\nname = '2'"), "{removed}");
    let empty = change("title = 'T'", Change::AddAfter(Place::Plan));
    assert_eq!(empty, "title = 'T'\n\n[[stage]]\nname = \"1\"\nsession = \"\"\n");
    assert_eq!(change(&empty, Change::Remove(S(0))), "title = 'T'\n");
}

#[test]
fn names_are_free_ones() {
    let taken = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
    assert_eq!(free_name("3", &taken(&["1", "2", "3"])), "4");
    assert_eq!(free_name("3", &taken(&["3", "4", "3b"])), "3c");
    assert_eq!(free_name("steady", &taken(&["steady", "steady 2"])), "steady 3");
    assert_eq!(free_name("", &taken(&[])), "new 2");
}

#[test]
fn line_ends_and_marks_of_the_file_stay() {
    let before = "\u{feff}title = 'T'\r\n[[stage]]\r\nname = '1'\r\nsession = 'run 0:50'\r\n";
    let after = change(&set(before, &[(S(0), "weeks", "2")]), Change::Copy(S(0)));
    assert_eq!(
        after,
        "\u{feff}title = 'T'\r\n[[stage]]\r\nname = '1'\r\nsession = 'run 0:50'\r\nweeks = 2\r\n\r\n[[stage]]\r\n\
         name = \"2\"\r\nsession = 'run 0:50'\r\nweeks = 2\r\n"
    );
    assert_eq!(change(&after, Change::Remove(S(1))), before.to_owned() + "weeks = 2\r\n");
}

#[test]
fn odd_ways_to_write_a_plan_are_changed_or_refused_and_never_damaged() {
    // Dotted keys.
    let dotted = "limits.pain_limit = 2\n[[stage]]\nname = '1'\nsession = 'run 0:50'\n";
    assert_eq!(
        set(dotted, &[(Place::Limits, "effort_ceiling", "4"), (Place::Plan, "title", "T")]).lines().next(),
        Some("limits.pain_limit = 2")
    );
    // Stages in one line.
    let inline = "stage = [{name = '1', session = 'run 0:50'}, {name = '2', session = 'run 1:10'}]\n";
    assert_eq!(set(inline, &[(S(1), "session", "run 1:20")]), inline.replace("'run 1:10'", "\"run 1:20\""));
    let only_text = Err(EditError::OnlyByText);
    assert_eq!(plan_with_values(inline, &[(S(1), "weeks", "1")]), only_text);
    assert_eq!(plan_with(inline, Change::Up(S(1))), only_text);
    assert_eq!(
        plan_with_values("limits = {pain_limit = 2}", &[(Place::Limits, "pain_limit", "")]),
        only_text
    );
    // A section between a stage and its kinds.
    let torn = "[[stage]]\nname = '1'\n[limits]\n[[stage.session]]\nname = 'a'\ndo = 'run 0:50'\n[[stage]]\nname='2'\nsession=''";
    assert_eq!(plan_with(torn, Change::Down(S(0))), only_text);
    // No rows at all.
    for text in ["title = ", "stage = 3", "stage = [3]", "[stage]\nname = '1'", "[[limits]]"] {
        assert_eq!(PlanRows::read(text), Err(EditError::NoRows), "{text}");
        assert_eq!(plan_with(text, Change::AddAfter(Place::Plan)), Err(EditError::NoRows), "{text}");
    }
    assert_eq!(plan_with_values(PLAN, &[(S(0), "do", "x")]), Err(EditError::NoSuchRow));
    assert_eq!(plan_with_values(PLAN, &[(S(9), "name", "x")]), Err(EditError::NoSuchRow));
}

#[test]
fn places_are_read_as_they_are_written() {
    for place in [Place::Plan, Place::Runner, Place::Limits, S(12), Place::Kind(3, 0)] {
        assert_eq!(Place::read(&place.to_string()), Some(place));
    }
    for word in ["", "s", "sk", "s1k", "s-1", "x1", "s1k2k3"] {
        assert_eq!(Place::read(word), None, "{word}");
    }
}

/// A plan with comments everywhere, of so many stages, some with kinds.
fn plan_text(kinds: &[usize], gap: &str, end: &str) -> String {
    let mut text = "# top\ntitle = 'T' # title\n[limits] # limits\npain_limit = 2 # pain\n".to_owned();
    for (at, kinds) in kinds.iter().enumerate() {
        text += &format!("{gap}# stage {at}\n[[stage]] # header {at}\nname = 'n{at}' # name {at}\n");
        if *kinds == 0 {
            text += &format!("session = 'run {}:00' # session {at}\n", at + 1);
        }
        for kind in 0..*kinds {
            text += &format!(
                "# kind {at} {kind}\n[[stage.session]]\nname = 'k{kind}'\ndo = 'run {}:10' # do {at} {kind}\n",
                kind + 1
            );
        }
    }
    text += "\n# bottom";
    text.replace('\n', end)
}

/// What a plan means for a change, worked out on the plan itself.
fn expected_order(count: usize, change: Change) -> Option<Vec<Option<usize>>> {
    let mut order: Vec<Option<usize>> = (0..count).map(Some).collect();
    match change {
        Change::Up(Place::Stage(at)) if at > 0 && at < count => order.swap(at - 1, at),
        Change::Down(Place::Stage(at)) if at + 1 < count => order.swap(at, at + 1),
        Change::Remove(Place::Stage(at)) if at < count => drop(order.remove(at)),
        Change::Copy(Place::Stage(at)) if at < count => order.insert(at + 1, None),
        _ => return None,
    }
    Some(order)
}

proptest! {
    #[test]
    fn a_change_of_the_text_is_that_change_of_the_plan_and_keeps_the_comments(
        kinds in prop::collection::vec(0_usize..4, 1..6),
        gap in prop::sample::select(vec!["", "\n", "\n# ----\n\n", "  \n\n"]),
        end in prop::sample::select(vec!["\n", "\r\n"]),
        at in 0_usize..6,
        which in 0_usize..4,
    ) {
        let text = plan_text(&kinds, gap, end);
        let before = Plan::parse(&text).unwrap().value;
        let change = [Change::Up, Change::Down, Change::Remove, Change::Copy][which](Place::Stage(at));
        let Some(order) = expected_order(kinds.len(), change) else {
            prop_assert_eq!(plan_with(&text, change), Err(EditError::NoSuchRow));
            return Ok(());
        };
        let after_text = plan_with(&text, change).unwrap();
        if order.is_empty() {
            prop_assert!(Plan::parse(&after_text).is_err(), "no plan without a stage");
            return Ok(());
        }
        let after = Plan::parse(&after_text).unwrap().value;
        let of = |plan: &Plan, place: usize| plan.stages[plan.kinds_at(place)].to_vec();
        for (place, from) in order.iter().enumerate() {
            let mut wanted = of(&before, from.unwrap_or(at));
            let found = of(&after, place);
            for (stage, found) in wanted.iter_mut().zip(&found) {
                stage.place = place;
                if from.is_none() {
                    stage.name = found.name.clone();
                }
            }
            prop_assert_eq!(found, wanted);
        }
        prop_assert_eq!(after.places(), order.len());
        // Each comment line is still there; those of a stage that was removed are not.
        for line in text.split(end).filter(|line| line.contains('#')) {
            let is_of_removed = line.ends_with(&format!(" {at}")) || line.contains(&format!("kind {at} ")) || line.contains(&format!("do {at} "));
            let count = |text: &str| text.split(end).filter(|other| other == &line).count();
            if which == 2 && is_of_removed {
                continue;
            }
            if which == 3 && is_of_removed {
                prop_assert!(count(&after_text) >= count(&text), "{line:?} in {after_text}");
                continue;
            }
            prop_assert_eq!(count(&after_text), count(&text), "{:?} in {}", line, after_text);
        }
        prop_assert!(!after_text.replace(end, "").contains(['\r', '\n']), "line ends of one kind");
    }

    #[test]
    fn values_that_are_set_are_read_back_and_all_else_stays(
        kinds in prop::collection::vec(0_usize..3, 1..5),
        end in prop::sample::select(vec!["\n", "\r\n"]),
        at in 0_usize..5,
        sessions in 1_u32..100,
        pain in 0_u32..=20,
        note in "[a-zå\"\\\\#']([a-zå \"\\\\#=]{0,12}[a-zå\"])?",
        clear in any::<bool>(),
    ) {
        let text = plan_text(&kinds, "\n", end);
        let mut plan = Plan::parse(&text).unwrap().value;
        let at = at % kinds.len();
        let (sessions_text, pain_text) = (sessions.to_string(), (f64::from(pain) / 2.0).to_string());
        let limit = if clear { "" } else { &pain_text };
        let set = [
            (Place::Stage(at), "sessions", sessions_text.as_str()),
            (Place::Stage(at), "note", note.as_str()),
            (Place::Limits, "pain_limit", limit),
            (Place::Plan, "contact", note.as_str()),
        ];
        let after_text = plan_with_values(&text, &set).unwrap();
        plan.contact = Some(note.clone());
        for stage in &mut plan.stages {
            stage.contact = Some(note.clone());
            stage.limits.pain_limit = (!clear).then_some(f64::from(pain) / 2.0);
        }
        let range = plan.kinds_at(at);
        for stage in &mut plan.stages[range] {
            stage.sessions = Some(sessions);
            stage.note = Some(note.clone());
        }
        prop_assert_eq!(Plan::parse(&after_text).unwrap().value, plan);
        // Every line of before is still there, in order, but for the line of the limit; its comment stays.
        let mut lines = after_text.split(end);
        for line in text.split(end).filter(|line| !line.starts_with("pain_limit")) {
            prop_assert!(lines.any(|after| after == line), "{line:?} in {after_text}");
        }
        prop_assert!(after_text.contains("# pain"));
    }
}
