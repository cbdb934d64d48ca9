//! The documentation's plans are plans, and its errors are those that are shown.

use super::super::*;
use super::plan;

const PAGE: &str = include_str!("../../../../../../docs/plan-file.md");

/// Plans with slips, in the order of the page.
const SLIPS: [&str; 9] = [
    include_str!("../slips/1-session.toml"),
    include_str!("../slips/2-often.toml"),
    include_str!("../slips/3-ranges.toml"),
    include_str!("../slips/4-progress.toml"),
    include_str!("../slips/5-kinds.toml"),
    include_str!("../slips/6-date.toml"),
    include_str!("../slips/7-dates.toml"),
    include_str!("../slips/8-limits.toml"),
    include_str!("../slips/9-others.toml"),
];

/// What stands between fences that begin like this.
fn blocks(begin: &str) -> Vec<&'static str> {
    PAGE.split(begin).skip(1).filter_map(|rest| rest.split("```").next()).collect()
}

#[test]
fn its_plans_are_plans() {
    let examples = blocks("```toml\n");
    assert_eq!(examples.len(), 2);
    assert_eq!(plan(examples[0]).tolerance, Tolerance::default());
    let whole = plan(examples[1]);
    assert_eq!((whole.places(), whole.stages.len()), (4, 5));
    for key in [PLAN_KEYS, RUNNER_KEYS, LIMIT_KEYS, TOLERANCE_KEYS, STAGE_KEYS, WORD_KEYS, other::OTHER_KEYS]
        .concat()
    {
        assert!(PAGE.contains(key), "{key} is not documented");
    }
}

#[test]
fn its_whole_example_has_all_that_it_explains() {
    let whole = blocks("```toml\n")[1];
    for key in [PLAN_KEYS, WORD_KEYS, KIND_KEYS, STAGE_KEYS].concat() {
        assert!(whole.contains(key), "{key}");
    }
    for words in [" to ", " or more", " rising to ", "for ", "rest ", "a_week = \"0 to 1\""] {
        assert!(whole.contains(words), "{words}");
    }
}

#[test]
fn its_errors_are_those_that_are_shown() {
    let shown = blocks("```\nerror: ");
    assert_eq!(shown.len(), SLIPS.len());
    for (text, shown) in SLIPS.into_iter().zip(shown) {
        let error = Plan::parse(text).unwrap_err();
        let (head, lines) = shown.split_once('\n').expect("a first line");
        let wanted = match error.count() {
            1 => "the plan has a mistake".to_owned(),
            several => format!("the plan has {several} mistakes"),
        };
        assert_eq!(head, wanted);
        assert_eq!(error.render("plan.toml"), lines);
    }
}
