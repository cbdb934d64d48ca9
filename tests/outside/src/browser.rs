//! A real browser for tests: chromedriver on a port of its own, headless sessions of a size and colour scheme, axe-core.
//!
//! `bash tests/install` fetches what is missing.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};

use crate::program::top;

/// How a session looks at a page: width and height in CSS pixels, dark or light.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Look {
    pub(crate) width: u32,
    pub(crate) height: u32,
    pub(crate) dark: bool,
}

impl Look {
    /// A telephone held upright, a tablet and a wide screen, each in light and dark.
    pub(crate) const ALL: [Self; 6] = [
        Self { width: 360, height: 740, dark: false },
        Self { width: 360, height: 740, dark: true },
        Self { width: 768, height: 1024, dark: false },
        Self { width: 768, height: 1024, dark: true },
        Self { width: 1400, height: 900, dark: false },
        Self { width: 1400, height: 900, dark: true },
    ];
}

/// A running chromedriver; it ends, with its browsers, when this is dropped.
pub(crate) struct Driver {
    child: Child,
    port: u16,
}

impl Driver {
    /// Starts chromedriver on a free port. Once in some hundred starts, beside other tests, it ended before it named one (why is not
    /// known: it takes a port in one family of addresses and then asks for the same in the other); so it is started again, a few times.
    pub(crate) fn start() -> Self {
        let mut said = Vec::new();
        for _ in 0..5 {
            match Self::start_once() {
                Ok(driver) => return driver,
                Err(lines) => said.push(lines),
            }
        }
        panic!("chromedriver names no port: {said:#?}");
    }

    /// A chromedriver that listens, or what it said before it ended.
    fn start_once() -> Result<Self, Vec<String>> {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts; `bash tests/install` installs it");
        let mut lines = BufReader::new(child.stdout.take().expect("piped")).lines().map_while(Result::ok);
        let mut said = Vec::new();
        let port = lines.by_ref().find_map(|line| {
            let port =
                line.split_once("successfully on port ").map(|(_, port)| port.trim_end_matches('.').parse());
            said.push(line);
            port?.ok()
        });
        let Some(port) = port else {
            // It closed its output, so it is ending.
            let _ = child.kill();
            child.wait().expect("it has ended");
            return Err(said);
        };
        // What it says later must not fill the pipe.
        std::thread::spawn(move || lines.for_each(drop));
        Ok(Self { child, port })
    }

    /// Opens a fresh browser.
    pub(crate) async fn open(&self, look: Look) -> Client {
        self.open_with(look, &[], &json!({})).await
    }

