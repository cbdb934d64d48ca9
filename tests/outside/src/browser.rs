//! A real browser for tests: chromedriver on a port of its own, headless sessions of a size and colour scheme, axe-core.
//!
//! `bash tests/install` fetches what is missing.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::json;

use crate::program::top;

/// How a session looks at a page: width and height in CSS pixels, dark or light.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Look {
    pub(crate) width: u32,
    pub(crate) height: u32,
    pub(crate) dark: bool,
}

impl Look {
    /// A telephone held upright and a wide screen, each in light and dark.
    pub(crate) const ALL: [Self; 4] = [
        Self { width: 360, height: 740, dark: false },
        Self { width: 360, height: 740, dark: true },
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
    /// Starts chromedriver on a free port.
    pub(crate) fn start() -> Self {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver starts; `bash tests/install` installs it");
        let mut lines = BufReader::new(child.stdout.take().expect("piped")).lines().map_while(Result::ok);
        let port = lines
            .find_map(|line| line.split_once("successfully on port ")?.1.trim_end_matches('.').parse().ok())
            .expect("chromedriver names its port");
        // What it says later must not fill the pipe.
        std::thread::spawn(move || lines.for_each(drop));
        Self { child, port }
    }

    /// Opens a fresh browser.
    pub(crate) async fn open(&self, look: Look) -> Client {
        let scheme = u8::from(!look.dark);
        let capabilities = json!({"browserName": "chrome", "goog:chromeOptions": {
            "args": [
                "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                "--disable-background-networking", "--disable-component-update", "--disable-sync",
                "--disable-dev-shm-usage",
                format!("--blink-settings=preferredColorScheme={scheme}"),
            ],
            "mobileEmulation": {"deviceMetrics":
                {"width": look.width, "height": look.height, "pixelRatio": 1.0, "mobile": false, "touch": false}},
        }});
        let serde_json::Value::Object(capabilities) = capabilities else { unreachable!("an object") };
        ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities)
            .connect(&format!("http://127.0.0.1:{}", self.port))
            .await
            .expect("a browser opens")
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

/// What axe-core finds serious or critical on the page that is open.
pub(crate) async fn serious(client: &Client) -> Vec<String> {
    let path = top().join("target/browser/node_modules/axe-core/axe.min.js");
    let axe = std::fs::read_to_string(path).expect("axe-core; `bash tests/install` installs it");
    client.execute(&axe, vec![]).await.expect("axe-core loads");
    let run = "const done = arguments[arguments.length - 1];
        const told = v => v.id + ': ' + v.help + ' at ' + v.nodes.slice(0, 5).map(n => n.target.join(' ') + ' ['
            + (n.any[0] || n.all[0] || n.none[0] || {message: ''}).message + ']').join(', ');
        axe.run().then(
            found => done(found.violations.filter(v => ['serious', 'critical'].includes(v.impact)).map(told)),
            error => done(['axe-core failed: ' + error]));";
    let found = client.execute_async(run, vec![]).await.expect("axe-core runs");
    serde_json::from_value(found).expect("a list of texts")
}

/// By how many CSS pixels the page that is open is wider than the screen.
pub(crate) async fn overflow_px(client: &Client) -> i64 {
    let script = "const page = document.documentElement; return page.scrollWidth - page.clientWidth;";
    client.execute(script, vec![]).await.expect("the page is measured").as_i64().expect("a whole number")
}
