//! The plan: as a form, as a text, and for its reader.
#![allow(clippy::unused_async)] // the router takes async functions

use std::sync::Arc;

use axum::Router;
use axum::extract::{Form, Path, Query, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Response};
use axum::routing::{get, post};
use maud::Markup;
use serde::Deserialize;

use jogaudit_files as files;

use super::cached_case::CachedCase;
use super::layout::PageFrame;
use super::plan_rows::{PlanForm, Sent};
use super::refusal::Refusal;
use super::routes::{AppState, PageQuery, PageResult, back, case_of, in_case, with_case};
use super::{App, case_writer, view_plan, view_plan_form};

/// The addresses of the plan. Those of a patient's page only show it: nothing there leads to a writer of `plan.toml`.
pub(super) fn router(is_patient: bool) -> Router<Arc<App>> {
    let router = Router::new();
    if is_patient {
        return router
            .route("/case/{case}/plan", get(plan_to_read).post(refuse))
            .route("/case/{case}/plan/{*rest}", get(refuse).post(refuse));
    }
    router
        .route("/case/{case}/plan", get(plan))
        .route("/case/{case}/plan/form", post(change_form))
        .route("/case/{case}/plan/text", get(plan_text).post(change_text))
        .route("/case/{case}/plan/lint", post(lint_plan))
}

async fn plan_to_read(State(app): AppState, Path(case): Path<String>) -> PageResult {
    with_case(&app, &case, "Plan", None, |_, found| Ok(view_plan::to_read(&found.plan))).await
}

async fn refuse() -> Refusal {
    Refusal::new(
        StatusCode::FORBIDDEN,
        "this page shows the plan and does not change it",
        "tell whoever wrote the plan what does not fit",
    )
}

/// The plan as it stands in the case, with the hash of its bytes; where there is none, what one starts from.
async fn plan_on_disk(cached: &CachedCase) -> Result<(String, String), Refusal> {
    let bytes = in_case(cached, case_writer::plan_bytes).await?;
    let of = files::sha256(&bytes);
    let text = String::from_utf8(bytes).map_err(|_| {
        Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "plan.toml is not UTF-8 text",
            "save it as UTF-8 with a text editor",
        )
    })?;
    Ok((if text.is_empty() { view_plan::TEMPLATE.to_owned() } else { text }, of))
}

/// Looks a plan over, one at a time.
async fn in_turn<T: Send + 'static>(
    cached: &CachedCase,
    work: impl FnOnce() -> T + Send + 'static,
) -> Result<T, Refusal> {
    let _turn = cached.linting.turn().await.ok_or_else(Refusal::bug)?;
    tokio::task::spawn_blocking(work).await.map_err(|_| Refusal::bug())
}

async fn plan(State(app): AppState, Path(case): Path<String>, Query(asked): Query<PageQuery>) -> PageResult {
    let cached = case_of(&app, &case)?;
    let (text, of) = plan_on_disk(cached).await?;
    let frame = PageFrame { done: asked.done.as_deref(), ..PageFrame::of(&app, cached, "Plan") };
    let sent = text.clone();
    match in_turn(cached, move || PlanForm::of(sent)).await? {
        Some(form) => Ok(frame.page(&view_plan_form::page(cached, &form, &of, None)).into_response()),
        None => show_text(&frame, cached, &text, &of, None).await,
    }
}

async fn plan_text(
    State(app): AppState,
    Path(case): Path<String>,
    Query(asked): Query<PageQuery>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let (text, of) = plan_on_disk(cached).await?;
    let frame = PageFrame { done: asked.done.as_deref(), ..PageFrame::of(&app, cached, "Plan") };
    show_text(&frame, cached, &text, &of, None).await
}

/// The page with the text. What keeps it from being a plan is said once, below it.
async fn show_text(
    frame: &PageFrame<'_>,
    cached: &CachedCase,
    text: &str,
    of: &str,
    trouble: Option<Refusal>,
) -> PageResult {
    let sent = text.to_owned();
    let remarks: Markup = in_turn(cached, move || view_plan::remarks(&sent)).await?;
    Ok(with_status(
        trouble.as_ref(),
        frame.page(&view_plan::page(cached, text, of, &remarks, trouble.as_ref())),
    ))
}

