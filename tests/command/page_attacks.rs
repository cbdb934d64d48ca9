//! The local page under attack: each way in is refused, nothing is written outside the case, and memory stays bounded.
#![cfg(target_os = "linux")]
#![allow(clippy::print_stdout)] // what was measured

use std::fmt::Write as _;
use std::fs;
use std::io::Write;
use std::net::TcpStream;
use std::time::{Duration, Instant};

use crate::page::{HANG, Page, case_with, coded, demo_file, gpx, part_head, read_answer, tree};

/// What the process may take, MiB.
const MOST_MIB: u64 = 512;

fn gzip(bytes: &[u8], times: usize) -> Vec<u8> {
    let mut zipped = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::new(6));
    (0..times).for_each(|_| zipped.write_all(bytes).unwrap());
    zipped.finish().unwrap()
}

#[test]
fn a_foreign_host_is_refused() {
    let folder = case_with(&[]);
    let page = Page::on(&folder.path().join("case"));
    for host in
        ["evil.example", "evil.example:80", "127.0.0.1", "127.0.0.1:1", "[::1]", "127.0.0.1.evil.example"]
    {
        let request = page
            .head("GET", "/case/case/")
            .replace(&format!("Host: {}", page.host), &format!("Host: {host}"));
        let answer = page.send(format!("{request}\r\n").as_bytes());
        assert_eq!(answer.status, 421, "{host}");
        assert!(!answer.body.contains("Tove"));
    }
    let none = page.head("GET", "/").replace(&format!("Host: {}\r\n", page.host), "");
    assert!([400, 421].contains(&page.send(format!("{none}\r\n").as_bytes()).status));
    let named = page.head("GET", "/case/case/").replace(&page.host, &format!("localhost:{}", page.port()));
    assert_eq!(page.send(format!("{named}\r\n").as_bytes()).status, 200);
}

#[test]
fn a_foreign_origin_is_refused() {
    let folder = case_with(&["2026-03-02.fit"]);
    let before = tree(folder.path());
    let page = Page::on(&folder.path().join("case"));
    for origin in
        ["http://evil.example", "null", "https://127.0.0.1", "http://127.0.0.1:1", "http://localhost"]
    {
        for (path, body) in [
            ("/case/case/diary/2026-05-09", "pain_during=0"),
            ("/case/case/stage", "recording=2026-03-02.fit&stage=5"),
            ("/case/case/seen", "date=2026-03-02&by=x&stage=&note="),
            ("/case/case/plan/text", "action=save&text=x&of="),
            ("/case/case/plan/form", "do=save&plan=%22%22&of="),
            ("/case/case/keep-all", ""),
        ] {
            let head = page
                .head("POST", path)
                .replace(&format!("Origin: http://{}", page.host), &format!("Origin: {origin}"));
            let kind = "Content-Type: application/x-www-form-urlencoded";
            let request = format!("{head}{kind}\r\nContent-Length: {}\r\n\r\n{body}", body.len());
            assert_eq!(page.send(request.as_bytes()).status, 403, "{origin} {path}");
        }
    }
    let head = page.head("POST", "/case/case/diary/2026-05-09");
    let without = head.replace(&format!("Origin: http://{}\r\n", page.host), "");
    assert_eq!(page.send(format!("{without}Content-Length: 0\r\n\r\n").as_bytes()).status, 403);
    let crossing = format!("{head}Sec-Fetch-Site: cross-site\r\nContent-Length: 0\r\n\r\n");
    assert_eq!(page.send(crossing.as_bytes()).status, 403);
    assert_eq!(tree(folder.path()), before);
}

