//! The plan: as a form, as a text, and for its reader.

use jogaudit_case::{edit, sha256};

use super::desk::{Desk, PageResult};
use super::plan_rows::{PlanForm, Sent};
use super::refusal::Refusal;
use super::request::Method;
use super::response::{HTML, Response};
use super::settings::Keeper;
use super::{view_plan, view_plan_form};

/// Answers at the addresses of the plan. Those of a patient's page only show it: nothing there leads to a writer of `plan.toml`.
pub(super) fn answer(desk: &mut Desk<'_>, method: Method, rest: &[&str]) -> PageResult {
    if desk.settings.is_patient {
        return match (method, rest) {
            (Method::Get, []) => desk.with_case("Plan", |_, found| Ok(view_plan::to_read(&found.plan))),
            _ => Err(refuse()),
        };
    }
    match (method, rest) {
        (Method::Get, []) => plan(desk),
        (Method::Post, ["form"]) => change_form(desk),
        (Method::Get, ["text"]) => plan_text(desk),
        (Method::Post, ["text"]) => change_text(desk),
        (Method::Post, ["lint"]) => {
            let remarks = view_plan::remarks(&Changed::of(desk)?.text(false));
            Ok(Response::of(HTML, remarks.into_string()))
        }
        _ => Err(Refusal::not_found("there is no such page")),
    }
}

fn refuse() -> Refusal {
    Refusal::new(
        403,
        "this page shows the plan and does not change it",
        "tell whoever wrote the plan what does not fit",
    )
}

/// The plan as it stands in the case, with the hash of its bytes; where there is none, what one starts from.
fn plan_as_kept(desk: &Desk<'_>) -> Result<(String, String), Refusal> {
    let bytes = edit::plan_bytes(&*desk.case.files).map_err(|failure| desk.refusal(failure))?;
    let of = sha256(&bytes);
    let text = String::from_utf8(bytes).map_err(|_| {
        Refusal::new(422, "plan.toml is not UTF-8 text", "save it as UTF-8 with a text editor")
    })?;
    Ok((if text.is_empty() { view_plan::TEMPLATE.to_owned() } else { text }, of))
}

fn plan(desk: &Desk<'_>) -> PageResult {
    let (text, of) = plan_as_kept(desk)?;
    match PlanForm::of(text.clone()) {
        Some(form) => {
            let body = view_plan_form::page(&desk.case.name, &form, &of, None);
            Ok(Response::html(200, desk.frame_after("Plan").page(&body)))
        }
        None => Ok(show_text(desk, &text, &of, None)),
    }
}

fn plan_text(desk: &Desk<'_>) -> PageResult {
    let (text, of) = plan_as_kept(desk)?;
    Ok(show_text(desk, &text, &of, None))
}

/// The page with the text. What keeps it from being a plan is said once, below it.
fn show_text(desk: &Desk<'_>, text: &str, of: &str, trouble: Option<&Refusal>) -> Response {
    let remarks = view_plan::remarks(text);
    let body = view_plan::page(&desk.case.name, text, of, &remarks, trouble);
    let status = trouble.map_or(200, |refusal| refusal.status);
    Response::html(status, desk.frame_after("Plan").page(&body))
}

/// What is said where a plan with mistakes was to be saved. They stand elsewhere on the page.
fn not_saved(refusal: Refusal) -> Refusal {
    if refusal.plan_error.is_none() {
        return refusal;
    }
    let what = format!("{}, so it was not saved", refusal.what);
    Refusal {
        what,
        todo: Some("fix what is shown below".to_owned()),
        plan_error: None,
        detail: String::new(),
        ..refusal
    }
}

/// What the form of the text sends.
struct Changed {
    text: String,
    of: String,
    action: String,
}

impl Changed {
    fn of(desk: &Desk<'_>) -> Result<Self, Refusal> {
        let field = |name: &str| desk.request.field(name).map(str::to_owned);
        Ok(Self {
            text: field("text").ok_or_else(Refusal::not_our_form)?,
            of: field("of").unwrap_or_default(),
            action: field("action").unwrap_or_default(),
        })
    }

    /// The text with the line ends of the file: browsers send their own.
    fn text(&self, is_windows: bool) -> String {
        let text = self.text.replace("\r\n", "\n");
        let text = if text.ends_with('\n') { text } else { text + "\n" };
        if is_windows { text.replace('\n', "\r\n") } else { text }
    }
}

fn change_text(desk: &mut Desk<'_>) -> PageResult {
    let form = Changed::of(desk)?;
    let mut trouble = None;
    let before = edit::plan_bytes(&*desk.case.files).map_err(|failure| desk.refusal(failure))?;
    let text = form.text(before.windows(2).any(|two| two == b"\r\n"));
    if form.action == "save" {
        match edit::plan(&*desk.case.files, &text, &form.of).map_err(|failure| desk.refusal(failure)) {
            Ok(had_one) => return Ok(saved(desk, "plan/text", had_one)),
            Err(refusal) => trouble = Some(not_saved(refusal)),
        }
    } else if form.action == "form" {
        if let Some(shown) = PlanForm::of(text) {
            let body = view_plan_form::page(&desk.case.name, &shown, &form.of, None);
            return Ok(Response::html(200, desk.frame("Plan").page(&body)));
        }
        trouble = Some(Refusal::new(
            422,
            "this text cannot be shown as a form",
            "fix what is shown below; a plan with more than 200 stages stays a text",
        ));
    }
    Ok(show_text(desk, &form.text(false), &form.of, trouble.as_ref()))
}

/// Goes back to a page of the plan that was saved. The one before can be reached only where cases are folders.
fn saved(desk: &mut Desk<'_>, page: &str, had_one: bool) -> Response {
    desk.forget();
    let is_beside = had_one && desk.settings.keeper == Keeper::Folders;
    desk.back(page, if is_beside { "plan" } else { "plan-alone" })
}

/// A button of the form: writes what was typed into the text that the form carries, changes its rows, saves it.
fn change_form(desk: &mut Desk<'_>) -> PageResult {
    let sent = Sent::read(desk.request.fields())?;
    let (of, action, before) = (sent.of.clone(), sent.action.clone(), sent.text.clone());
    let Some(form) = PlanForm::changed(&sent) else {
        return Ok(show_text(desk, &before, &of, None));
    };
    if action == "text" {
        return Ok(show_text(desk, &form.text, &of, None));
    }
    let mut trouble = None;
    if action == "save" && form.can_be_saved() {
        match edit::plan(&*desk.case.files, &form.text, &of).map_err(|failure| desk.refusal(failure)) {
            Ok(had_one) => return Ok(saved(desk, "plan", had_one)),
            Err(refusal) => trouble = Some(not_saved(refusal)),
        }
    }
    let was_refused = action == "save" && trouble.is_none();
    let status = if was_refused { 422 } else { trouble.as_ref().map_or(200, |refusal| refusal.status) };
    let body = view_plan_form::page(&desk.case.name, &form, &of, trouble.as_ref());
    Ok(Response::html(status, desk.frame("Plan").page(&body)))
}
