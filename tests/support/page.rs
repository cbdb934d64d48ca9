//! A running page and a bare HTTP client to talk to it, also in ways that no browser would.
#![allow(dead_code)] // each package uses its part

use std::ffi::OsStr;
use std::fmt::Write as _;
use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;
use std::time::Duration;

use crate::program::jogaudit;

/// After this a test that waits for something has hung.
pub(crate) const HANG: Duration = Duration::from_secs(600);
const BOUNDARY: &str = "----------------boundary-of-the-test";

/// Pages of a case called `case` that say the same whoever hosts them.
pub(crate) const HOSTED_PAGES: [&str; 10] = [
    "/case/case/",
    "/case/case/?done=kept",
    "/case/case/diary",
    "/case/case/review",
    "/case/case/review.html",
    "/case/case/plan",
    "/case/case/plan/text",
    "/case/case/session?recording=2026-03-02.fit&stage=2",
    "/case/case/session?recording=2026-03-04.gpx.gz",
    "/case/case/report.html?recording=2026-03-07.tcx&stage=2",
];

/// A page that was started on a place; it ends when this is dropped.
pub(crate) struct Page {
    child: Child,
    pub(crate) host: String,
    pub(crate) token: String,
    pub(crate) address: String,
}

/// An answer as it came.
#[derive(Debug)]
pub(crate) struct Answer {
    pub(crate) status: u16,
    pub(crate) head: String,
    pub(crate) body: String,
}

impl Answer {
    fn parse(bytes: &[u8]) -> Self {
        let text = String::from_utf8_lossy(bytes);
        let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
        let status = head.split(' ').nth(1).and_then(|code| code.parse().ok()).unwrap_or(0);
        let is_chunked = head.to_ascii_lowercase().contains("transfer-encoding: chunked");
        let body = if is_chunked { unchunked(body) } else { body.to_owned() };
        Self { status, head: head.to_owned(), body }
    }

    pub(crate) fn header(&self, name: &str) -> &str {
        let lines = self.head.lines().filter_map(|line| line.split_once(": "));
        lines.filter(|(key, _)| key.eq_ignore_ascii_case(name)).map(|(_, value)| value).next().unwrap_or("")
    }

    pub(crate) fn location(&self) -> &str {
        assert_eq!(self.status, 303, "{self:?}");
        self.header("location")
    }
}

fn unchunked(body: &str) -> String {
    let mut rest = body;
    let mut whole = String::new();
    while let Some((length, after)) = rest.split_once("\r\n") {
        let length = usize::from_str_radix(length, 16).unwrap_or(0);
        let Some(chunk) = after.get(..length).filter(|chunk| !chunk.is_empty()) else { break };
        whole += chunk;
        rest = after.get(length + 2..).unwrap_or("");
    }
    whole
}

impl Page {
    /// Starts a page on a place, its reviews on the day after the demo's last one.
    pub(crate) fn on(place: &Path) -> Self {
        Self::with(&[place.as_os_str(), OsStr::new("--as-of"), OsStr::new("2026-05-10")])
    }

    pub(crate) fn with(args: &[&OsStr]) -> Self {
        Self::started(Command::new(jogaudit()), args)
    }

    /// Starts a page by a command that is the program, or runs it.
    pub(crate) fn started(mut program: Command, args: &[&OsStr]) -> Self {
        program.arg("page").args(args);
        Self::listening(program)
    }

    /// Starts the page on which a recording is marked, in a folder.
    pub(crate) fn annotating(folder: &Path, args: &[&str]) -> Self {
        let mut program = Command::new(jogaudit());
        program.current_dir(folder).arg("annotate").args(args);
        Self::listening(program)
    }