fn with_status(trouble: Option<&Refusal>, page: Html<String>) -> Response {
    match trouble {
        Some(refusal) => (refusal.status, page).into_response(),
        None => page.into_response(),
    }
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

#[derive(Deserialize)]
struct Changed {
    text: String,
    #[serde(default)]
    of: String,
    #[serde(default)]
    action: String,
}

impl Changed {
    /// The text with the line ends of the file: browsers send their own.
    fn text(&self, is_windows: bool) -> String {
        let text = self.text.replace("\r\n", "\n");
        let text = if text.ends_with('\n') { text } else { text + "\n" };
        if is_windows { text.replace('\n', "\r\n") } else { text }
    }
}

async fn change_text(
    State(app): AppState,
    Path(case): Path<String>,
    Form(form): Form<Changed>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let mut trouble = None;
    let has_windows_ends =
        in_case(cached, |folder| Ok(case_writer::plan_bytes(folder)?.windows(2).any(|two| two == b"\r\n")))
            .await?;
    let (text, of) = (form.text(has_windows_ends), form.of.clone());
    let frame = PageFrame::of(&app, cached, "Plan");
    if form.action == "save" {
        let saved = in_case(cached, move |folder| case_writer::plan(folder, &text, &of)).await;
        match saved {
            Ok(()) => {
                cached.forget();
                return Ok(back(cached, "plan/text", "plan"));
            }
            Err(refusal) => trouble = Some(not_saved(refusal)),
        }
    } else if form.action == "form" {
        if let Some(shown) = in_turn(cached, move || PlanForm::of(text)).await? {
            return Ok(frame.page(&view_plan_form::page(cached, &shown, &form.of, None)).into_response());
        }
        trouble = Some(Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "this text cannot be shown as a form",
            "fix what is shown below; a plan with more than 200 stages stays a text",
        ));
    }
    show_text(&frame, cached, &form.text(false), &form.of, trouble).await
}

async fn lint_plan(State(app): AppState, Path(case): Path<String>, Form(form): Form<Changed>) -> PageResult {
    let cached = case_of(&app, &case)?;
    // As one types, only the newest text is looked over: the others are dropped when their turn comes.
    let Some(_turn) = cached.linting.turn_unless_superseded().await else {
        let what = "a newer text is looked over instead";
        return Err(Refusal::new(StatusCode::CONFLICT, what, "wait for its remarks"));
    };
    let remarks = tokio::task::spawn_blocking(move || view_plan::remarks(&form.text(false)));
    Ok(Html(remarks.await.map_err(|_| Refusal::bug())?.into_string()).into_response())
}

/// A button of the form: writes what was typed into the text that the form carries, changes its rows, saves it.
async fn change_form(
    State(app): AppState,
    Path(case): Path<String>,
    Form(pairs): Form<Vec<(String, String)>>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let sent = Sent::read(pairs)?;
    let (of, action, before) = (sent.of.clone(), sent.action.clone(), sent.text.clone());
    let frame = PageFrame::of(&app, cached, "Plan");
    let Some(form) = in_turn(cached, move || PlanForm::changed(&sent)).await? else {
        return show_text(&frame, cached, &before, &of, None).await;
    };
    if action == "text" {
        return show_text(&frame, cached, &form.text, &of, None).await;
    }
    let mut trouble = None;
    if action == "save" && form.can_be_saved() {
        let (text, of) = (form.text.clone(), of.clone());
        match in_case(cached, move |folder| case_writer::plan(folder, &text, &of)).await {
            Ok(()) => {
                cached.forget();
                return Ok(back(cached, "plan", "plan"));
            }
            Err(refusal) => trouble = Some(not_saved(refusal)),
        }
    }
    let was_refused = action == "save" && trouble.is_none();
    let page = frame.page(&view_plan_form::page(cached, &form, &of, trouble.as_ref()));
    Ok(if was_refused {
        (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
    } else {
        with_status(trouble.as_ref(), page)
    })
}