#[test]
fn without_the_token_nothing_is_shown() {
    let folder = case_with(&["2026-03-02.fit"]);
    let page = Page::on(&folder.path().join("case"));
    for path in [
        "/",
        "/page.css",
        "/page.js",
        "/case/case/",
        "/case/case/diary",
        "/case/case/review",
        "/case/case/review.html",
        "/case/case/plan",
        "/case/case/plan/text",
        "/case/case/session?recording=2026-03-02.fit",
        "/nothing",
    ] {
        for cookie in
            ["", "x=y", &format!("jogaudit-{}=", page.port()), &format!("jogaudit-{}=0000", page.port())]
        {
            let head = page.head("GET", path).replace(&page.cookie(), cookie);
            let answer = page.send(format!("{head}\r\n").as_bytes());
            assert_eq!(answer.status, 401, "{path} {cookie}");
            assert!(answer.body.contains("open the link") && !answer.body.contains("Tove"));
        }
    }
    let wrong = format!("/open?token={}", "0".repeat(64));
    assert_eq!(page.get(&wrong).status, 401);
    assert!(page.get(&wrong).header("set-cookie").is_empty());
    let opened = page.get(&format!("/open?token={}", page.token));
    assert_eq!(opened.location(), "/");
    let cookie = opened.header("set-cookie");
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"), "{cookie}");
    let other = Page::on(&folder.path().join("case"));
    assert_ne!(page.token, other.token);
}

#[test]
fn every_answer_tells_the_browser_to_run_and_load_nothing_foreign() {
    let folder = case_with(&["2026-03-02.fit"]);
    let page = Page::on(&folder.path().join("case"));
    page.page("/case/case/");
    for path in [
        "/case/case/",
        "/case/case/review",
        "/case/case/session?recording=2026-03-02.fit",
        "/page.js",
        "/nothing",
    ] {
        let answer = page.get(path);
        let policy = answer.header("content-security-policy");
        for part in ["default-src 'none'", "form-action 'self'", "frame-ancestors 'none'", "base-uri 'none'"]
        {
            assert!(policy.contains(part), "{path}: {policy}");
        }
        assert!(!policy.contains("unsafe"), "{policy}");
        assert_eq!(answer.header("x-content-type-options"), "nosniff");
        assert_eq!(answer.header("referrer-policy"), "same-origin");
        assert_eq!(answer.header("cache-control"), "no-store");
        assert_eq!(answer.header("cross-origin-resource-policy"), "same-origin");
        assert_eq!(answer.header("cross-origin-opener-policy"), "same-origin");
        let without_links = answer.body.replace("http://www.w3.org/", "");
        assert!(!without_links.contains("src=\"http") && !without_links.contains("url(http"), "{path}");
    }
}

#[test]
fn names_are_never_paths() {
    let folder = case_with(&["2026-03-02.fit"]);
    let page = Page::on(&folder.path().join("case"));
    let before = tree(folder.path());
    for (number, name) in [
        "../../evil.gpx",
        "..\\..\\evil.gpx",
        "/etc/evil.gpx",
        "..",
        ".hidden.gpx",
        "plan.toml",
        "a/../../b.gpx",
    ]
    .iter()
    .enumerate()
    {
        let answer = page.upload("case", &[(name, &gpx(number, ""))]);
        let kept = page.post(&format!("{}/keep", answer.location()), &[]);
        assert!(kept.location().contains("done=kept"), "{name}: {kept:?}");
    }
    let after = tree(folder.path());
    let new: Vec<String> = after
        .iter()
        .filter(|file| !before.contains(file))
        .map(|(path, _)| path.to_string_lossy().into_owned())
        .collect();
    assert_eq!(new.len(), 7, "{new:?}");
    for path in &new {
        let name = path.strip_prefix("case/recordings/").unwrap_or_else(|| panic!("{path} is outside"));
        assert!(!name.starts_with('.') && !name.contains(['/', '\\']), "{name}");
    }
    assert_eq!(after.len(), before.len() + 7, "what was there is as it was");

    for path in [
        "/case/../../etc/passwd",
        "/case/..%2f..%2fetc/",
        "/case/%2e%2e/",
        "/case/case/session?recording=../plan.toml",
        "/case/case/session?recording=..%2F..%2F..%2Fetc%2Fpasswd",
        "/case/case/session?recording=%2Fetc%2Fpasswd",
        "/case/case/report.html?recording=../plan.toml&stage=1",
        "/case/case/waiting/..%2f..%2fplan.toml",
    ] {
        let answer = page.get(path);
        assert_eq!(answer.status, 404, "{path}: {}", answer.body);
        assert!(!answer.body.contains("root:"));
    }
    let fields = [("recording", "../plan.toml"), ("stage", "1")];
    assert_eq!(page.post("/case/case/stage", &fields).status, 404);
    assert_eq!(page.post("/case/case/diary/..%2fplan", &[("note", "x")]).status, 422);
    assert_eq!(tree(folder.path()), after);
}

