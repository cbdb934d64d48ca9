//! The page on loopback: a server for browsers on the same machine.
//!
//! | module | holds |
//! |---|---|
//! | `annotate` | one recording for one rater |
//! | `routes` | carries requests to the page and answers back |
//! | `guard` | who may ask: token, host, origin; what browsers may do with an answer |
//! | `connections` | connections of known browsers, and of those that nobody knows yet |
//! | `headed` | the same headers on answers to what is no request |
//! | `cached_case`, `reading`, `recording_cache` | a case, read in the background, in turn with the others, and kept until one of its files changes |
//! | `uploads` | files from the browser, within bounds of size, number and time |
//! | `newest` | work of which only the newest counts |
//!
//! **In:** a case folder, a zip of one to look at, or a folder of cases, and requests on 127.0.0.1 and `::1`. **Out:** the pages of
//! `jogaudit-page`, and the files that the person keeps. **Errors:** [`serve`] fails when the folder cannot be read or the port is
//! taken. What it guards against, and what not, stands in `docs/page.md`. Every bound of size, number and time here is our choice.
//!
//! ```no_run
//! use jogaudit_server::{Options, serve};
//!
//! let options = Options {
//!     place: "case".into(),
//!     made_up: false,
//!     as_of: None,
//!     port: 0,
//!     max_file_bytes: 16 << 20,
//!     is_patient: false,
//! };
//! // Runs until the process is told to end. The address holds the token that lets a browser in.
//! serve(&options, &mut |address| {
//!     println!("{address}");
//!     Ok(())
//! })?;
//! # Ok::<(), jogaudit_case::Failure>(())
//! ```

mod annotate;
mod answered;
mod app;
mod cached_case;
mod connections;
mod guard;
mod headed;
mod newest;
mod reading;
mod recording_cache;
mod routes;
mod uploads;

pub use annotate::serve_annotation;

#[doc(hidden)]
pub use uploads::taken_in;

use std::fs;
use std::io;
use std::net::{Ipv4Addr, Ipv6Addr, SocketAddr};
use std::path::{Path, PathBuf};
use std::pin::pin;
use std::sync::Arc;
use std::time::Duration;

use axum::{Extension, Router};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use jiff::civil::Date;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;
use tokio::time::{sleep, timeout};

use jogaudit_case::{CaseFiles, Failure};
use jogaudit_files::{FolderCase, open_case};
use jogaudit_page::{CaseName, Keeper, Settings, names};

use app::App;
use cached_case::CachedCase;
use connections::{Connection, Connections};
use guard::AccessCheck;
use headed::Headed;
use reading::Readers;
use recording_cache::RecordingCache;
use uploads::Uploads;

/// Time for the first byte of a connection. It comes from the same machine.
const FIRST_BYTE_TIME: Duration = Duration::from_secs(5);
/// Time for the head of a request to arrive, and for which an idle connection is held.
const HEAD_TIME: Duration = Duration::from_secs(10);
/// Bytes of a connection that are held while they are worked on.
const CONNECTION_BUFFER: usize = 64 << 10;
/// Time after which a connection is asked to end, and the time it then has.
const CONNECTION_TIME: Duration = Duration::from_secs(300);
const GRACE_TIME: Duration = Duration::from_secs(90);
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
    /// Whether the page is the patient's: nothing on it changes the plan.
    pub is_patient: bool,
}

/// Serves the page until the process is told to end. `ready` gets the address with its token once it can be opened.
pub fn serve(options: &Options, ready: &mut dyn FnMut(&str) -> Result<(), Failure>) -> Result<(), Failure> {
    let Place { is_caseload, cases, names, not_followed } = Place::of(&options.place)?;
    let settings = Settings {
        is_caseload,
        not_followed,
        made_up: options.made_up,
        is_patient: options.is_patient,
        max_file_bytes: options.max_file_bytes,
        keeper: Keeper::Folders,
    };
    let router = |access: Arc<AccessCheck>| {
        let recordings = Arc::new(RecordingCache::default());
        let readers = Readers::new(is_caseload);
        let case = |(files, name): (Arc<dyn CaseFiles + Send>, CaseName)| {
            Arc::new(CachedCase::new(files, name, options.as_of, Arc::clone(&recordings), readers.clone()))
        };
        let cases = cases.into_iter().zip(names).map(case).collect();
        let uploads = Arc::new(Uploads::new(options.max_file_bytes));
        let app = Arc::new(App {
            access,
            settings: Settings { max_file_bytes: uploads.max_file_bytes(), ..settings },
            cases,
            uploads,
            one_at_a_time: Semaphore::new(1),
        });
        // What is seen first is read first.
        app.cases.iter().for_each(|cached| {
            let cached = Arc::clone(cached);
            tokio::spawn(async move { cached.read_within(Duration::ZERO).await });
        });
        routes::router(app)
    };
    serve_behind_guard(options.port, router, ready)
}

