//! The way through the file `jogaudit.html` in Firefox, by geckodriver (crates.io), where both are there.
#![cfg(target_os = "linux")]

use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};

use crate::browser_page::{click, click_on, find};
use crate::browser_way::{reviewed, ruling, saved, way};
use crate::page::HANG;
use crate::web::{Server, address, is_shown};

/// A running geckodriver; it ends, with its browser, when this is dropped.
struct Driver {
    child: Child,
    port: u16,
}

impl Driver {
    fn start() -> Self {
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let child = Command::new("geckodriver")
            .args(["--port", &port.to_string()])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("geckodriver starts: `cargo install geckodriver`");
        for _ in 0..HANG.as_millis() / 50 {
            if TcpStream::connect(("127.0.0.1", port)).is_ok() {
                break;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        Self { child, port }
    }

    /// Opens Firefox with a profile; what it saves goes to a folder.
    async fn open(&self, profile: &Path, downloads: &Path) -> Client {
        let preferences = json!({
            "browser.download.folderList": 2,
            "browser.download.dir": downloads,
            "browser.helperApps.neverAsk.saveToDisk": "application/zip",
        });
        let args = ["-headless".as_ref(), "-profile".as_ref(), profile.as_os_str()];
        let args: Vec<String> = args.iter().map(|arg| arg.to_string_lossy().into_owned()).collect();
        let capabilities = json!({
            "browserName": "firefox",
            "moz:firefoxOptions": {"args": args, "prefs": preferences},
        });
        let Value::Object(capabilities) = capabilities else { unreachable!("an object") };
        ClientBuilder::new(HttpConnector::new())
            .capabilities(capabilities)
            .connect(&format!("http://127.0.0.1:{}", self.port))
            .await
            .expect("Firefox opens")
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[tokio::test]
#[ignore = "needs Firefox, geckodriver and jogaudit.html, see tests/full"]
async fn the_way_in_firefox_from_the_disk_and_from_a_web_space() {
    let folder = tempfile::tempdir().unwrap();
    let server = Server::start();
    for (name, file) in [("disk", address()), ("http", server.address.clone())] {
        let profile = folder.path().join(format!("profile-{name}"));
        let downloads = folder.path().join(format!("downloads-{name}"));
        std::fs::create_dir_all(&profile).unwrap();
        std::fs::create_dir_all(&downloads).unwrap();
        let first = {
            let driver = Driver::start();
            let client = driver.open(&profile, &downloads).await;
            client.goto(&file).await.unwrap();
            find(&client, "#name").await.send_keys("case").await.unwrap();
            click(&client, "Begin").await;
            let said = way(&client).await;
            client.close().await.unwrap();
            said
        };
        let driver = Driver::start();
        let client = driver.open(&profile, &downloads).await;
        client.goto(&file).await.unwrap();
        is_shown(&client, "/").await;
        click_on(&client, "table.cases th a").await;
        assert_eq!(ruling(&client).await, first, "{name}: all is there");
        click(&client, "Save the whole case as a zip").await;
        let zip = downloads.join("case.zip");
        saved(&zip).await;
        client.close().await.unwrap();
        let (text, review) = reviewed(&zip);
        assert_eq!(text, first, "{name}");
        assert_eq!(review["sessions"].as_array().unwrap().len(), 3, "{name}");
    }
    let requests = server.requests.lock().unwrap().clone();
    let is_ours =
        |line: &String| line.starts_with("GET /jogaudit.html ") || line.starts_with("GET /favicon.ico ");
    assert!(requests.iter().all(is_ours), "{requests:?}");
}