    /// Opens a browser with further arguments and preferences; it keeps a log of what it asks networks for.
    pub(crate) async fn open_with(&self, look: Look, more: &[String], preferences: &Value) -> Client {
        let scheme = u8::from(!look.dark);
        let scheme = format!("--blink-settings=preferredColorScheme={scheme}");
        let always = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-dev-shm-usage",
            &scheme,
        ];
        let args: Vec<&str> = always.into_iter().chain(more.iter().map(String::as_str)).collect();
        let capabilities = json!({
            "browserName": "chrome",
            "goog:loggingPrefs": {"performance": "ALL"},
            "goog:chromeOptions": {"args": args, "prefs": preferences, "mobileEmulation": {"deviceMetrics":
                {"width": look.width, "height": look.height, "pixelRatio": 1.0, "mobile": false, "touch": false}}},
        });
        let Value::Object(capabilities) = capabilities else { unreachable!("an object") };
        ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities)
            .connect(&format!("http://127.0.0.1:{}", self.port))
            .await
            .expect("a browser opens")
    }

    /// Asks chromedriver for what the standard of drivers itself does not have: `command` is the rest of the address behind the session's.
    pub(crate) async fn ask(&self, client: &Client, command: &str, body: &Value) -> Value {
        let session = client.session_id().await.expect("an answer").expect("a session");
        let body = body.to_string();
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).expect("chromedriver listens");
        let head = format!(
            "POST /session/{session}/{command} HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n\
             Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        );
        stream.write_all(head.as_bytes()).expect("sent");
        // It keeps the connection open, so the head says how much there is to read.
        let mut answer = BufReader::new(stream);
        let mut length = 0;
        let mut head = String::new();
        loop {
            let mut line = String::new();
            answer.read_line(&mut line).expect("a line of the head");
            if let Some(value) = line.to_ascii_lowercase().strip_prefix("content-length:") {
                length = value.trim().parse().expect("a length");
            }
            if line.trim().is_empty() {
                break;
            }
            head += &line;
        }
        let mut body = vec![0; length];
        answer.read_exact(&mut body).expect("a body");
        let body = String::from_utf8_lossy(&body);
        assert!(head.starts_with("HTTP/1.1 200"), "{command}: {head}{body}");
        let answer: Value = serde_json::from_str(&body).expect("JSON");
        answer["value"].clone()
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // Asked to shut down it closes its browsers, too; killed it would leave them.
        if let Ok(mut stream) = TcpStream::connect(("127.0.0.1", self.port)) {
            let _ = stream.set_read_timeout(Some(Duration::from_secs(10)));
            let _ =
                stream.write_all(b"GET /shutdown HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n");
            let _ = stream.read_to_end(&mut Vec::new());
        }
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What is wrong with the page that is open: what axe-core finds, of whatever weight, and what does not fit the screen.
pub(crate) async fn wrong(client: &Client) -> Vec<String> {
    let mut found = barriers(client).await;
    found.extend(misfits(client).await);
    found
}

/// What axe-core finds on the page that is open.
pub(crate) async fn barriers(client: &Client) -> Vec<String> {
    let path = top().join("target/browser/node_modules/axe-core/axe.min.js");
    let axe = std::fs::read_to_string(path).expect("axe-core; `bash tests/install` installs it");
    client.execute(&axe, vec![]).await.expect("axe-core loads");
    let run = "const done = arguments[arguments.length - 1];
        const told = v => v.id + ' (' + v.impact + '): ' + v.help + ' at ' + v.nodes.slice(0, 5).map(n => n.target.join(' ') + ' ['
            + (n.any[0] || n.all[0] || n.none[0] || {message: ''}).message + ']').join(', ');
        axe.run().then(found => done(found.violations.map(told)), error => done(['axe-core failed: ' + error]));";
    texts(client.execute_async(run, vec![]).await.expect("axe-core runs"))
}

/// Elements that reach beyond the screen or scroll sideways, and texts that are cut. What is there for readers of the screen
/// alone, and shapes that a drawing cuts at its edge, are no texts that anybody sees.
pub(crate) async fn misfits(client: &Client) -> Vec<String> {
    let script = "const found = [], width = document.documentElement.clientWidth;
        const told = (element, what) => found.push(what + ': ' + element.tagName.toLowerCase() + '.'
            + (element.getAttribute('class') || '') + ' “' + (element.textContent || '').trim().slice(0, 60) + '”');
        const page = document.documentElement;
        if (page.scrollWidth > page.clientWidth) found.push('the page is ' + (page.scrollWidth - page.clientWidth) + ' px too wide');
        const unseen = element => {
            for (let at = element; at && at !== document.body; at = at.parentElement) {
                const style = getComputedStyle(at);
                if (style.clipPath === 'inset(50%)' || style.visibility === 'hidden' || at.matches('.skip:not(:focus)')) return true;
            }
            return false;
        };
        const canvas = document.createElement('canvas').getContext('2d');
        for (const element of document.body.querySelectorAll('*')) {
            if (element.ownerSVGElement && element.tagName !== 'text') continue;
            if (element.getClientRects().length === 0 || unseen(element)) continue;
            const box = element.getBoundingClientRect(), style = getComputedStyle(element);
            if (box.width > 0 && (box.left < -0.5 || box.right > width + 0.5)) told(element, 'beyond the screen');
            if (element.closest('svg')) continue;
            if (style.overflowX !== 'visible' && element.scrollWidth > element.clientWidth + 1 && element.tagName !== 'INPUT')
                told(element, 'scrolls sideways or is cut');
            if (style.overflowY === 'hidden' && element.scrollHeight > element.clientHeight + 1) told(element, 'cut below');
            if (element.tagName === 'SELECT' && element.selectedOptions.length) {
                canvas.font = style.font;
                const arrow = 20, room = element.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight) - arrow;
                if (canvas.measureText(element.selectedOptions[0].label).width > room) told(element, 'a choice is cut');
            }
        }
        return found.slice(0, 12);";
    texts(client.execute(script, vec![]).await.expect("the page is measured"))
}

fn texts(found: serde_json::Value) -> Vec<String> {
    serde_json::from_value(found).expect("a list of texts")
}