    fn listening(mut program: Command) -> Self {
        let mut child =
            program.stdout(Stdio::piped()).stderr(Stdio::null()).spawn().expect("the page starts");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("piped")).read_line(&mut line).expect("a line");
        let address = line.trim().to_owned();
        let rest = address.strip_prefix("http://").unwrap_or_else(|| panic!("an address: {line:?}"));
        let (host, token) = rest.split_once("/open?token=").expect("a token");
        Self { child, host: host.to_owned(), token: token.to_owned(), address: address.clone() }
    }

    pub(crate) fn port(&self) -> &str {
        self.host.rsplit(':').next().unwrap_or_default()
    }

    pub(crate) fn cookie(&self) -> String {
        format!("jogaudit-{}={}", self.port(), self.token)
    }

    pub(crate) fn connect(&self) -> TcpStream {
        let stream = TcpStream::connect(&self.host).expect("the page listens");
        stream.set_read_timeout(Some(HANG)).expect("a time limit");
        stream
    }

    /// Sends bytes as they are and reads all that comes back.
    pub(crate) fn send(&self, bytes: &[u8]) -> Answer {
        let mut stream = self.connect();
        // What is refused early may be answered before all is sent.
        let _ = stream.write_all(bytes);
        read_answer(stream)
    }

    /// The head of a request that is in order, without its last line.
    pub(crate) fn head(&self, method: &str, path: &str) -> String {
        format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nOrigin: http://{host}\r\nConnection: close\r\n",
            host = self.host,
            cookie = self.cookie()
        )
    }

    pub(crate) fn get(&self, path: &str) -> Answer {
        self.send(format!("{}\r\n", self.head("GET", path)).as_bytes())
    }

    /// Gets a page.
    pub(crate) fn page(&self, path: &str) -> String {
        let answer = self.settled(path);
        assert_eq!(answer.status, 200, "{path}: {}", answer.body);
        answer.body
    }

    /// Gets what a page answers, whatever it is; while the case is being read, again.
    pub(crate) fn settled(&self, path: &str) -> Answer {
        for _ in 0..HANG.as_millis() / 100 {
            let answer = self.get(path);
            if !answer.body.contains("http-equiv=\"refresh\"") {
                return answer;
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        panic!("{path} is being read for ever");
    }

    pub(crate) fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.send(&self.posted(path, fields))
    }

    /// The fields of a day's form, as the browser would send them untouched.
    pub(crate) fn day_form(&self, path: &str) -> Vec<(String, String)> {
        form_fields(&self.page(path))
    }

    /// Presses a button of the plan's form that a page holds, as a browser would, with some fields typed in.
    pub(crate) fn press(&self, body: &str, button: &str, typed: &[(&str, &str)]) -> Answer {
        let address =
            body.split("<form class=\"plan\"").nth(1).and_then(|form| between(form, "action=\"", "\""));
        let mut fields = form_fields(body);
        for (name, value) in typed {
            let field = fields.iter_mut().find(|(field, _)| field == name);
            let field = field.unwrap_or_else(|| panic!("no field {name}: {body}"));
            (*value).clone_into(&mut field.1);
        }
        fields.push(("do".to_owned(), button.to_owned()));
        let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (k.as_str(), v.as_str())).collect();
        self.post(address.expect("the plan's form"), &fields)
    }

    /// Writes fields of a day's form that was just opened.
    pub(crate) fn write_day(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.send_day(path, &self.day_form(path), fields)
    }

    /// Writes fields of a day's form that was opened earlier.
    pub(crate) fn send_day(&self, path: &str, form: &[(String, String)], fields: &[(&str, &str)]) -> Answer {
        let set = |name: &str| fields.iter().find(|(field, _)| *field == name).map(|(_, value)| *value);
        let all: Vec<(&str, &str)> =
            form.iter().map(|(name, value)| (name.as_str(), set(name).unwrap_or(value))).collect();
        self.post(path, &all)
    }

    pub(crate) fn try_post(&self, path: &str, fields: &[(&str, &str)]) -> Option<Answer> {
        self.try_send(&self.posted(path, fields))
    }

    fn posted(&self, path: &str, fields: &[(&str, &str)]) -> Vec<u8> {
        let pairs: Vec<String> = fields.iter().map(|(k, v)| format!("{k}={}", coded(v))).collect();
        let body = pairs.join("&");
        let head = self.head("POST", path);
        let kind = "Content-Type: application/x-www-form-urlencoded";
        format!("{head}{kind}\r\nContent-Length: {}\r\n\r\n{body}", body.len()).into_bytes()
    }

    pub(crate) fn upload(&self, case: &str, files: &[(&str, &[u8])]) -> Answer {
        self.send(&self.uploaded(case, files))
    }

    pub(crate) fn try_upload(&self, case: &str, files: &[(&str, &[u8])]) -> Option<Answer> {
        self.try_send(&self.uploaded(case, files))
    }

    fn uploaded(&self, case: &str, files: &[(&str, &[u8])]) -> Vec<u8> {
        let mut body: Vec<u8> = Vec::new();
        for (name, bytes) in files {
            body.extend(part_head(name).as_bytes());
            body.extend(*bytes);
            body.extend(b"\r\n");
        }
        body.extend(format!("--{BOUNDARY}--\r\n").as_bytes());
        let mut all =
            format!("{}Content-Length: {}\r\n\r\n", self.upload_head(case), body.len()).into_bytes();
        all.extend(body);
        all
    }

    /// The head of an upload without its length.
    pub(crate) fn upload_head(&self, case: &str) -> String {
        let head = self.head("POST", &format!("/case/{case}/files"));
        format!("{head}Content-Type: multipart/form-data; boundary={BOUNDARY}\r\n")
    }

    /// The greatest memory that the process has had, MiB.
    pub(crate) fn peak_mib(&self) -> u64 {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id())).expect("a status");
        let line = status.lines().find(|line| line.starts_with("VmHWM:")).expect("a peak");
        line.split_whitespace().nth(1).and_then(|kib| kib.parse::<u64>().ok()).expect("a number") / 1024
    }

    /// Kills the process, as `kill -9` does, while others still talk to it.
    pub(crate) fn stop(&self) {
        let killed = Command::new("kill").args(["-9", &self.child.id().to_string()]).status();
        assert!(killed.is_ok_and(|status| status.success()));
    }

    /// Asks the process to end, and waits until it has.
    pub(crate) fn end(mut self) {
        let asked = Command::new("kill").arg(self.child.id().to_string()).status();
        assert!(asked.is_ok_and(|status| status.success()));
        assert!(self.child.wait().is_ok_and(|status| status.success()), "it ends in order");
    }

    /// What came back of a request, if anything did.
    fn try_send(&self, bytes: &[u8]) -> Option<Answer> {
        let mut stream = TcpStream::connect(&self.host).ok()?;
        stream.write_all(bytes).ok()?;
        Some(read_answer(stream)).filter(|answer| answer.status != 0)
    }
}

