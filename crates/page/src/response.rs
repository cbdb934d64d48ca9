//! What is answered, whoever carries it.

/// What is answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Response {
    /// As HTTP numbers it: RFC 9110, section 15.
    pub status: u16,
    /// Type of the content.
    pub kind: &'static str,
    /// Where to go on.
    pub location: Option<String>,
    /// The name under which the body is to be kept as a file.
    pub attachment: Option<String>,
    /// The content.
    pub body: Vec<u8>,
}

pub(crate) const HTML: &str = "text/html; charset=utf-8";

impl Response {
    /// A page.
    pub(crate) fn html(status: u16, page: String) -> Self {
        Self { status, kind: HTML, location: None, attachment: None, body: page.into_bytes() }
    }

    /// Something of ours that pages load.
    pub(crate) fn of(kind: &'static str, text: String) -> Self {
        Self { kind, ..Self::html(200, text) }
    }

    /// Goes on to another address after something was done.
    pub(crate) fn to(address: &str) -> Self {
        Self { location: Some(address.to_owned()), ..Self::html(303, String::new()) }
    }

    /// A file to keep.
    pub(crate) fn attached(name: &str, kind: &'static str, body: Vec<u8>) -> Self {
        Self { attachment: Some(name.to_owned()), kind, body, ..Self::html(200, String::new()) }
    }
}
