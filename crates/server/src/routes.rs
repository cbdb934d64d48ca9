//! Carries requests to the page and answers back: what the page needs is made ready first, without keeping others waiting.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::body::{Body, to_bytes};
use axum::extract::{DefaultBodyLimit, State};
use axum::http::header::{CONTENT_TYPE, HeaderMap, HeaderValue, LOCATION, SET_COOKIE};
use axum::http::{Method, StatusCode};
use axum::response::Response;
use axum::{Router, middleware};
use tokio::runtime::Handle;

use jogaudit_page::needs::{Cases, LookOver};
use jogaudit_page::waiting::WaitingFile;
use jogaudit_page::{self as page, CaseState, CaseStore, Content, HostedCase, Needs, Refusal, Settings};

use super::answered::answered;
use super::app::App;
use super::cached_case::{CachedCase, READ_WAIT};
use super::guard;
use super::guard::AccessCheck;

/// Bytes of a form without files: a plan has at most 1 MiB, and letters may take three in a form.
const FORM_BYTES: usize = 4 << 20;
/// Time for which an answer that has no page to wait on waits for a case to be read.
const LONG_WAIT: Duration = Duration::from_secs(30);

pub(super) fn router(app: Arc<App>) -> Router {
    let access = Arc::clone(&app.access);
    guarded(Router::new().fallback(answer), access).with_state(app)
}

/// Puts the guard before everything that a router answers.
pub(super) fn guarded<S>(router: Router<S>, access: Arc<AccessCheck>) -> Router<S>
where
    S: Clone + Send + Sync + 'static,
{
    router.layer(DefaultBodyLimit::disable()).layer(middleware::from_fn_with_state(access, guard::guard))
}

async fn answer(State(app): State<Arc<App>>, request: axum::extract::Request) -> Response {
    let answer = match open(&app.access, &request) {
        Some(opened) => return opened,
        None => handle(&app, request).await.unwrap_or_else(|refusal| refusal.response()),
    };
    answered(answer)
}

/// Lets the browser in that comes with the token of this start.
pub(super) fn open(access: &AccessCheck, request: &axum::extract::Request) -> Option<Response> {
    if request.uri().path() != "/open" || request.method() != Method::GET {
        return None;
    }
    let query = form_urlencoded::parse(request.uri().query().unwrap_or_default().as_bytes());
    let token = query.into_iter().find(|(name, _)| name == "token").map(|(_, token)| token.into_owned());
    let token = token.unwrap_or_default();
    if !access.knows(&token) {
        let todo = "open the link that the program printed last";
        return Some(answered(Refusal::new(401, "this link is of another start", todo).response()));
    }
    let mut response = Response::new(Body::empty());
    *response.status_mut() = StatusCode::SEE_OTHER;
    response.headers_mut().insert(LOCATION, HeaderValue::from_static("/"));
    let cookie = HeaderValue::from_str(&access.cookie(&token));
    response.headers_mut().extend(cookie.into_iter().map(|cookie| (SET_COOKIE, cookie)));
    Some(response)
}

pub(super) fn method_of(request: &axum::extract::Request) -> Result<page::Method, Refusal> {
    match *request.method() {
        Method::GET | Method::HEAD => Ok(page::Method::Get),
        Method::POST => Ok(page::Method::Post),
        _ => Err(Refusal::new(405, "this page is read and its forms are sent", "use its own buttons")),
    }
}

pub(super) fn address_of(request: &axum::extract::Request) -> String {
    request.uri().path_and_query().map_or("/", |address| address.as_str()).to_owned()
}

async fn handle(app: &Arc<App>, request: axum::extract::Request) -> Result<page::Response, Refusal> {
    let method = method_of(&request)?;
    let mut asked = page::Request::new(method, &address_of(&request), Content::Nothing);
    let cached = asked.case().and_then(|key| app.case(key)).cloned();
    if asked.case().is_some() && cached.is_none() {
        return Err(Refusal::not_found("there is no such case"));
    }
    if method == page::Method::Post {
        asked.content = content(app, request, asked.takes_files()).await?;
    }
    let needs = page::needs(&asked);
    let states = states(app, cached.as_ref(), needs).await;
    let _alone =
        if needs.alone { Some(app.one_at_a_time.acquire().await.map_err(|_| Refusal::bug())?) } else { None };
    let _turn = match (&cached, needs.looks_over) {
        (Some(cached), Some(LookOver::AsTyped)) => {
            // As one types, only the newest text is looked over: the others are dropped when their turn comes.
            let turn = cached.linting.turn_unless_superseded().await;
            Some(turn.ok_or_else(|| {
                Refusal::new(409, "a newer text is looked over instead", "wait for its remarks")
            })?)
        }
        (Some(cached), Some(LookOver::InTurn)) => Some(cached.linting.turn().await.ok_or_else(Refusal::bug)?),
        _ => None,
    };
    let mut shelf = Shelf { app: Arc::clone(app), states, runtime: Handle::current() };
    let answer = tokio::task::spawn_blocking(move || page::handle(asked, &mut shelf));
    answer.await.map_err(|_| Refusal::bug())
}