#[test]
fn two_gigabytes_are_refused_claimed_or_streamed() {
    let folder = case_with(&[]);
    let page = Page::on(&folder.path().join("case"));
    let before = tree(folder.path());

    let claimed = format!("{}Content-Length: {}\r\n\r\n", page.upload_head("case"), 2_u64 << 30);
    let mut stream = page.connect();
    stream.write_all(claimed.as_bytes()).unwrap();
    stream.write_all(part_head("a.fit").as_bytes()).unwrap();
    let answer = read_answer(stream);
    assert_eq!(answer.status, 413);
    assert!(answer.body.contains("16 MiB") && answer.body.contains("What to do"), "{}", answer.body);

    let mut stream = page.connect();
    stream
        .write_all(format!("{}Transfer-Encoding: chunked\r\n\r\n", page.upload_head("case")).as_bytes())
        .unwrap();
    let head = part_head("a.fit");
    stream.write_all(format!("{:x}\r\n{head}\r\n", head.len()).as_bytes()).unwrap();
    let piece = [b"100000\r\n".to_vec(), vec![0; 1 << 20], b"\r\n".to_vec()].concat();
    let sent = (0..2048).take_while(|_| stream.write_all(&piece).is_ok()).count();
    let answer = read_answer(stream);
    assert!(sent > 16, "more than is taken was sent: {sent} MiB");
    // A connection that is cut while the client still sends may lose the answer; it is never taken.
    assert!([413, 0].contains(&answer.status), "{answer:?}");

    assert_eq!(tree(folder.path()), before);
    assert!(!page.page("/case/case/").contains("Not saved yet"));
    let peak = page.peak_mib();
    println!("2 GB claimed and {sent} MiB streamed: at most {peak} MiB");
    assert!(peak < 256, "{peak} MiB");
}

#[test]
fn a_gzip_bomb_does_not_unfold() {
    let folder = case_with(&[]);
    let page = Page::on(&folder.path().join("case"));
    let before = tree(folder.path());
    let zeros = gzip(&vec![0; 1 << 20], 1024);
    // Below the ratio that is refused at once, above what may unfold.
    let gap = " ".repeat(9000);
    let word = |n: u64| format!("{:x}", n.wrapping_mul(0x9e37_79b9_7f4a_7c15));
    let noise = |n: u64| (0..8).map(|k| word(8 * n + k)).collect::<String>() + &gap;
    let dense = gzip((0..5000).map(noise).collect::<String>().as_bytes(), 1);
    let double = gzip(&zeros, 1);
    for (name, bomb) in [("zeros.gpx.gz", &zeros), ("dense.gpx.gz", &dense), ("double.gz", &double)] {
        println!("{name}: {} KiB", bomb.len() >> 10);
        let place = page.upload("case", &[(name, bomb)]).location().to_owned();
        let answer = loop {
            let answer = page.get(&place);
            if !answer.body.contains("http-equiv=\"refresh\"") {
                break answer;
            }
        };
        assert_eq!(answer.status, 422, "{name}: {}", answer.body);
        assert!(answer.body.contains("read:") && answer.body.contains("What to do"), "{}", answer.body);
        assert!(!answer.body.contains("Save to case"));
        page.post(&format!("{place}/put-away"), &[]);
    }
    assert_eq!(tree(folder.path()), before);
    let peak = page.peak_mib();
    println!("gzip bombs: at most {peak} MiB");
    assert!(peak < MOST_MIB, "{peak} MiB");
}

