//! The plan as a form: a row for each stage, its mistakes and remarks beside it. It works without a script.

use maud::{Markup, html};

use jogaudit_case::sha256;
use jogaudit_core::prescription::edit::{Place, RowFault};
use jogaudit_report::plan_lint;
use jogaudit_report::plan_lint::RemarkView;
use jogaudit_report::{escaped, isolated};

use super::case_names::CaseName;
use super::layout::root;
use super::plan_rows::{PlanForm, packed};
use super::plan_words::{Input, KIND_FIRST, STAGE_FIRST, in_form_words, place_words, words_of};
use super::refusal::{Refusal, sentence};
use super::view_plan::{count_of_remarks, remark, whose};

/// What a row is called within a page that has each name once.
struct Row<'f> {
    form: &'f PlanForm,
    /// Where the form goes.
    address: &'f str,
    place: Place,
    /// `stage “1”`
    name: String,
}

/// The page.
pub(super) fn page(case: &CaseName, form: &PlanForm, of: &str, trouble: Option<&Refusal>) -> Markup {
    let address = format!("{}/plan/form", root(case));
    let row = |place, name: &str| Row { form, address: &address, place, name: name.to_owned() };
    html! {
        h1 { "Plan" }
        (whose())
        @if let Some(trouble) = trouble { (trouble.markup()) }
        @if let Some(trouble) = form.trouble { div.trouble role="alert" { p { strong { (trouble) } } } }
        form .plan method="post" action=(address) autocomplete="off" {
            (bar(form, of))
            input type="hidden" name="plan" value=(packed(&form.text));
            input type="hidden" name="of" value=(of);
            (to_fix(form))
            @if !form.notices.is_empty() { ul { @for notice in &form.notices { li { (isolated(notice)) } } } }
            section aria-label="The whole plan" {
                @let whole = row(Place::Plan, "the plan");
                (fields(&whole, Place::Plan.keys()))
                (beside(&whole))
                (fold(&row(Place::Limits, ""), "Limits of every stage"))
                (fold(&row(Place::Runner, ""), "The runner"))
            }
            h2 { "Stages" }
            (shared_remarks(form))
            @for (at, stage) in form.rows.stages.iter().enumerate() {
                @let name = stage.values.get("name").map_or("", String::as_str);
                (stage_row(&row(Place::Stage(at), &format!("stage “{name}”")), at, name, stage.kinds.len()))
            }
            div.row { button name="do" value="add:plan" formaction={ (address) "#s" (form.rows.stages.len()) } { "Add a stage" } }
            p.quiet { (plan_lint::NOTE) }
        }
    }
}

/// What can be done with the whole, in sight wherever one is on the page. Its first button is what the Enter key presses.
fn bar(form: &PlanForm, of: &str) -> Markup {
    let is_saved = sha256(form.text.as_bytes()) == of;
    html! {
        div.bar role="group" aria-label="The whole plan: look over, save" {
            button name="do" value="look" { "Look it over" }
            button.main name="do" value="save" { "Save" }
            button name="do" value="text" { "As text" }
            p role="status" {
                @match form.fault_count {
                    0 if is_saved => (count_of_remarks(form.remark_count())),
                    0 => { strong { "Not saved yet. " } (count_of_remarks(form.remark_count())) }
                    1 => { strong { "Not saved: " } "one thing to fix first." }
                    n => { strong { "Not saved: " } (n) " things to fix first." }
                }
            }
        }
    }
}

/// Where the mistakes are, by links. Each is said beside its field.
fn to_fix(form: &PlanForm) -> Markup {
    let more = form.fault_count - form.faults.len();
    html! {
        @if !form.faults.is_empty() {
            nav.to-fix aria-label="To fix" {
                p { strong { "To fix:" } }
                @for fault in &form.faults {
                    @let target = fault.key.map_or_else(|| fault.place.to_string(), |key| id(fault.place, key));
                    a href={ "#" (target) } { (isolated(&where_it_is(form, fault))) }
                }
                @if more > 0 { p { "and " (more) " more" } }
            }
        }
    }
}