/// What came with a request.
async fn content(
    app: &Arc<App>,
    request: axum::extract::Request,
    takes_files: bool,
) -> Result<Content, Refusal> {
    if takes_files {
        return Ok(Content::Files(app.uploads.take(request).await?));
    }
    form(request).await
}

/// The fields of a form without files.
pub(super) async fn form(request: axum::extract::Request) -> Result<Content, Refusal> {
    if !is_form(request.headers()) {
        return Ok(Content::Nothing);
    }
    let bytes = to_bytes(request.into_body(), FORM_BYTES).await.map_err(|_| {
        let what = format!("this is more than the {} MiB that a form may have", FORM_BYTES >> 20);
        Refusal::new(413, &what, "shorten what you wrote")
    })?;
    Ok(Content::Form(form_urlencoded::parse(&bytes).into_owned().collect()))
}

fn is_form(headers: &HeaderMap) -> bool {
    let kind = headers.get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    kind.split(';').next().is_some_and(|kind| kind.trim() == "application/x-www-form-urlencoded")
}

/// The cases that a page is made of, as they now are.
async fn states(app: &App, cached: Option<&Arc<CachedCase>>, needs: Needs) -> BTreeMap<String, CaseState> {
    let mut states = BTreeMap::new();
    let mut wait = if needs.cannot_wait { LONG_WAIT } else { READ_WAIT };
    let cases: Vec<&Arc<CachedCase>> = match needs.cases {
        Cases::None => Vec::new(),
        Cases::One => cached.into_iter().collect(),
        Cases::All => app.cases.iter().collect(),
    };
    for cached in cases {
        let before = Instant::now();
        states.insert(cached.name.key.clone(), cached.read_within(wait).await);
        wait = wait.saturating_sub(before.elapsed());
    }
    states
}

/// What the page stands on while it answers one request.
struct Shelf {
    app: Arc<App>,
    /// Cases as they were when the request came.
    states: BTreeMap<String, CaseState>,
    runtime: Handle,
}

impl CaseStore for Shelf {
    fn settings(&self) -> &Settings {
        &self.app.settings
    }

    fn cases(&self) -> Vec<HostedCase> {
        let hosted = |cached: &Arc<CachedCase>| HostedCase {
            name: cached.name.clone(),
            files: Arc::clone(&cached.files),
        };
        self.app.cases.iter().map(hosted).collect()
    }

    fn state(&mut self, key: &str) -> CaseState {
        if let Some(state) = self.states.get(key) {
            return state.clone();
        }
        match self.app.case(key) {
            Some(cached) => self.runtime.block_on(cached.read_within(READ_WAIT)),
            None => CaseState::Stopped,
        }
    }

    fn forget(&mut self, key: &str) {
        self.states.remove(key);
        self.app.case(key).into_iter().for_each(|cached| cached.forget());
    }

    fn stop(&mut self, key: &str) {
        self.app.case(key).into_iter().for_each(|cached| cached.stop());
    }

    fn read_on(&mut self, key: &str) {
        self.app.case(key).into_iter().for_each(|cached| cached.read_on());
    }

    fn waiting(&self, key: &str) -> Vec<Arc<WaitingFile>> {
        self.app.case(key).map(|cached| cached.waiting()).unwrap_or_default()
    }

    fn put(&mut self, key: &str, file: WaitingFile) {
        if let Some(cached) = self.app.case(key) {
            cached.put(file);
        }
    }

    fn let_go(&mut self, key: &str, sha256: &str) {
        self.app.case(key).into_iter().for_each(|cached| cached.let_go(sha256));
    }

    fn add(&mut self, _: &str, _: Vec<(String, Vec<u8>)>) -> Option<String> {
        None
    }

    fn remove(&mut self, _: &str) {}
}
