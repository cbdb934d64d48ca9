//! What is asked, whoever carries it: a server on loopback, or the browser itself.

use form_urlencoded::parse;
use percent_encoding::percent_decode_str;

use super::waiting::WaitingFile;

/// What was asked.
pub struct Request {
    /// How.
    pub method: Method,
    /// The parts of the address between its slashes, decoded; the last one is empty where the address ends in a slash.
    pub(crate) parts: Vec<String>,
    /// What stands behind the question mark, decoded.
    pub(crate) query: Vec<(String, String)>,
    /// What came with it.
    pub content: Content,
}

/// How something is asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Method {
    /// To see something.
    Get,
    /// To change something.
    Post,
}

/// What came with a request.
pub enum Content {
    /// Nothing.
    Nothing,
    /// The fields of a form, in their order.
    Form(Vec<(String, String)>),
    /// Recordings.
    Files(Vec<WaitingFile>),
    /// Cases, each as a zip: its name and its bytes.
    Whole(Vec<(String, Vec<u8>)>),
}

impl Request {
    /// A request for an address without its host: `/case/x/diary?done=kept`.
    pub fn new(method: Method, address: &str, content: Content) -> Self {
        let (path, query) = address.split_once('?').unwrap_or((address, ""));
        let decoded = |part: &str| percent_decode_str(part).decode_utf8_lossy().into_owned();
        let parts = path.strip_prefix('/').unwrap_or(path).split('/').map(decoded).collect();
        Self { method, parts, query: parse(query.as_bytes()).into_owned().collect(), content }
    }

    /// The parts of the address.
    pub(crate) fn path(&self) -> Vec<&str> {
        self.parts.iter().map(String::as_str).collect()
    }

    /// The case that is asked for, by the key in the address.
    pub fn case(&self) -> Option<&str> {
        match self.path().as_slice() {
            ["case", case, ..] => self.parts.get(1).map(String::as_str).filter(|key| key == case),
            _ => None,
        }
    }

    /// Whether it is the form that sends recordings.
    pub fn takes_files(&self) -> bool {
        matches!(self.path().as_slice(), ["case", _, "files"])
    }

    /// What the address says of a name.
    pub(crate) fn asked(&self, name: &str) -> Option<&str> {
        self.query.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// What the form says of a name.
    pub(crate) fn field(&self, name: &str) -> Option<&str> {
        let Content::Form(fields) = &self.content else { return None };
        fields.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// All that the form says.
    pub(crate) fn fields(&self) -> &[(String, String)] {
        let Content::Form(fields) = &self.content else { return &[] };
        fields
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_taken_apart() {
        let asked = Request::new(
            Method::Get,
            "/case/%C3%85se%20%2F%20co/session?recording=a%2Fb.fit%232&stage=",
            Content::Nothing,
        );
        assert_eq!(asked.path(), ["case", "Åse / co", "session"]);
        assert_eq!(asked.case(), Some("Åse / co"));
        assert_eq!((asked.asked("recording"), asked.asked("stage")), (Some("a/b.fit#2"), Some("")));
        assert_eq!(asked.asked("none"), None);
        assert_eq!(Request::new(Method::Get, "/", Content::Nothing).path(), [""]);
        assert_eq!(Request::new(Method::Get, "/case/x/", Content::Nothing).path(), ["case", "x", ""]);
    }
}
