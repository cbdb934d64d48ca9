//! The local web page: one person's case, or a table of patients, in a browser on the same machine. For people who do not
//! use a terminal.
//!
//! | module | holds |
//! |---|---|
//! | `routes`, `forms`, `plan_routes` | addresses and what answers them |
//! | `plan_rows`, `plan_words` | the plan as a form: what was sent, what becomes of the text, what its fields are called |
//! | `connections` | connections of known browsers, and of those that nobody knows yet |
//! | `guard` | who may ask: token, host, origin; what browsers may do with an answer |
//! | `cached_case`, `reading`, `recording_cache` | a case, read in the background, in turn with the others, and kept until one of its files changes |
//! | `headed` | the same headers on answers to what is no request |
//! | `uploads` | files from the browser, within bounds of size, number and time |
//! | `case_writer` | the only place that writes to a case: one writer at a time, each file whole or not at all |
//! | `case_names` | what cases are called, told apart where two look alike |
//! | `attention` | what needs attention in a case, for the table of patients |
//! | `layout`, `view_*`, `report`, `refusal` | what is shown |
//!
//! **In:** a case folder or a folder of them, and requests on 127.0.0.1 and `::1`. **Out:** pages without anything from
//! elsewhere, and the files that the person keeps. **Errors:** [`serve`] fails when the folder cannot be read or the port is
//! taken; a request that cannot be answered gets a page that says what to do. What it guards against, and what not, stands
//! in `docs/page.md`. Every bound of size, number and time here is our choice.
//!
//! ```no_run
//! use jogaudit_page::{Options, serve};
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
//! # Ok::<(), jogaudit_files::Failure>(())
//! ```

mod attention;
mod cached_case;
mod case_names;
mod case_writer;
mod connections;
mod forms;
mod guard;
mod headed;
mod layout;
mod newest;
mod plan_routes;
mod plan_rows;
mod plan_words;
mod reading;
mod recording_cache;
mod refusal;
mod report;
mod routes;
mod uploads;
mod view_case;
mod view_caseload;
mod view_diary;
mod view_plan;
mod view_plan_form;
mod visit;

#[doc(hidden)]
pub use uploads::taken_in;

use std::ffi::OsString;
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

use jogaudit_files::Failure;

use cached_case::CachedCase;
use case_names::CaseName;
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

/// What all requests share.
struct App {
    access: AccessCheck,
    cases: Vec<Arc<CachedCase>>,
    is_caseload: bool,
    /// Entries of the caseload that are links, which are not followed, in words.
    not_followed: Vec<String>,
    made_up: bool,
    /// Nothing changes the plan.
    is_patient: bool,
    uploads: Arc<Uploads>,
    /// One report is made, or file kept, at a time: each may need the memory of a large recording.
    one_at_a_time: Arc<Semaphore>,
}

impl App {
    /// The case of that name. Names come from the address, so they are compared and never used as a path.
    fn case(&self, name: &str) -> Option<&Arc<CachedCase>> {
        self.cases.iter().find(|cached| cached.name.key == name)
    }
}

/// Serves the page until the process is told to end. `ready` gets the address with its token once it can be opened.
pub fn serve(options: &Options, ready: &mut dyn FnMut(&str) -> Result<(), Failure>) -> Result<(), Failure> {
    let could_not = |error: io::Error| {
        Failure::refused(format!("could not listen on port {}", options.port))
            .caused_by(&error)
            .hint("another program may use it; leave --port out to take a free one")
    };
    let Place { is_caseload, folders, names, not_followed } = Place::of(&options.place)?;
    folders.iter().for_each(|folder| case_writer::sweep(folder));
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .max_blocking_threads(16)
        .enable_all()
        .build()
        .map_err(could_not)?;
    let served = runtime.block_on(async {
        let (port, listeners) = listen(options.port).await.map_err(could_not)?;
        let (access, token) = AccessCheck::new(port);
        let recordings = Arc::new(RecordingCache::default());
        let one_at_a_time = Arc::new(Semaphore::new(1));
        let readers = Readers::new(is_caseload);
        let case = |(folder, name): (&PathBuf, CaseName)| {
            Arc::new(CachedCase::new(
                folder.clone(),
                name,
                options.as_of,
                Arc::clone(&recordings),
                readers.clone(),
            ))
        };
        let cases = folders.iter().zip(names).map(case).collect();
        let app = Arc::new(App {
            access,
            cases,
            is_caseload,
            not_followed,
            made_up: options.made_up,
            is_patient: options.is_patient,
            uploads: Arc::new(Uploads::new(options.max_file_bytes)),
            one_at_a_time,
        });
        // What is seen first is read first.
        app.cases.iter().for_each(|cached| {
            let cached = Arc::clone(cached);
            tokio::spawn(async move { cached.read_within(Duration::ZERO).await });
        });
        let router = routes::router(app);
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
    folders: Vec<PathBuf>,
    names: Vec<CaseName>,
    not_followed: Vec<String>,
}

impl Place {
    /// Looks for cases: the folder itself, or the folders in it. A folder without a plan and without cases is a case whose plan
    /// is still to be written. Links are not followed: what they lead to may be another patient's, or listed already.
    fn of(place: &Path) -> Result<Self, Failure> {
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
        let entries: Vec<OsString> = folders.iter().map(|folder| entry_of(folder)).collect();
        let names = case_names::names(&entries.iter().map(OsString::as_os_str).collect::<Vec<_>>());
        Ok(Self { is_caseload, folders, names, not_followed })
    }
}

/// The last part of a folder's path, as it is written. A path such as `.` has no name of its own.
fn entry_of(folder: &Path) -> OsString {
    if let Some(name) = folder.file_name() {
        return name.to_owned();
    }
    let whole = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    whole.file_name().unwrap_or(whole.as_os_str()).to_owned()
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