fn where_it_is(form: &PlanForm, fault: &RowFault) -> String {
    let name = |place| form.value(place, "name").to_owned();
    let row = match fault.place {
        Place::Stage(_) => format!("stage “{}”", name(fault.place)),
        Place::Kind(stage, _) => format!("stage “{}”, “{}”", name(Place::Stage(stage)), name(fault.place)),
        Place::Limits => "limits of every stage".to_owned(),
        Place::Runner => "the runner".to_owned(),
        Place::Plan => "the plan".to_owned(),
    };
    match fault.key {
        Some(key) => sentence_start(&format!("{row}: {}", words_of(fault.place, key).label)),
        None => sentence_start(&row),
    }
}

/// With a capital letter, which is no part of a name here.
fn sentence_start(text: &str) -> String {
    let whole = sentence(text);
    whole.strip_suffix('.').unwrap_or(&whole).to_owned()
}

fn id(place: Place, key: &str) -> String {
    format!("{place}-{key}")
}

fn stage_row(row: &Row<'_>, at: usize, name: &str, kinds: usize) -> Markup {
    let place = row.place;
    let first = STAGE_FIRST.into_iter().filter(|key| kinds == 0 || *key != "session");
    html! {
        section.stage id=(place) aria-labelledby={ (place) "-head" } {
            h3 id={ (place) "-head" } { "Stage “" (isolated(name)) "”" }
            (beside(row))
            (fields(row, first))
            @for kind in 0..kinds { (kind_row(row, at, kind, kinds)) }
            (fold(row, "More for this stage"))
            @let another = html! {
                @if kinds == 0 {
                    button name="do" value={ "kind:" (place) } formaction={ (row.address) "#" (Place::Kind(at, 1)) }
                        aria-label={ "Add a kind of session: " (escaped(&row.name)) } {
                        "Add a kind of session"
                    }
                }
            };
            (buttons(row, (at, row.form.rows.stages.len()), Place::Stage, &another))
        }
    }
}

fn kind_row(stage: &Row<'_>, at: usize, kind: usize, kinds: usize) -> Markup {
    let place = Place::Kind(at, kind);
    let name = stage.form.value(place, "name");
    let row =
        Row {
            form: stage.form, address: stage.address, place, name: format!("“{name}” of {}", stage.name)
        };
    html! {
        section.kind id=(place) aria-labelledby={ (place) "-head" } {
            h4 id={ (place) "-head" } { "Kind of session “" (isolated(name)) "”" }
            (beside(&row))
            (fields(&row, KIND_FIRST.into_iter()))
            (fold(&row, "More for this kind"))
            (buttons(&row, (kind, kinds), |kind| Place::Kind(at, kind), &html! {}))
        }
    }
}

/// Add, copy, move, remove. Each goes on at the row that it is about.
fn buttons(
    row: &Row<'_>,
    (at, count): (usize, usize),
    place_at: impl Fn(usize) -> Place,
    another: &Markup,
) -> Markup {
    let button = |verb: &str, said: &str, target: usize, is_possible: bool| {
        html! {
            button name="do" value={ (verb) ":" (row.place) } formaction={ (row.address) "#" (place_at(target)) }
                aria-label={ (said) ": " (escaped(&row.name)) } disabled[!is_possible] { (said) }
        }
    };
    html! {
        div.row {
            (button("up", "Move up", at.saturating_sub(1), at > 0))
            (button("down", "Move down", at + 1, at + 1 < count))
            (button("copy", "Copy", at + 1, true))
            (button("add", "Add below", at + 1, true))
            (another)
            (button("remove", "Remove", at.saturating_sub(1), true))
        }
    }
}

/// The fields of a row that are seldom wanted; open where one of them holds something.
fn fold(row: &Row<'_>, name: &str) -> Markup {
    let first: &[&str] = match row.place {
        Place::Stage(_) => &STAGE_FIRST,
        Place::Kind(..) => &KIND_FIRST,
        _ => &[],
    };
    let is_more = |key: &&'static str| !first.contains(key);
    let mut keys = row.place.keys().filter(is_more);
    let is_open = keys.any(|key| {
        !row.form.value(row.place, key).is_empty() || row.form.faults_at(row.place, Some(key)).count() > 0
    });
    // Remarks on the whole stand within its fold, those on a stage beside it.
    let has_own_words = place_words(row.place).is_some();
    let is_open = is_open || (has_own_words && row.form.remarks_at(row.place).count() > 0);
    html! {
        details id=[has_own_words.then_some(row.place)] open[is_open] {
            summary { (name) }
            @if has_own_words { (beside(row)) }
            (fields(row, row.place.keys().filter(is_more)))
        }
    }
}