#[test]
fn the_largest_recordings_stay_within_memory() {
    let folder = case_with(&[]);
    let page = Page::on(&folder.path().join("case"));
    // As many samples as fit into the largest file that is taken, in the shortest words.
    let day = jiff::Timestamp::from_second(1_775_000_000).unwrap();
    let mut text = String::from("<gpx version=\"1.1\" creator=\"x\"><trk><trkseg>");
    let mut second = 0;
    while text.len() < (16 << 20) - 2000 {
        let time = day + jiff::SignedDuration::from_secs(second);
        let _ = write!(
            text,
            "<trkpt lat=\"{:.5}\" lon=\"0\"><time>{time}</time></trkpt>",
            second as f64 * 0.000_02 % 80.0
        );
        second += 1;
    }
    text += "</trkseg></trk></gpx>";
    println!("{second} samples in {} MiB", text.len() >> 20);
    let place = page.upload("case", &[("large.gpx", text.as_bytes())]).location().to_owned();
    let page_of_it = page.page(&format!("{place}?stage=1"));
    assert!(page_of_it.contains("large.gpx"));
    let peak = page.peak_mib();
    println!("the largest file: at most {peak} MiB");
    assert!(peak < MOST_MIB, "{peak} MiB");
}

#[test]
fn a_script_in_a_track_is_shown_as_text() {
    let folder = case_with(&[]);
    let page = Page::on(&folder.path().join("case"));
    let script = "&lt;script&gt;alert(1)&lt;/script&gt;";
    let track = gpx(1, &format!("<name>{script}</name><desc><![CDATA[<script>alert(1)</script>]]></desc>"));
    let ride = gpx(2, &format!("<type>{script}</type>"));
    let name = "<img src=x onerror=alert(1)><script>alert(1)</script>.gpx";
    let mut bodies = Vec::new();
    for bytes in [&track, &ride] {
        let place = page.upload("case", &[(name, bytes)]).location().to_owned();
        bodies.push(page.page(&place));
        bodies.push(page.page(&format!("{place}?stage=1")));
        bodies.push(page.page("/case/case/"));
        page.post(&format!("{place}/keep"), &[("stage", "1")]);
    }
    bodies.push(page.page("/case/case/"));
    bodies.push(page.page("/case/case/review"));
    bodies.push(page.page("/case/case/diary"));
    let hostile = format!("/case/case/?done={}", coded("<script>alert(1)</script>"));
    bodies.push(page.page(&hostile));
    let place = format!("/case/case/session?recording={}", coded("<script>alert(1)</script>"));
    bodies.push(page.get(&place).body);
    for body in &bodies {
        assert!(!body.contains("<script>alert") && !body.contains("<img src=x"), "{body}");
    }
    assert!(bodies.iter().any(|body| body.contains("&lt;script&gt;alert(1)&lt;/script&gt;")));
}