impl Drop for Page {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Reads all that comes back on a connection.
pub(crate) fn read_answer(mut stream: TcpStream) -> Answer {
    let mut all = Vec::new();
    let _ = stream.read_to_end(&mut all);
    Answer::parse(&all)
}

/// The head of a file in a form.
pub(crate) fn part_head(name: &str) -> String {
    format!(
        "--{BOUNDARY}\r\nContent-Disposition: form-data; name=\"files\"; filename=\"{name}\"\r\nContent-Type: \
         application/octet-stream\r\n\r\n"
    )
}

/// A text as part of an address or a form.
pub(crate) fn coded(text: &str) -> String {
    text.bytes().fold(String::new(), |mut coded, byte| {
        let _ = write!(coded, "%{byte:02X}");
        coded
    })
}

/// The made-up case, written once for all tests of a file.
pub(crate) fn demo() -> &'static Path {
    static DEMO: OnceLock<tempfile::TempDir> = OnceLock::new();
    DEMO.get_or_init(|| {
        let folder = tempfile::tempdir().expect("a folder");
        let done = Command::new(jogaudit())
            .arg("demo")
            .arg(folder.path().join("demo"))
            .output()
            .expect("the demo runs");
        assert!(done.status.success());
        folder
    })
    .path()
}

/// A file of the made-up case.
pub(crate) fn demo_file(name: &str) -> Vec<u8> {
    fs::read(demo().join("demo").join(name)).expect("a file of the demo")
}

