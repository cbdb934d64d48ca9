//! The local web page, on loopback: for people who do not use a terminal.
//!
//! `serve` listens and hands each request through the `guard` to `routes`. A `desk` has one case: it reads the
//! folder in the background and keeps the review until a file changes; `intake` takes files in, `keep` is the only
//! place that writes. What it guards against, and what not, stands in `docs/page.md`.

mod attention;
mod desk;
mod forms;
mod guard;
mod intake;
mod keep;
mod layout;
mod refusal;
mod report;
mod routes;
mod shelf;
mod view_case;
mod view_caseload;
mod view_diary;
mod view_plan;

use std::fs;
use std::io;
use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use jiff::civil::Date;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::time::{sleep, timeout};

use jogaudit_files::Failure;

use desk::Desk;
use guard::Door;
use intake::Inbox;
use shelf::Shelf;

/// Connections that are served at a time; more wait until one ends. A browser opens six.
const MOST_CONNECTIONS: usize = 64;
/// Time for the head of a request to arrive, and for which an idle connection is held.
const HEAD_TIME: Duration = Duration::from_secs(10);
/// Bytes of a connection that are held while they are worked on.
const CONNECTION_BUFFER: usize = 64 << 10;
/// Time after which a connection is asked to end, and the time it then has.
const CONNECTION_TIME: Duration = Duration::from_secs(300);
const LAST_WORDS: Duration = Duration::from_secs(90);
/// Free ports that are tried until one is free on both addresses.
const PORTS_TRIED: usize = 20;

/// What to serve.
#[derive(Clone, Debug)]
pub struct Options {
    /// A case folder or a folder of them.
    pub place: PathBuf,
    /// Whether the case is made up, which every page then says.
    pub made_up: bool,
    /// The day of the reviews; without it today.
    pub as_of: Option<Date>,
    /// Port; 0 takes a free one.
    pub port: u16,
    /// Largest file that is taken, bytes.
    pub max_file_bytes: usize,
}

/// What all requests share.
struct App {
    door: Door,
    desks: Vec<Arc<Desk>>,
    is_caseload: bool,
    made_up: bool,
    inbox: Arc<Inbox>,
    /// Recordings are read one case or report at a time: each may need the memory of a large one.
    turn: Arc<Semaphore>,
}

impl App {
    /// The case of that name. Names come from the address, so they are compared and never used as a path.
    fn desk(&self, name: &str) -> Option<&Arc<Desk>> {
        self.desks.iter().find(|desk| desk.name == name)
    }
}

/// Serves the page until the process is told to end. `ready` gets the address with its token once it can be opened.
pub fn serve(options: &Options, ready: &mut dyn FnMut(&str) -> Result<(), Failure>) -> Result<(), Failure> {
    let could_not = |error: io::Error| {
        Failure::refused(format!("could not listen on port {}", options.port))
            .caused_by(&error)
            .hint("another program may use it; leave --port out to take a free one")
    };
    let (is_caseload, folders) = cases(&options.place)?;
    folders.iter().for_each(|folder| keep::sweep(folder));
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .max_blocking_threads(16)
        .enable_all()
        .build()
        .map_err(could_not)?;
    let served = runtime.block_on(async {
        let (port, listeners) = listen(options.port).await.map_err(could_not)?;
        let (door, token) = Door::new(port);
        let shelf = Arc::new(Shelf::default());
        let turn = Arc::new(Semaphore::new(1));
        let desk = |folder: &PathBuf| {
            Arc::new(Desk::new(folder.clone(), options.as_of, Arc::clone(&shelf), Arc::clone(&turn)))
        };
        let desks = folders.iter().map(desk).collect();
        let app = Arc::new(App {
            door,
            desks,
            is_caseload,
            made_up: options.made_up,
            inbox: Arc::new(Inbox::new(options.max_file_bytes)),
            turn,
        });
        // What is seen first is read first.
        app.desks.iter().for_each(|desk| {
            let desk = Arc::clone(desk);
            tokio::spawn(async move { desk.look(Duration::ZERO).await });
        });
        let router = routes::router(app);
        let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
        for listener in listeners {
            tokio::spawn(accept(listener, router.clone(), Arc::clone(&room)));
        }
        ready(&format!("http://127.0.0.1:{port}/open?token={token}"))?;
        told_to_end().await;
        Ok(())
    });
    // What is being written is written to its end.
    runtime.shutdown_timeout(Duration::from_secs(5));
    served
}

/// The cases of a place, and whether it is a folder of them. A folder without a plan and without cases is a case whose
/// plan is still to be written.
fn cases(place: &Path) -> Result<(bool, Vec<PathBuf>), Failure> {
    let entries = fs::read_dir(place).map_err(|error| {
        Failure::refused(format!("could not look into {}", place.display()))
            .caused_by(&error)
            .hint("name a case (a folder with plan.toml, diary.csv and recordings/) or a folder of cases")
    })?;
    if place.join("plan.toml").exists() {
        return Ok((false, vec![place.to_owned()]));
    }
    let has_plan = |path: &PathBuf| path.join("plan.toml").is_file();
    let mut cases: Vec<PathBuf> = entries.filter_map(|e| Some(e.ok()?.path())).filter(has_plan).collect();
    cases.sort();
    Ok(if cases.is_empty() { (false, vec![place.to_owned()]) } else { (true, cases) })
}

/// Listens on both loopback addresses, on the second one only where there is one.
async fn listen(port: u16) -> io::Result<(u16, Vec<TcpListener>)> {
    let mut tried = 0;
    loop {
        tried += 1;
        let first = TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port))).await?;
        let taken = first.local_addr()?.port();
        match TcpListener::bind(SocketAddr::from((Ipv6Addr::LOCALHOST, taken))).await {
            Ok(second) => return Ok((taken, vec![first, second])),
            Err(error) if error.kind() == io::ErrorKind::AddrInUse => {
                if port != 0 || tried == PORTS_TRIED {
                    return Err(error);
                }
            }
            Err(_) => return Ok((taken, vec![first])),
        }
    }
}

async fn accept(listener: TcpListener, router: Router, room: Arc<Semaphore>) {
    while let Ok(place) = Arc::clone(&room).acquire_owned().await {
        // An error is of one connection, or there are no file handles: then it helps to wait.
        let Ok((stream, _)) = listener.accept().await else {
            sleep(Duration::from_millis(50)).await;
            continue;
        };
        let router = router.clone();
        tokio::spawn(async move {
            converse(stream, router).await;
            drop(place);
        });
    }
}

/// Answers the requests of one connection.
async fn converse(stream: TcpStream, router: Router) {
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_TIME)
        .max_buf_size(CONNECTION_BUFFER)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(router));
    let mut connection = pin!(connection);
    // A connection that breaks is the browser's affair.
    if timeout(CONNECTION_TIME, connection.as_mut()).await.is_err() {
        connection.as_mut().graceful_shutdown();
        let _ = timeout(LAST_WORDS, connection).await;
    }
}

/// Waits until the user or the system ends the process.
async fn told_to_end() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut end) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = tokio::signal::ctrl_c() => {}
                _ = end.recv() => {}
            }
            return;
        }
    }
    let _ = tokio::signal::ctrl_c().await;
}