#[test]
fn html_in_a_plan_and_a_diary_is_shown_as_text() {
    let folder = case_with(&["2026-03-02.fit"]);
    let case = folder.path().join("case");
    let html = "</title></pre></textarea><script>alert(1)</script>";
    let plan = format!(
        "title = '{html}'\n[limits]\nclinician_override = '{html}'\nrest_days_between = 0\n[[stage]]\nname = '{html}'\nsession = \
         'walk 5:00, 6 x (run 1:00, walk 2:00), walk 3:00'\n"
    );
    fs::write(case.join("plan.toml"), &plan).unwrap();
    fs::write(case.join("diary.csv"), format!("date,pain_during,note\n2026-03-02,0,{html}\n")).unwrap();
    let page = Page::on(&case);
    let mut bodies: Vec<String> =
        ["", "diary", "diary/2026-03-02", "review", "review.html", "plan", "plan/text"]
            .iter()
            .map(|path| page.page(&format!("/case/case/{path}")))
            .collect();
    bodies.push(page.page("/case/case/session?recording=2026-03-02.fit"));
    bodies.push(page.post("/case/case/plan/lint", &[("text", &plan)]).body);
    bodies.push(page.post("/case/case/plan/lint", &[("text", html)]).body);
    bodies.push(page.post("/case/case/plan/text", &[("text", html), ("action", "look")]).body);
    for body in &bodies {
        assert!(!body.contains("<script>alert"), "{body}");
    }
    assert!(bodies.iter().filter(|body| body.contains("&lt;script&gt;")).count() >= 6);
}

/// Writes a letter every so often until the other side has had enough.
fn write_slowly(stream: &mut TcpStream, letter: u8) {
    const BETWEEN: Duration = Duration::from_millis(100);
    for _ in 0..HANG.as_millis() / BETWEEN.as_millis() {
        if stream.write_all(&[letter]).is_err() {
            return;
        }
        std::thread::sleep(BETWEEN);
    }
    panic!("a letter now and then is listened to for ever");
}

#[test]
fn a_slow_upload_is_cut_off_and_holds_up_nobody() {
    let folder = case_with(&[]);
    let page = Page::on(&folder.path().join("case"));
    let mut slow = page.connect();
    let head =
        format!("{}Content-Length: 1000000\r\n\r\n{}", page.upload_head("case"), part_head("slow.fit"));
    slow.write_all(head.as_bytes()).unwrap();
    assert_eq!(page.upload("case", &[("a.gpx", &gpx(1, ""))]).status, 303, "meanwhile others are served");
    // At this rate it would take more than a day.
    write_slowly(&mut slow, b'x');
    let shown = page.page("/case/case/");
    assert!(shown.contains("a.gpx") && !shown.contains("slow.fit"));
}

#[test]
fn an_upload_that_stops_and_a_slow_head_are_cut_off() {
    let folder = case_with(&[]);
    let page = Page::on(&folder.path().join("case"));
    let mut stopped = page.connect();
    let head = format!("{}Content-Length: 1000\r\n\r\n{}", page.upload_head("case"), part_head("x"));
    stopped.write_all(head.as_bytes()).unwrap();
    let answer = read_answer(stopped);
    assert_eq!(answer.status, 408, "{answer:?}");
    assert!(answer.body.contains("too slowly"));
    write_slowly(&mut page.connect(), b'G');
}

/// Everybody gets an answer: what was asked for, or, where the machine has too much else to do, that it takes too long.
#[test]
fn five_hundred_requests_at_once_are_answered_within_memory() {
    let folder = case_with(&["2026-03-02.fit", "2026-03-04.gpx.gz", "2026-03-09.fit"]);
    let page = Page::on(&folder.path().join("case"));
    page.page("/case/case/");
    let file = demo_file("recordings/2026-03-13.fit");
    // What is refused for want of time or room (408, 503), or is cut off while it is still being sent (0), is asked for again,
    // as a person would: each gets its answer in the end.
    let answers = |wanted: u16, ask: &(dyn Fn(usize) -> u16 + Sync)| {
        let until_answered = |n: usize| {
            let begun = Instant::now();
            let mut times = 1;
            loop {
                match ask(n) {
                    status if status == wanted => return times,
                    status => assert!([0, 408, 503].contains(&status), "request {n}: {status}"),
                }
                assert!(begun.elapsed() < HANG, "request {n} is never answered");
                times += 1;
            }
        };
        std::thread::scope(|scope| {
            let until_answered = &until_answered;
            let all: Vec<_> = (0..500).map(|n| scope.spawn(move || until_answered(n))).collect();
            all.into_iter().map(|one| one.join().unwrap()).sum::<usize>()
        })
    };
    let pages = answers(200, &|n| {
        let paths = ["", "diary", "plan", "review", "session?recording=2026-03-09.fit"];
        page.get(&format!("/case/case/{}", paths[n % 5])).status
    });
    let uploads = answers(303, &|n| page.upload("case", &[(&format!("{n}.fit"), &file)]).status);
    println!("500 pages in {pages} requests, 500 uploads in {uploads}, at most {} MiB", page.peak_mib());
    assert!(page.peak_mib() < MOST_MIB, "{} MiB", page.peak_mib());
    let shown = page.page("/case/case/");
    assert_eq!(shown.matches("13.fit").count(), 0, "the bytes are one file, by its first name");
}

