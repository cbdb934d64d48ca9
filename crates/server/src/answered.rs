//! Answers of the page as HTTP has them.

use axum::body::Body;
use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE, HeaderValue, LOCATION};
use axum::response::Response;

use jogaudit_page as page;

/// An answer of the page as HTTP has it.
pub(super) fn answered(answer: page::Response) -> Response {
    let mut response = Response::new(Body::from(answer.body));
    *response.status_mut() = StatusCode::from_u16(answer.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let headers = response.headers_mut();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(answer.kind));
    // Addresses and names of ours are plain ASCII.
    if let Some(location) = answer.location.and_then(|location| HeaderValue::from_str(&location).ok()) {
        headers.insert(LOCATION, location);
    }
    let attached = answer.attachment.map(|name| format!("attachment; filename=\"{name}\""));
    if let Some(attached) = attached.and_then(|attached| HeaderValue::from_str(&attached).ok()) {
        headers.insert(CONTENT_DISPOSITION, attached);
    }
    response
}
