//! The page on which a rater marks one recording, behind the same guard.

use std::sync::{Arc, Mutex, PoisonError};

use axum::Router;
use axum::extract::State;
use axum::response::Response;
use jiff::Timestamp;

use jogaudit_case::Failure;
use jogaudit_files::Output;
use jogaudit_page::annotate::{Sheet, handle};
use jogaudit_page::{self as page, Content, Refusal};

use super::answered::answered;
use super::guard::AccessCheck;
use super::routes::{address_of, form, guarded, method_of, open};
use super::serve_behind_guard;

/// What all requests share.
struct Desk {
    access: Arc<AccessCheck>,
    sheet: Mutex<Sheet>,
    /// Held, so that no other run writes it.
    out: Output,
}

/// Serves the page until the process is told to end. `ready` gets the address with its token once it can be opened; what the rater
/// saves goes to `out`, whole.
pub fn serve_annotation(
    sheet: Sheet,
    out: Output,
    port: u16,
    ready: &mut dyn FnMut(&str) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let router = |access: Arc<AccessCheck>| {
        let desk = Desk { access: Arc::clone(&access), sheet: Mutex::new(sheet), out };
        guarded(Router::new().fallback(answer), access).with_state(Arc::new(desk))
    };
    serve_behind_guard(port, router, ready)
}

async fn answer(State(desk): State<Arc<Desk>>, request: axum::extract::Request) -> Response {
    if let Some(opened) = open(&desk.access, &request) {
        return opened;
    }
    answered(asked(desk, request).await.unwrap_or_else(|refusal| refusal.response()))
}

async fn asked(desk: Arc<Desk>, request: axum::extract::Request) -> Result<page::Response, Refusal> {
    let method = method_of(&request)?;
    let mut asked = page::Request::new(method, &address_of(&request), Content::Nothing);
    if method == page::Method::Post {
        asked.content = form(request).await?;
    }
    let answer = tokio::task::spawn_blocking(move || {
        let mut sheet = desk.sheet.lock().unwrap_or_else(PoisonError::into_inner);
        handle(&asked, &mut sheet, Timestamp::now(), &mut |table| desk.out.write(table.as_bytes()))
    });
    answer.await.map_err(|_| Refusal::bug())
}