#[test]
fn connections_that_are_opened_and_left_keep_nobody_waiting() {
    let folder = case_with(&[]);
    let page = Page::on(folder.path());
    page.page("/case/case/");
    // Half a head each: more connections than are ever served at a time, none of which ends by itself meanwhile.
    let open = |sent: &[u8]| {
        let mut stream = page.connect();
        let _ = stream.write_all(sent);
        stream
    };
    let half_open: Vec<TcpStream> = (0..64).map(|_| open(b"GET /case/case/ HTTP/1.1\r\nHost: ")).collect();
    let silent: Vec<TcpStream> = (0..64).map(|_| open(b"")).collect();
    let begun = Instant::now();
    assert_eq!(page.get("/case/case/").status, 200);
    let among_half_open = begun.elapsed();
    let more: Vec<TcpStream> = (0..1000).map(|_| open(b"GET ")).collect();
    let begun = Instant::now();
    assert_eq!(page.get("/case/case/").status, 200);
    println!("among 128 half-open: {among_half_open:?}; after 1,000 more: {:?}", begun.elapsed());
    drop((half_open, silent, more));
    assert_eq!(page.get("/case/case/").status, 200);
}

#[test]
fn answers_to_what_is_no_request_carry_the_headers_of_all_answers() {
    let folder = case_with(&[]);
    let page = Page::on(&folder.path().join("case"));
    let names = [
        "content-security-policy",
        "x-content-type-options",
        "referrer-policy",
        "cache-control",
        "cross-origin-resource-policy",
        "cross-origin-opener-policy",
    ];
    let good = page.get("/page.css");
    let long = format!("{}X-Long: {}\r\n\r\n", page.head("GET", "/"), "x".repeat(1 << 20));
    let many = format!("{}{}\r\n", page.head("GET", "/"), "X-Y: z\r\n".repeat(5_000));
    let after = page.head("GET", "/page.css").replace("Connection: close\r\n", "\r\nnonsense\r\n\r\n");
    for (bytes, status) in [
        ("nonsense\r\n\r\n", 400),
        ("GET / HTTP/9.9\r\n\r\n", 400),
        ("GET / HTTP/1.1\r\nno colon\r\n\r\n", 400),
        (long.as_str(), 431),
        (many.as_str(), 431),
    ] {
        let answer = page.send(bytes.as_bytes());
        assert_eq!(answer.status, status, "{}", answer.head);
        for name in names {
            assert_eq!(answer.header(name), good.header(name), "{name}: {}", answer.head);
            assert!(!answer.header(name).is_empty());
        }
    }
    // Also behind a good answer on the same connection.
    let both = page.send(after.as_bytes());
    let refusal = both.body.rsplit("HTTP/1.1 400 ").next().unwrap();
    assert!(both.status == 200 && both.body.contains("HTTP/1.1 400 "), "{both:?}");
    names.iter().for_each(|name| assert!(refusal.contains(&format!("\r\n{name}: ")), "{refusal}"));
}
