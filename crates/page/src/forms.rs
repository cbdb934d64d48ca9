//! The diary and the plan: what is typed in.
#![allow(clippy::unused_async)] // the router takes async functions

use axum::extract::{Form, Path, Query, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse};
use jiff::civil::Date;
use serde::Deserialize;

use jogaudit_core::review::{Diary, Entry, Pattern};
use jogaudit_files as files;

use super::cached_case::CachedCase;
use super::layout::{PageFrame, root};
use super::refusal::Refusal;
use super::routes::{AppState, PageQuery, PageResult, back, case_of, run_blocking, to, with_case};
use super::{case_writer, view_diary, view_plan};

/// The diary of a case as it stands on disk.
async fn diary_of_case(cached: &CachedCase) -> Result<Diary, Refusal> {
    let folder = cached.folder.clone();
    let text = run_blocking(move || files::table(&folder, "diary.csv", &mut Vec::new())).await?;
    Ok(Diary::parse(&text.unwrap_or_default(), Date::MAX).value)
}

pub(super) async fn days(
    State(app): AppState,
    Path(case): Path<String>,
    Query(asked): Query<PageQuery>,
) -> PageResult {
    let diary = diary_of_case(case_of(&app, &case)?).await?;
    with_case(&app, &case, "Sessions and diary", asked.done.as_deref(), |cached, found| {
        let today = found.today.to_string();
        Ok(view_diary::days(cached, &found.review.sessions, diary.entries(), &today))
    })
    .await
}

fn date_of(text: &str) -> Result<Date, Refusal> {
    text.parse().map_err(|_| {
        Refusal::new(StatusCode::UNPROCESSABLE_ENTITY, "that is no date", "write the day such as 2026-03-02")
    })
}

pub(super) async fn diary_of(
    State(app): AppState,
    Path(case): Path<String>,
    Query(asked): Query<PageQuery>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let date = date_of(&asked.date.unwrap_or_default())?;
    Ok(to(&format!("{}/diary/{date}", root(cached))))
}

pub(super) async fn day(State(app): AppState, Path((case, date)): Path<(String, String)>) -> PageResult {
    let date = date_of(&date)?;
    let diary = diary_of_case(case_of(&app, &case)?).await?;
    let entry = diary.on(date).cloned().unwrap_or_else(|| Entry::empty(date));
    with_case(&app, &case, "Diary", None, |cached, found| {
        let day = date.to_string();
        let sessions: Vec<_> = found.review.sessions.iter().filter(|s| s.date == day).collect();
        Ok(view_diary::form(cached, &entry, &sessions, found.review.cautions))
    })
    .await
}

#[derive(Deserialize)]
pub(super) struct Day {
    #[serde(default)]
    pain_during: String,
    #[serde(default)]
    pain_pattern: String,
    #[serde(default)]
    pain_next_morning: String,
    #[serde(default)]
    effort: String,
    #[serde(default)]
    note: String,
}

impl Day {
    fn entry(&self, date: Date) -> Result<Entry, Refusal> {
        let refuse = |what: &str, todo: &str| Refusal::new(StatusCode::UNPROCESSABLE_ENTITY, what, todo);
        let score = |name: &str, text: &str| {
            let text = text.trim().replace(',', ".");
            if text.is_empty() {
                return Ok(None);
            }
            let number = text.parse::<f64>().ok().filter(|n| (0.0..=10.0).contains(n));
            let todo = "go back and write a number, or leave it empty";
            number.map(Some).ok_or_else(|| refuse(&format!("{name} must be a number from 0 to 10"), todo))
        };
        let pattern = match self.pain_pattern.as_str() {
            "" => None,
            word => {
                let known = Pattern::ALL.iter().copied().find(|pattern| pattern.word() == word);
                Some(known.ok_or_else(|| {
                    refuse("that is no pattern of pain", "go back and choose one of the list")
                })?)
            }
        };
        let note: String =
            self.note.chars().map(|c| if c.is_control() { ' ' } else { c }).take(500).collect();
        Ok(Entry {
            pain_during: score("pain during", &self.pain_during)?,
            pattern,
            pain_next_morning: score("pain on the morning after", &self.pain_next_morning)?,
            effort: score("effort", &self.effort)?,
            note: note.trim().to_owned(),
            ..Entry::empty(date)
        })
    }
}

pub(super) async fn write_day(
    State(app): AppState,
    Path((case, date)): Path<(String, String)>,
    Form(form): Form<Day>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let entry = form.entry(date_of(&date)?)?;
    let folder = cached.folder.clone();
    run_blocking(move || case_writer::diary(&folder, &entry)).await?;
    cached.forget();
    Ok(back(cached, "", "diary"))
}

#[derive(Deserialize)]
pub(super) struct Changed {
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

pub(super) async fn plan(
    State(app): AppState,
    Path(case): Path<String>,
    Query(asked): Query<PageQuery>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let folder = cached.folder.clone();
    let bytes = run_blocking(move || case_writer::plan_bytes(&folder)).await?;
    let of = files::sha256(&bytes);
    let text = String::from_utf8(bytes).map_err(|_| {
        Refusal::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "plan.toml is not UTF-8 text",
            "save it as UTF-8 with a text editor",
        )
    })?;
    let text = if text.is_empty() { view_plan::TEMPLATE } else { &text };
    let frame = PageFrame { done: asked.done.as_deref(), ..PageFrame::of(&app, cached, "Plan") };
    Ok(frame.page(&view_plan::page(cached, text, &of, None)).into_response())
}

pub(super) async fn change_plan(
    State(app): AppState,
    Path(case): Path<String>,
    Form(form): Form<Changed>,
) -> PageResult {
    let cached = case_of(&app, &case)?;
    let mut trouble = None;
    if form.action == "save" {
        let folder = cached.folder.clone();
        let (sent, of) = (form.text(false), form.of.clone());
        let windows = form.text(true);
        let saved = run_blocking(move || {
            let has_windows_ends = case_writer::plan_bytes(&folder)?.windows(2).any(|two| two == b"\r\n");
            case_writer::plan(&folder, if has_windows_ends { &windows } else { &sent }, &of)
        })
        .await;
        match saved {
            Ok(()) => {
                cached.forget();
                return Ok(back(cached, "plan", "plan"));
            }
            Err(refusal) => trouble = Some(refusal),
        }
    }
    let frame = PageFrame::of(&app, cached, "Plan");
    let page = frame.page(&view_plan::page(cached, &form.text(false), &form.of, trouble.as_ref()));
    Ok(match trouble {
        Some(refusal) => (refusal.status, page).into_response(),
        None => page.into_response(),
    })
}

pub(super) async fn lint_plan(
    State(app): AppState,
    Path(case): Path<String>,
    Form(form): Form<Changed>,
) -> PageResult {
    case_of(&app, &case)?;
    let remarks = tokio::task::spawn_blocking(move || view_plan::remarks(&form.text(false)));
    Ok(Html(remarks.await.map_err(|_| Refusal::bug())?.into_string()).into_response())
}
