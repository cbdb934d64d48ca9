//! STAND-IN, to be replaced by `jogaudit-page`: just enough of its addresses and forms for the tests of the shell. It reads no
//! recording and judges nothing.

use std::collections::BTreeMap;
use std::fmt::Write as _;

type Files = BTreeMap<String, Vec<u8>>;

pub(crate) struct Request<'a> {
    pub(crate) now_s: f64,
    pub(crate) utc_offset_s: i32,
    pub(crate) method: &'a str,
    pub(crate) path_and_query: &'a str,
    pub(crate) form: Vec<(String, String)>,
    pub(crate) files: Vec<(String, Vec<u8>)>,
}

#[derive(Debug, Default)]
pub(crate) struct Response {
    pub(crate) status: u16,
    pub(crate) location: Option<String>,
    pub(crate) kind: String,
    pub(crate) attachment: Option<String>,
    pub(crate) body: Vec<u8>,
}

#[derive(Debug)]
pub(crate) struct Change {
    pub(crate) case: String,
    pub(crate) name: Option<String>,
    pub(crate) bytes: Option<Vec<u8>>,
}

#[derive(Debug, Default)]
pub(crate) struct Page {
    cases: BTreeMap<String, Case>,
    changes: Vec<Change>,
}

#[derive(Debug, Default)]
struct Case {
    files: Files,
    read: usize,
    waiting: Option<(String, Vec<u8>)>,
}

impl Case {
    fn recordings(&self) -> usize {
        self.files.keys().filter(|name| name.starts_with("recordings/")).count()
    }
}

impl Page {
    pub(crate) fn put_case(&mut self, key: &str, files: Files) {
        let case = self.cases.entry(key.to_owned()).or_default();
        (case.files, case.read) = (files, 0);
    }

    pub(crate) fn remove_case(&mut self, key: &str) {
        self.cases.remove(key);
    }

    pub(crate) fn changes(&mut self) -> Vec<Change> {
        std::mem::take(&mut self.changes)
    }

    pub(crate) fn step(&mut self, _now_s: f64) -> bool {
        if let Some(case) = self.cases.values_mut().find(|case| case.read < case.recordings()) {
            case.read += 1;
        }
        self.cases.values().any(|case| case.read < case.recordings())
    }

    pub(crate) fn handle(&mut self, request: &Request<'_>) -> Response {
        let path = request.path_and_query.split('?').next().unwrap_or_default();
        let parts: Vec<&str> = path.trim_start_matches('/').split('/').collect();
        match parts.as_slice() {
            [""] => self.list(request),
            ["page.css"] => answer(
                "text/css",
                concat!(
                    include_str!("../../crates/report/src/html/theme.css"),
                    include_str!("../../crates/page/src/page.css"),
                )
                .to_owned(),
            ),
            ["case", key, rest @ ..] => match self.cases.get_mut(*key) {
                Some(case) => case_page(key, case, rest, request, &mut self.changes),
                None => not_found(),
            },
            _ => not_found(),
        }
    }

    fn list(&self, request: &Request<'_>) -> Response {
        let mut body = format!("<h1>Patients</h1><p>{} {}</p><ul>", request.now_s, request.utc_offset_s);
        for key in self.cases.keys() {
            let _ = write!(body, "<li><a href=\"/case/{0}/\">{0}</a></li>", escaped(key));
        }
        page("Patients", "", &(body + "</ul>"), false)
    }
}