fn fields(row: &Row<'_>, keys: impl Iterator<Item = &'static str>) -> Markup {
    html! { div.fields { @for key in keys { (field(row, key)) } } }
}

fn field(row: &Row<'_>, key: &'static str) -> Markup {
    let words = words_of(row.place, key);
    let (id, name) = (id(row.place, key), format!("{}.{key}", row.place));
    let value = row.form.value(row.place, key);
    let faults: Vec<&RowFault> = row.form.faults_at(row.place, Some(key)).collect();
    let described = [(!words.help.is_empty(), "help"), (!faults.is_empty(), "wrong")];
    let described: Vec<String> =
        described.iter().filter(|(is_there, _)| *is_there).map(|(_, part)| format!("{id}-{part}")).collect();
    let described = (!described.is_empty()).then(|| described.join(" "));
    let invalid = (!faults.is_empty()).then_some("true");
    let long = words.input == Input::Long;
    html! {
        div.field .long[long] {
            label for=(id) { (words.label) }
            @match words.input {
                Input::Long => textarea id=(id) name=(name) rows="2" dir="auto" spellcheck="false" autocapitalize="off"
                    aria-describedby=[described] aria-invalid=[invalid] { "\n" (value) },
                Input::Choice(choices) => select id=(id) name=(name) aria-describedby=[described] aria-invalid=[invalid] {
                    @for (word, said) in choices { option value=(word) selected[*word == value] { (said) } }
                    @if choices.iter().all(|(word, _)| *word != value) { option value=(value) selected dir="auto" { (escaped(value)) } }
                },
                Input::Day | Input::Line | Input::Number => input id=(id) name=(name) value=(value) dir="auto"
                    type=(if words.input == Input::Day && is_day(value) { "date" } else { "text" })
                    inputmode=[(words.input == Input::Number).then_some("decimal")]
                    autocapitalize="off" spellcheck="false" aria-describedby=[described] aria-invalid=[invalid];,
            }
            @if !words.help.is_empty() { span.quiet id={ (id) "-help" } { (words.help) } }
            @if !faults.is_empty() {
                div.wrong id={ (id) "-wrong" } { @for fault in faults { (wrong(fault, value.is_empty())) } }
            }
        }
    }
}

/// What a field of dates can hold.
fn is_day(value: &str) -> bool {
    value.is_empty() || value.parse::<jiff::civil::Date>().is_ok()
}

/// What is wrong with a field or a row.
fn wrong(fault: &RowFault, is_empty: bool) -> Markup {
    let says = match fault.key {
        Some("session" | "do") if is_empty => "write here what to do".to_owned(),
        _ => in_form_words(&fault.message),
    };
    html! {
        p {
            span aria-hidden="true" { "▲ " }
            (isolated(&sentence(&says)))
            @if let Some(at) = fault.at.as_deref().filter(|_| !is_empty) { " Here: " mark { (isolated(&short(at))) } }
            @if let Some(help) = &fault.help { " " (isolated(&sentence(&in_form_words(help)))) }
        }
    }
}

/// The beginning of a text that may be long.
fn short(text: &str) -> String {
    const LONGEST: usize = 60;
    let mut short: String = text.chars().take(LONGEST).collect();
    if text.chars().nth(LONGEST).is_some() {
        short.push('…');
    }
    short
}

/// What there is to say about a row: mistakes that are of no field, remarks.
fn beside(row: &Row<'_>) -> Markup {
    let form = row.form;
    let is_shared = |places: &[Place]| places.contains(&row.place);
    let shared = form.shared.iter().filter(|(places, _)| is_shared(places)).count();
    html! {
        @for fault in form.faults_at(row.place, None) { div.wrong { (wrong(fault, false)) } }
        @for one in form.remarks_at(row.place) { (worded(one)) }
        @if shared > 0 {
            p.quiet {
                a href="#several" { @if shared == 1 { "A remark" } @else { (shared) " remarks" } " on several stages" }
                " concerns this one, too."
            }
        }
    }
}

fn shared_remarks(form: &PlanForm) -> Markup {
    html! {
        @if !form.shared.is_empty() {
            section #several aria-label="Remarks on several stages" {
                @for (_, one) in &form.shared { (worded(one)) }
            }
        }
    }
}

fn worded(one: &RemarkView) -> Markup {
    remark(&in_form_words(&one.text), &in_form_words(&one.proposal), one.basis)
}
