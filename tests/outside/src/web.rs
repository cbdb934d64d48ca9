//! The file `jogaudit.html` in a real browser: where it is, cases put into its storage, what it stored, what its worker was asked.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::path::PathBuf;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use fantoccini::Client;
use serde_json::{Value, json};

use crate::browser::{Driver, Look};
use crate::page::HANG;
use crate::program::top;

pub(crate) const WIDE: Look = Look { width: 1400, height: 900, dark: false };

/// A plan of one stage.
pub(crate) const PLAN: &str = "title = \"Return after a calf strain\"\n\n[[stage]]\nname = \"1\"\n\
    session = \"walk 5:00, 6 x (run 1:00, walk 2:00)\"\nsessions = 3\n";
/// The head of a diary.
pub(crate) const HEAD: &str = "date,pain_during,pain_pattern,pain_next_morning,effort,note\n";

/// The file under test: the one that `JOGAUDIT_WEB` names, else what `bash web/build` has left.
pub(crate) fn file() -> PathBuf {
    let path = std::env::var_os("JOGAUDIT_WEB")
        .map_or_else(|| top().join("target/web/jogaudit.html"), PathBuf::from);
    path.canonicalize().unwrap_or_else(|_| panic!("no {}: run `bash web/build`", path.display()))
}

pub(crate) fn address() -> String {
    format!("file://{}", file().display())
}

/// A browser with the file open, and in its storage a case `anna` with a plan and an empty diary.
pub(crate) async fn opened(driver: &Driver) -> Client {
    let client = driver.open(WIDE).await;
    client.goto(&address()).await.unwrap();
    is_shown(&client, "/").await;
    seed(&client, "anna", &[("plan.toml", PLAN.as_bytes()), ("diary.csv", HEAD.as_bytes())]).await;
    client.refresh().await.unwrap();
    client
}

/// Puts a case into the browser's storage, as the shell would.
pub(crate) async fn seed(client: &Client, key: &str, files: &[(&str, &[u8])]) {
    let script = "const [key, files, done] = arguments;
        const open = indexedDB.open('jogaudit');
        open.onsuccess = () => {
            const tx = open.result.transaction(['cases', 'files'], 'readwrite');
            const cases = tx.objectStore('cases');
            cases.get(key).onsuccess = ({target}) => cases.put({key, version: (target.result?.version ?? 0) + 1, gone: false});
            for (const [name, bytes] of files) tx.objectStore('files').put(Uint8Array.from(bytes), [key, name]);
            tx.oncomplete = () => { open.result.close(); done('stored'); };
            tx.onabort = () => done(String(tx.error));
        };";
    let done = client.execute_async(script, vec![json!(key), json!(files)]).await.unwrap();
    assert_eq!(done, "stored");
}

/// The files of a case in the browser's storage: names and contents as text.
pub(crate) async fn stored(client: &Client, key: &str) -> Vec<(String, String)> {
    let script = "const [key, done] = arguments;
        const open = indexedDB.open('jogaudit');
        open.onsuccess = () => {
            const found = [];
            const tx = open.result.transaction('files');
            tx.objectStore('files').openCursor().onsuccess = ({target: {result: at}}) => {
                if (!at) return;
                if (at.key[0] === key) found.push([at.key[1], new TextDecoder('latin1').decode(at.value)]);
                at.continue();
            };
            tx.oncomplete = () => { open.result.close(); done(found); };
        };";
    serde_json::from_value(client.execute_async(script, vec![json!(key)]).await.unwrap()).unwrap()
}

/// The diary of a case as stored.
pub(crate) async fn diary(client: &Client, key: &str) -> String {
    let files = stored(client, key).await;
    files.into_iter().find(|(name, _)| name == "diary.csv").map(|(_, text)| text).unwrap_or_default()
}