#[allow(clippy::too_many_lines)] // a stand-in
fn case_page(
    key: &str,
    case: &mut Case,
    rest: &[&str],
    request: &Request<'_>,
    changes: &mut Vec<Change>,
) -> Response {
    let root = format!("/case/{key}");
    let field =
        |name: &str| request.form.iter().find(|(n, _)| n == name).map_or("", |(_, value)| value.as_str());
    let mut write = |case: &mut Case, name: &str, bytes: Vec<u8>| {
        case.files.insert(name.to_owned(), bytes.clone());
        changes.push(Change { case: key.to_owned(), name: Some(name.to_owned()), bytes: Some(bytes) });
    };
    match (request.method, rest) {
        ("GET", [""]) if case.read < case.recordings() => {
            let body =
                format!("<h1>Now</h1><p>Reading the recordings: {} of {}</p>", case.read, case.recordings());
            page("Now", &root, &body, true)
        }
        ("GET", [""]) => page(
            "Now",
            &root,
            &format!(
                "<h1>Now</h1><p><a href=\"#seen\">Note a visit</a></p><p>{} recordings</p><form class=\"drop\" method=\"post\" \
             action=\"{root}/files\" enctype=\"multipart/form-data\" data-most=\"16777216\"><label for=\"files\">Files</label><input \
             id=\"files\" type=\"file\" name=\"files\" multiple><button>Look at them</button><p class=\"trouble\" role=\"alert\" hidden></p>\
             </form><div>{}</div><section id=\"seen\"><h2>Seen</h2></section>",
                case.recordings(),
                "<p>Room.</p>".repeat(60),
            ),
            false,
        ),
        ("GET", ["diary"]) => page(
            "Sessions and diary",
            &root,
            &format!(
                "<h1>Diary</h1>{}<p><a href=\"{root}/diary/2026-03-09\">9 March</a></p><p><a href=\"{root}/review#session-2\">2</a>",
                "<p>Room.</p>".repeat(60)
            ),
            false,
        ),
        ("GET", ["diary", date]) => day(&root, case, date, None),
        ("POST", ["diary", date]) => {
            let stands = stands(case, date);
            if field("was_pain_next_morning") != stands {
                return day(&root, case, date, Some(field("pain_next_morning")));
            }
            let mut lines = diary(case);
            lines.insert(date.to_string(), format!(",,{},,", field("pain_next_morning")));
            let lines: String = lines.iter().map(|(date, rest)| format!("{date},{rest}\n")).collect();
            write(
                case,
                "diary.csv",
                format!("date,pain_during,pain_pattern,pain_next_morning,effort,note\n{lines}").into_bytes(),
            );
            to(&format!("{root}/?done=diary"))
        }
        ("GET", ["plan"]) => {
            page("Plan", &root, &format!("<h1>Plan</h1><p><a href=\"{root}/plan/text\">As text</a>"), false)
        }
        ("GET", ["plan", "text"]) => page(
            "Plan",
            &root,
            &format!(
                "<h1>Plan</h1><form id=\"plan\" method=\"post\" action=\"{root}/plan/text\" data-lint=\"{root}/plan/lint\"><button \
             name=\"action\" value=\"save\">Save</button><label for=\"text\">plan.toml</label><textarea id=\"text\" name=\"text\">\n{}\
             </textarea></form><section id=\"remarks\" aria-live=\"polite\" aria-label=\"Remarks\"></section>",
                escaped(&String::from_utf8_lossy(case.files.get("plan.toml").map_or(&[][..], Vec::as_slice)))
            ),
            false,
        ),
        ("POST", ["plan", "text"]) => {
            write(case, "plan.toml", field("text").replace("\r\n", "\n").into_bytes());
            to(&format!("{root}/plan/text?done=plan"))
        }
        ("POST", ["plan", "lint"]) => answer(
            "text/html",
            format!(
                "<h2>Not a plan yet</h2><script>window.harm=1</script><p style=\"color:red\" onclick=\"harm()\">{}</p>",
                field("text").len()
            ),
        ),
        ("GET", ["review"]) => page(
            "Review",
            &root,
            &format!(
                "<h1>Review</h1><p><a href=\"{root}/review.html\">Save this report as a file</a></p>{}<h2 id=\"session-2\">2</h2>",
                "<p>Room.</p>".repeat(60)
            ),
            false,
        ),
        ("GET", ["review.html"]) => attached("review.html", "text/html"),
        ("GET", ["case.zip"]) => attached("case.zip", "application/zip"),
        ("POST", ["files"]) => {
            case.waiting = request.files.first().cloned();
            to(&format!("{root}/waiting/0"))
        }
        ("GET", ["waiting", "0"]) => page(
            "A recording that waits",
            &root,
            &format!(
                "<h1>Waits</h1><form method=\"get\" action=\"/nowhere\"><button class=\"main\" formmethod=\"post\" \
             formaction=\"{root}/waiting/0/keep\">Save to case</button></form>"
            ),
            false,
        ),
        ("POST", ["waiting", "0", "keep"]) => {
            if let Some((name, bytes)) = case.waiting.take() {
                write(case, &format!("recordings/{name}"), bytes);
            }
            to(&format!("{root}/?done=kept"))
        }
        _ => not_found(),
    }
}