/// Serves what a router answers behind the guard, until the process is told to end.
fn serve_behind_guard(
    port: u16,
    router: impl FnOnce(Arc<AccessCheck>) -> Router,
    ready: &mut dyn FnMut(&str) -> Result<(), Failure>,
) -> Result<(), Failure> {
    let could_not = |error: io::Error| {
        Failure::refused(format!("could not listen on port {port}"))
            .caused_by(&error)
            .hint("another program may use it; leave --port out to take a free one")
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .max_blocking_threads(16)
        .enable_all()
        .build()
        .map_err(could_not)?;
    let served = runtime.block_on(async {
        let (port, listeners) = listen(port).await.map_err(could_not)?;
        let (access, token) = AccessCheck::new(port);
        let router = router(Arc::new(access));
        let connections = Arc::new(Connections::new());
        for listener in listeners {
            tokio::spawn(accept(listener, router.clone(), Arc::clone(&connections)));
        }
        ready(&format!("http://127.0.0.1:{port}/open?token={token}"))?;
        shutdown_signal().await;
        Ok(())
    });
    // What is being written is written to its end.
    runtime.shutdown_timeout(Duration::from_secs(5));
    served
}

/// The cases of a place.
struct Place {
    is_caseload: bool,
    cases: Vec<Arc<dyn CaseFiles + Send>>,
    names: Vec<CaseName>,
    not_followed: Vec<String>,
}

impl Place {
    /// Looks for cases: the folder itself, or the folders in it. A folder without a plan and without cases is a case whose plan
    /// is still to be written. Links are not followed: what they lead to may be another patient's, or listed already.
    fn of(place: &Path) -> Result<Self, Failure> {
        if place.is_file() {
            let (case, entry) = (open_case(place)?, entry_of(place));
            let names = names(&[entry.strip_suffix(".zip").unwrap_or(&entry).to_owned()]);
            return Ok(Self {
                is_caseload: false,
                cases: vec![case.into()],
                names,
                not_followed: Vec::new(),
            });
        }
        let entries = fs::read_dir(place).map_err(|error| {
            Failure::refused(format!("could not look into {}", place.display()))
                .caused_by(&error)
                .hint("name a case (a folder with plan.toml, diary.csv and recordings/) or a folder of cases")
        })?;
        let (mut folders, mut not_followed) = (Vec::new(), Vec::new());
        if !has_plan(place) {
            let mut entries: Vec<_> = entries.filter_map(Result::ok).collect();
            entries.sort_by_key(fs::DirEntry::file_name);
            for entry in entries {
                let Ok(kind) = entry.file_type() else { continue };
                if kind.is_dir() && has_plan(&entry.path()) {
                    folders.push(entry.path());
                } else if kind.is_symlink() && entry.path().is_dir() {
                    not_followed.push(entry.file_name().to_string_lossy().into_owned());
                }
            }
        }
        let is_caseload = !folders.is_empty();
        if !is_caseload {
            folders.push(place.to_owned());
        }
        let names = names(&folders.iter().map(|folder| entry_of(folder)).collect::<Vec<_>>());
        let case = |folder: &PathBuf| -> Arc<dyn CaseFiles + Send> {
            let case = FolderCase::new(folder);
            case.sweep();
            Arc::new(case)
        };
        Ok(Self { is_caseload, cases: folders.iter().map(case).collect(), names, not_followed })
    }
}

/// The last part of a folder's path, as it is written. A path such as `.` has no name of its own.
fn entry_of(folder: &Path) -> String {
    if let Some(name) = folder.file_name() {
        return name.to_string_lossy().into_owned();
    }
    let whole = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    whole.file_name().unwrap_or(whole.as_os_str()).to_string_lossy().into_owned()
}

/// Whether a folder has a plan, or cannot be looked into: then its row says why.
fn has_plan(folder: &Path) -> bool {
    match fs::symlink_metadata(folder.join("plan.toml")) {
        Ok(_) => true,
        Err(error) => error.kind() == io::ErrorKind::PermissionDenied,
    }
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

async fn accept(listener: TcpListener, router: Router, connections: Arc<Connections>) {
    loop {
        connections.room().await;
        // An error is of one connection, or there are no file handles: then it helps to wait.
        let Ok((stream, _)) = listener.accept().await else {
            sleep(Duration::from_millis(50)).await;
            continue;
        };
        let connection = connections.begin();
        let task = tokio::spawn(serve_connection(stream, router.clone(), connection.clone()));
        connections.watch(&connection, task.abort_handle());
    }
}

/// Answers the requests of one connection.
async fn serve_connection(stream: TcpStream, router: Router, connection: Connection) {
    if timeout(FIRST_BYTE_TIME, stream.readable()).await.is_err() {
        return;
    }
    let router = router.layer(Extension(connection));
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_TIME)
        .max_buf_size(CONNECTION_BUFFER)
        .serve_connection(TokioIo::new(Headed::new(stream)), TowerToHyperService::new(router));
    let mut served = pin!(served);
    // A connection that breaks is the browser's affair.
    if timeout(CONNECTION_TIME, served.as_mut()).await.is_err() {
        served.as_mut().graceful_shutdown();
        let _ = timeout(GRACE_TIME, served).await;
    }
}

/// Waits until the user or the system ends the process.
async fn shutdown_signal() {
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