/// A folder with a case in it called `case`: the demo's plan, its diary, and the recordings that are named.
pub(crate) fn case_with(recordings: &[&str]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let case = folder.path().join("case");
    fs::create_dir_all(case.join("recordings")).expect("a folder");
    fs::write(case.join("plan.toml"), demo_file("plan.toml")).expect("written");
    fs::write(case.join("diary.csv"), demo_file("diary.csv")).expect("written");
    for name in recordings {
        fs::write(case.join("recordings").join(name), demo_file(&format!("recordings/{name}")))
            .expect("written");
    }
    folder
}

/// A text of the case called `case` in a folder; none if it is not there.
pub(crate) fn on_disk(folder: &tempfile::TempDir, name: &str) -> String {
    fs::read_to_string(folder.path().join("case").join(name)).unwrap_or_default()
}

/// Every file below a folder with its bytes, by its path inside; the lock of a writer is left out.
pub(crate) fn tree(folder: &Path) -> Vec<(PathBuf, Vec<u8>)> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if !path.ends_with(".jogaudit-lock") {
                found.push((
                    path.strip_prefix(folder).expect("inside").to_owned(),
                    fs::read(&path).expect("a file"),
                ));
            }
        }
    }
    found.sort();
    found
}

/// A small GPX of a walk, different for each number.
pub(crate) fn gpx(number: usize, inside: &str) -> Vec<u8> {
    let mut points = String::new();
    for second in 0..120 {
        let _ = write!(
            points,
            "<trkpt lat=\"{:.6}\" lon=\"0.0\"><time>2026-04-{:02}T{:02}:{:02}:{:02}Z</time></trkpt>",
            0.001 + f64::from(second) * 0.000_013,
            1 + number % 28,
            number / 28 % 24,
            second / 60,
            second % 60
        );
    }
    format!(
        "<?xml version=\"1.0\"?><gpx version=\"1.1\" creator=\"made by hand\" xmlns=\"http://www.topografix.com/GPX/1/1\"><trk>\
         {inside}<trkseg>{points}</trkseg></trk></gpx>"
    )
    .into_bytes()
}

fn between<'t>(text: &'t str, before: &str, after: &str) -> Option<&'t str> {
    text.split_once(before)?.1.split_once(after).map(|(found, _)| found)
}

/// The fields of all forms of a page with what they hold, as a browser would send them.
pub(crate) fn form_fields(body: &str) -> Vec<(String, String)> {
    let plain = |text: &str| {
        let text = text.replace("&quot;", "\"").replace("&lt;", "<").replace("&gt;", ">");
        text.replace("&amp;", "&")
    };
    let mut fields = Vec::new();
    for part in body.split('<').skip(1) {
        let (tag, inside) = part.split_once('>').unwrap_or((part, ""));
        let name = between(tag, " name=\"", "\"");
        let value = between(tag, " value=\"", "\"");
        match tag.split_whitespace().next() {
            // A box that is not ticked is not sent.
            Some("input") if tag.contains("type=\"checkbox\"") && !tag.ends_with("checked") => {}
            Some("input") => fields.extend(name.map(|name| (plain(name), plain(value.unwrap_or_default())))),
            // The first line end is the markup's, and browsers send line ends of their own.
            Some("textarea") => {
                let text = inside.replace("\r\n", "\n");
                let text = plain(text.strip_prefix('\n').unwrap_or(&text)).replace('\n', "\r\n");
                fields.extend(name.map(|name| (plain(name), text)));
            }
            Some("select") => fields.extend(name.map(|name| (plain(name), String::new()))),
            Some("option") if tag.ends_with(" selected") => {
                fields.last_mut().expect("an option of a select").1 = plain(value.unwrap_or_default());
            }
            _ => {}
        }
    }
    fields
}
