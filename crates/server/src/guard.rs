//! Who may ask: the browser that was opened with this start's token, on one of our own addresses, from our own pages.

use std::sync::Arc;
use std::time::Duration;

use axum::extract::{Request, State};
use axum::http::Method;
use axum::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, COOKIE, HOST, HeaderMap, HeaderName, HeaderValue, ORIGIN,
    REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS,
};
use axum::middleware::Next;
use axum::response::Response;
use sha2::{Digest, Sha256};
use tokio::time::timeout;

use jogaudit_case::hexadecimal;
use jogaudit_page::Refusal;

use super::answered::answered;
use super::connections::Connection;

/// Time for one answer, uploads included.
const ANSWER_TIME: Duration = Duration::from_secs(60);

/// What a page may load and where its forms may go: nothing and nowhere but here.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; img-src data:; \
    form-action 'self'; frame-ancestors 'none'; base-uri 'none'";

/// What every answer says to browsers. Other sites neither load anything of ours nor keep a hand on our window, and nothing leaves
/// to them: with `no-referrer` browsers would send posts without their origin.
pub(super) const HEADERS: [(HeaderName, &str); 6] = [
    (CONTENT_SECURITY_POLICY, POLICY),
    (X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (REFERRER_POLICY, "same-origin"),
    (CACHE_CONTROL, "no-store"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
];

/// What is checked of a request before anything else looks at it.
pub(super) struct AccessCheck {
    /// Addresses that we listen on, as browsers write them.
    hosts: Vec<String>,
    /// Name of the cookie. Cookies do not know ports, so the name does.
    cookie: String,
    /// SHA-256 of the token: comparing hashes tells nothing of the token by the time it takes.
    digest: [u8; 32],
}

impl AccessCheck {
    /// Makes a check with a new token.
    pub(super) fn new(port: u16) -> (Self, String) {
        let mut random = [0; 32];
        // Without random numbers there would be a token that can be guessed.
        getrandom::fill(&mut random).expect("the system gives random numbers");
        let token = hexadecimal(&random);
        let names = ["127.0.0.1", "localhost", "[::1]"];
        let with_port = names.iter().map(|name| format!("{name}:{port}"));
        let bare = names.iter().filter(|_| port == 80).map(|name| (*name).to_owned());
        let digest = Sha256::digest(token.as_bytes()).into();
        (Self { hosts: with_port.chain(bare).collect(), cookie: format!("jogaudit-{port}"), digest }, token)
    }

    /// Whether this is the token of this start.
    pub(super) fn knows(&self, token: &str) -> bool {
        <[u8; 32]>::from(Sha256::digest(token.as_bytes())) == self.digest
    }

    /// The cookie that a browser with the token gets.
    pub(super) fn cookie(&self, token: &str) -> String {
        format!("{}={token}; Path=/; HttpOnly; SameSite=Strict", self.cookie)
    }

    fn check(&self, request: &Request) -> Result<(), Refusal> {
        let headers = request.headers();
        let host = self.host(headers)?;
        // The link that lets a browser in may stand anywhere; nothing else is asked for by other sites.
        if request.uri().path() != "/open" {
            Self::refuse_other_sites(headers)?;
        }
        if !matches!(*request.method(), Method::GET | Method::HEAD) {
            Self::from_our_page(headers, host)?;
        }
        if request.uri().path() != "/open" && !self.has_token(headers) {
            return Err(Refusal::new(
                401,
                "this browser has not been let in",
                "open the link that the program printed when it started; each start has a new one",
            ));
        }
        Ok(())
    }

    /// The address that was asked for, if it is ours: a foreign name that leads to loopback is refused.
    fn host<'h>(&self, headers: &'h HeaderMap) -> Result<&'h str, Refusal> {
        let mut all = headers.get_all(HOST).iter();
        match (all.next().and_then(|host| host.to_str().ok()), all.next()) {
            (Some(host), None) if self.hosts.iter().any(|ours| ours == host) => Ok(host),
            _ => Err(Refusal::new(
                421,
                "this page answers on its own address only",
                "open the link that the program printed",
            )),
        }
    }

    /// Refuses what another site's page sends.
    fn from_our_page(headers: &HeaderMap, host: &str) -> Result<(), Refusal> {
        let mut all = headers.get_all(ORIGIN).iter();
        let origin = (all.next().and_then(|origin| origin.to_str().ok()), all.next());
        let is_ours = matches!(origin, (Some(one), None) if one.strip_prefix("http://") == Some(host));
        let mut sites = headers.get_all("sec-fetch-site").iter();
        // Nobody posts by typing an address.
        if is_ours && sites.all(|site| site == "same-origin") { Ok(()) } else { Err(not_from_here()) }
    }

    /// Refuses what a browser says another site asked for, also a page on another port of this machine.
    fn refuse_other_sites(headers: &HeaderMap) -> Result<(), Refusal> {
        let mut sites = headers.get_all("sec-fetch-site").iter();
        let is_fine = |site: &HeaderValue| site == "same-origin" || site == "none";
        if sites.all(is_fine) { Ok(()) } else { Err(not_from_here()) }
    }

    fn has_token(&self, headers: &HeaderMap) -> bool {
        let cookies = headers.get_all(COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut pairs = cookies.flat_map(|all| all.split(';')).filter_map(|pair| pair.trim().split_once('='));
        pairs.any(|(name, token)| name == self.cookie && self.knows(token))
    }
}

fn not_from_here() -> Refusal {
    Refusal::new(
        403,
        "the request does not come from this page",
        "go back to the page and use its own buttons",
    )
}

/// Checks a request, answers it in time, and says what browsers may do with the answer.
pub(super) async fn guard(State(access): State<Arc<AccessCheck>>, request: Request, next: Next) -> Response {
    let checked = access.check(&request);
    if checked.is_ok()
        && let Some(connection) = request.extensions().get::<Connection>()
    {
        connection.is_known().await;
    }
    let mut response = match checked {
        Ok(()) => timeout(ANSWER_TIME, next.run(request)).await.unwrap_or_else(|_| {
            let what = format!("this took longer than {} s", ANSWER_TIME.as_secs());
            answered(Refusal::new(408, &what, "try again").response())
        }),
        Err(refusal) => answered(refusal.response()),
    };
    let headers = response.headers_mut();
    for (name, value) in HEADERS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

#[cfg(test)]
mod tests {
    use axum::body::Body;

    use super::*;

    fn status(access: &AccessCheck, method: &str, path: &str, headers: &[(&str, &str)]) -> u16 {
        let mut request = Request::builder().method(method).uri(path);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let request = request.body(Body::empty()).unwrap();
        access.check(&request).err().map_or(200, |refusal| refusal.status)
    }

    #[test]
    fn only_our_addresses_with_our_token_from_our_pages() {
        let (access, token) = AccessCheck::new(4000);
        let cookie = format!("other=1; jogaudit-4000={token}");
        let get = |host, cookie| status(&access, "GET", "/", &[("host", host), ("cookie", cookie)]);
        for host in ["127.0.0.1:4000", "localhost:4000", "[::1]:4000"] {
            assert_eq!(get(host, &cookie), 200);
        }
        for host in ["evil.example:4000", "127.0.0.1:4001", "127.0.0.1", "127.0.0.1.evil.example:4000", ""] {
            assert_eq!(get(host, &cookie), 421, "{host}");
        }
        assert_eq!(status(&access, "GET", "/", &[("cookie", &cookie)]), 421);
        let two = [("host", "127.0.0.1:4000"), ("host", "evil.example"), ("cookie", &cookie)];
        assert_eq!(status(&access, "GET", "/", &two), 421);
        for wrong in ["", "jogaudit-4000=", "jogaudit-4001=x", "jogaudit-4000=00"] {
            assert_eq!(get("127.0.0.1:4000", wrong), 401);
        }
        let post = |more: &[(&str, &str)]| {
            let base = [("host", "127.0.0.1:4000"), ("cookie", cookie.as_str())];
            status(&access, "POST", "/x", &[&base, more].concat())
        };
        assert_eq!(post(&[("origin", "http://127.0.0.1:4000")]), 200);
        assert_eq!(post(&[("origin", "http://127.0.0.1:4000"), ("sec-fetch-site", "same-origin")]), 200);
        for wrong in ["null", "http://evil.example", "http://127.0.0.1:4001", "https://127.0.0.1:4000"] {
            assert_eq!(post(&[("origin", wrong)]), 403, "{wrong}");
        }
        assert_eq!(post(&[]), 403);
        let ours = ("origin", "http://127.0.0.1:4000");
        assert_eq!(post(&[ours, ("origin", "http://evil.example")]), 403);
        assert_eq!(post(&[ours, ours]), 403);
        assert_eq!(post(&[ours, ("sec-fetch-site", "none")]), 403);
        assert_eq!(post(&[ours, ("sec-fetch-site", "same-origin"), ("sec-fetch-site", "cross-site")]), 403);
        let asked_by = |path: &str, site: &str| {
            let headers = [("host", "127.0.0.1:4000"), ("cookie", cookie.as_str()), ("sec-fetch-site", site)];
            status(&access, "GET", path, &headers)
        };
        for (site, expected) in [("same-origin", 200), ("none", 200), ("same-site", 403), ("cross-site", 403)]
        {
            assert_eq!(asked_by("/", site), expected, "{site}");
            assert_eq!(asked_by("/open", site), 200, "{site}");
        }
        assert_eq!(post(&[("origin", "http://127.0.0.1:4000"), ("sec-fetch-site", "cross-site")]), 403);
    }
}