fn diary(case: &Case) -> BTreeMap<String, String> {
    let text = String::from_utf8_lossy(case.files.get("diary.csv").map_or(&[][..], Vec::as_slice));
    text.lines()
        .skip(1)
        .filter_map(|line| line.split_once(','))
        .map(|(date, rest)| (date.to_owned(), rest.to_owned()))
        .collect()
}

fn stands(case: &Case, date: &str) -> String {
    diary(case).get(date).and_then(|rest| rest.split(',').nth(2)).unwrap_or_default().to_owned()
}

fn day(root: &str, case: &Case, date: &str, conflict: Option<&str>) -> Response {
    let stands = escaped(&stands(case, date));
    let shown = conflict.map_or_else(|| stands.clone(), escaped);
    let said =
        conflict.map_or("", |_| "<p class=\"trouble\">Someone else has written into this day meanwhile.</p>");
    let body = format!(
        "<h1>Diary of {date}</h1>{said}<form method=\"post\" action=\"{root}/diary/{date}\"><label for=\"pain_next_morning\">Pain\
         </label><input id=\"pain_next_morning\" name=\"pain_next_morning\" type=\"number\" value=\"{shown}\"><input type=\"hidden\" \
         name=\"was_pain_next_morning\" value=\"{stands}\"><button class=\"main\">Write into the diary</button></form>",
    );
    let status = if conflict.is_some() { 409 } else { 200 };
    Response { status, ..page("Diary", root, &body, false) }
}

fn page(title: &str, root: &str, main: &str, again: bool) -> Response {
    let refresh = if again { "<meta http-equiv=\"refresh\" content=\"1\">" } else { "" };
    let links = [("", "Now"), ("diary", "Diary"), ("review", "Review"), ("plan", "Plan")];
    let links = links.map(|(at, word)| format!("<a href=\"{root}/{at}\">{word}</a> ")).concat();
    let links = if root.is_empty() { String::new() } else { links };
    answer(
        "text/html",
        format!(
            "<!DOCTYPE html><html lang=\"en\"><head>{refresh}<title>{title}</title><link rel=\"stylesheet\" href=\"/page.css\"><script \
         src=\"/page.js\"></script></head><body><a class=\"skip\" href=\"#main\">To the content</a><header><nav aria-label=\"Pages\">\
         <a href=\"/\">All patients</a> {links}</nav></header><main id=\"main\">{main}</main></body></html>",
        ),
    )
}

fn answer(kind: &str, text: String) -> Response {
    Response {
        status: 200,
        kind: format!("{kind}; charset=utf-8"),
        body: text.into_bytes(),
        ..Response::default()
    }
}

fn attached(name: &str, kind: &str) -> Response {
    Response { attachment: Some(name.to_owned()), ..answer(kind, format!("{name} of the stand-in")) }
}

fn to(address: &str) -> Response {
    Response { status: 303, location: Some(address.to_owned()), ..Response::default() }
}

fn not_found() -> Response {
    Response {
        status: 404,
        ..page("Not found", "", "<h1>There is no such page</h1><p><a href=\"/\">To the start</a>", false)
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;")
}