/// Waits until a script gives `true`.
pub(crate) async fn comes(client: &Client, what: &str, script: &str) {
    for _ in 0..HANG.as_millis() / 50 {
        if client.execute(script, vec![]).await.ok() == Some(json!(true)) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("{what} never comes: {}", crate::browser_page::body(client).await);
}

/// Waits until the page of an address is there, whole.
pub(crate) async fn is_shown(client: &Client, address: &str) {
    let script = format!(
        "return location.hash === {} && !document.body.hasAttribute('aria-busy') && !document.querySelector('[data-opening]')
            && document.querySelector('main h1') !== null",
        json!(format!("#{address}"))
    );
    comes(client, address, &script).await;
}

/// Types an address into the address line.
pub(crate) async fn type_address(client: &Client, address: &str) {
    client.execute("location.hash = arguments[0]", vec![json!(format!("#{address}"))]).await.unwrap();
    is_shown(client, address).await;
}

/// Lists in `window.sent` what the worker is asked from now on, and answers what `window.fakes` has an HTML text for itself.
pub(crate) async fn listen(client: &Client) {
    let script = "window.sent = []; window.fakes = {};
        const send = Worker.prototype.postMessage;
        Worker.prototype.postMessage = function (data, ...rest) {
            window.worker = this;
            if (data.job === 'handle') window.sent.push(data.method + ' ' + data.path);
            const html = data.job === 'handle' ? window.fakes[data.path] : undefined;
            if (html === undefined) return send.call(this, data, ...rest);
            const done = {status: 200, kind: 'text/html; charset=utf-8', body: new TextEncoder().encode(html), changes: []};
            setTimeout(() => this.dispatchEvent(new MessageEvent('message', {data: {id: data.id, done}})));
        };";
    client.execute(script, vec![]).await.unwrap();
}

/// Answers an address by this text.
pub(crate) async fn fake(client: &Client, address: &str, html: &str) {
    client
        .execute("window.fakes[arguments[0]] = arguments[1]", vec![json!(address), json!(html)])
        .await
        .unwrap();
}

/// How often the worker was asked for this.
pub(crate) async fn times_sent(client: &Client, what: &str) -> u64 {
    let count = "return window.sent.filter(sent => sent === arguments[0]).length";
    client.execute(count, vec![json!(what)]).await.unwrap().as_u64().unwrap()
}

/// What a browser asked for since the last call: addresses, but for what it holds itself.
pub(crate) async fn asked_for(driver: &Driver, client: &Client) -> Vec<String> {
    let lines = driver.ask(client, "se/log", &json!({"type": "performance"})).await;
    let messages = lines.as_array().expect("lines").iter().map(|line| {
        let message: Value = serde_json::from_str(line["message"].as_str().expect("text")).expect("JSON");
        message["message"].clone()
    });
    let sent = messages.filter(|message| {
        message["method"] == "Network.requestWillBeSent" || message["method"] == "Network.webSocketCreated"
    });
    let of = |message: Value| {
        let params = &message["params"];
        let address = params["request"]["url"].as_str().or(params["url"].as_str()).unwrap_or_default();
        address.to_owned()
    };
    sent.map(of).filter(|address| !address.starts_with("blob:") && !address.starts_with("data:")).collect()
}

/// A server on loopback that has the file alone.
pub(crate) struct Server {
    pub(crate) address: String,
    /// First lines of the requests so far.
    pub(crate) requests: Arc<Mutex<Vec<String>>>,
}

impl Server {
    /// Starts it; it ends with the test's process.
    pub(crate) fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        let address = format!("http://{}/jogaudit.html", listener.local_addr().expect("an address"));
        let requests = Arc::new(Mutex::new(Vec::new()));
        let (seen, page) = (Arc::clone(&requests), std::fs::read(file()).expect("the file"));
        std::thread::spawn(move || {
            for stream in listener.incoming() {
                let Ok(mut stream) = stream else { continue };
                let mut lines = BufReader::new(&stream).lines().map_while(Result::ok);
                let Some(first) = lines.next() else { continue };
                lines.take_while(|line| !line.is_empty()).for_each(drop);
                let (status, body) = if first.starts_with("GET /jogaudit.html ") {
                    ("200 OK", page.as_slice())
                } else {
                    ("404 Not Found", &[][..])
                };
                seen.lock().expect("whole").push(first);
                let head = format!(
                    "HTTP/1.1 {status}\r\nContent-Type: text/html\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
                    body.len()
                );
                let _ = stream.write_all(head.as_bytes()).and_then(|()| stream.write_all(body));
            }
        });
        Self { address, requests }
    }
}
