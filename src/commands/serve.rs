//! `serve`.

use std::net::{IpAddr, SocketAddr};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::{Args, ValueEnum};
use jiff::Timestamp;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;
use tracing::level_filters::LevelFilter;
use tracing_subscriber::filter::Targets;
use tracing_subscriber::layer::SubscriberExt as _;
use tracing_subscriber::util::SubscriberInitExt as _;

use super::post::MailLine;
use super::sending::Sender;
use super::{Failure, open_or_make};
use crate::campus::{Campus, CampusFault, Provider, ProviderSettings, ProxyHeader};
use crate::course::{Course, Zone};
use crate::desk::Desk;
use crate::desk::department::Department;
use crate::desk::outgoing::Outgoing;
use crate::language::Language;
use crate::store::Shelf;
use crate::web::{self, AppState, MOST_OPEN, Place, Settings};

/// How a course is served. Each setting can be given by its variable as well.
#[derive(Debug, Args)]
pub struct ServeLine {
    /// A folder of courses: a file for each, and people.db
    #[arg(required_unless_present = "db", conflicts_with = "db")]
    folder: Option<PathBuf>,
    /// The database file of one course that stands alone
    #[arg(long, value_name = "FILE")]
    db: Option<PathBuf>,
    /// Make the folder or the database, which is not there yet
    #[arg(long)]
    new: bool,
    /// With --new: the name of the department
    #[arg(long, value_name = "NAME", default_value = "Courses", requires = "new")]
    name: String,
    /// With --new: the time zone in which the days of the department are
    #[arg(long, value_name = "ZONE", default_value = "UTC", requires = "new")]
    time_zone: String,
    /// So many courses of a folder are held in memory at once; others are opened when they are asked for
    #[arg(long, value_name = "N", default_value_t = MOST_OPEN, env = "CONCORDANT_COURSES")]
    courses: usize,
    /// Address to listen on
    #[arg(long, default_value = "127.0.0.1:4173", env = "CONCORDANT_LISTEN")]
    listen: SocketAddr,
    /// Where people find the server, for the labels of bottles and the institution's provider, such as
    /// https://lab.example.edu, or https://www.example.edu/lab where a proxy puts a path before it
    #[arg(long, value_name = "ADDRESS", env = "CONCORDANT_PUBLIC_URL")]
    public_url: Option<String>,
    /// 1 for a proxy with TLS in front on this machine, the addresses of proxies elsewhere (with commas), 0 for none
    #[arg(
        long,
        value_name = "ADDRESSES",
        env = "CONCORDANT_BEHIND_PROXY",
        default_value = "0"
    )]
    behind_proxy: String,
    /// The header in which that proxy names whom the institution has signed in
    #[arg(
        long,
        value_name = "NAME",
        env = "CONCORDANT_CAMPUS_HEADER",
        requires = "campus_secret_file",
        conflicts_with = "campus_issuer"
    )]
    campus_header: Option<String>,
    /// The institution's provider of OpenID Connect, as it writes its own issuer
    #[arg(
        long,
        value_name = "ADDRESS",
        env = "CONCORDANT_CAMPUS_ISSUER",
        requires = "campus_client"
    )]
    campus_issuer: Option<String>,
    /// What this server is called at the provider
    #[arg(long, value_name = "ID", env = "CONCORDANT_CAMPUS_CLIENT")]
    campus_client: Option<String>,
    /// A file with the secret that the proxy sends in X-Concordant-Secret, or that the provider gave to this server
    #[arg(long, value_name = "FILE", env = "CONCORDANT_CAMPUS_SECRET_FILE")]
    campus_secret_file: Option<PathBuf>,
    #[command(flatten)]
    mail: MailLine,
    /// Address on which figures for monitoring are served, at /metrics; on loopback or a network of machines only
    #[arg(long, value_name = "ADDR", env = "CONCORDANT_METRICS")]
    metrics: Option<SocketAddr>,
    /// How the log is written on stderr
    #[arg(long, value_enum, default_value_t = LogFormat::Text, env = "CONCORDANT_LOG_FORMAT")]
    log: LogFormat,
    /// How much is logged: warn, or info for every request, by ids only
    #[arg(
        long,
        value_name = "LEVEL",
        default_value = "warn",
        env = "CONCORDANT_LOG"
    )]
    log_level: String,
}

/// How the log is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum LogFormat {
    Text,
    /// An object on each line
    Json,
}

/// Serves a folder of courses, or one course, until it is asked to stop.
pub async fn run(line: ServeLine) -> Result<(), Failure> {
    let public = line.public_url.as_deref().map(public_address).transpose()?;
    let (behind_proxy, proxies) = proxies(&line.behind_proxy)?;
    let campus = campus(&line, public.as_deref(), behind_proxy)?;
    let mailing = line.mail.outgoing(public.as_ref())?;
    log_to_stderr(&line.log_level, line.log)?;
    let now = Timestamp::now();
    let (department, desk, what) = match (&line.folder, &line.db) {
        (Some(folder), _) => {
            if line.new {
                found(folder, &line.name, &line.time_zone, now).await?;
            }
            let department = open_department(folder, now).await?;
            let (people, department) = (Arc::clone(department.people()), Arc::new(department));
            #[cfg(feature = "postgres")]
            department.keep_up();
            (Some(department), people, folder)
        }
        (None, Some(db)) => {
            let store = open_or_make((db, line.new)).await?;
            store.check_pages().await?;
            (None, Arc::new(Desk::open(store).await?), db)
        }
        (None, None) => return Err(Failure::Other("expected FOLDER or --db".into())),
    };
    let listener = bind(line.listen).await?;
    let state = AppState {
        place: Place::below(public.as_deref().map_or("", path_of)),
        public_address: public,
        proxies,
        campus: campus.map(Arc::new),
        mail: mailing.is_some(),
        ..AppState::new(desk, settings(&listener, behind_proxy)?)
    };
    let mut figures = None;
    if let Some(metrics) = line.metrics {
        let listener = bind(metrics).await?;
        eprintln!("figures on {}/metrics", address(&listener)?);
        let serving = web::serve_metrics(state.clone(), listener);
        figures = Some(tokio::spawn(serving));
    }
    eprintln!("serving {} on {}", Shelf::shown(what), address(&listener)?);
    let grades = Outgoing::Grades(Arc::clone(&state.services));
    let senders = [Some(grades), mailing].into_iter().flatten().map(|what| {
        let of = (Arc::clone(&state.desk), department.clone());
        Sender::start(what, of, state.clock.clone())
    });
    let senders = senders.collect();
    serve(
        (department, line.courses),
        state,
        listener,
        Beside { figures, senders },
    )
    .await
}

/// Makes an empty folder one of courses.
pub(super) async fn found(
    folder: &Path,
    name: &str,
    zone: &str,
    now: Timestamp,
) -> Result<(), Failure> {
    let zone = Zone::new(zone).map_err(|what| Failure::Other(format!("--time-zone: {what}")))?;
    let course = Course {
        title: name.to_owned(),
        term: String::new(),
        zone,
        language: Language::default(),
    };
    Ok(Department::found(Shelf::at(folder).await?, course, now).await?)
}

/// Opens a folder that is one of courses already.
pub(super) async fn open_department(folder: &Path, now: Timestamp) -> Result<Department, Failure> {
    let shelf = Shelf::at(folder).await?;
    if !shelf.is_one().await? {
        let people = match Shelf::is_address(folder) {
            true => "people",
            false => "people.db",
        };
        return Err(Failure::Other(format!(
            "found no {people} in {}, expected a folder of courses; --new makes one",
            shelf.in_words()
        )));
    }
    Ok(Department::open(shelf, now).await?)
}

/// The institution's own sign-in, if the command line names it.
fn campus(
    line: &ServeLine,
    public: Option<&str>,
    behind_proxy: bool,
) -> Result<Option<Campus>, Failure> {
    let other = |why: CampusFault| Failure::Other(why.to_string());
    let secret = line.campus_secret_file.as_deref().map(secret).transpose()?;
    if let Some(header) = &line.campus_header {
        if !behind_proxy {
            return Err(Failure::Other(
                "--campus-header: found no proxy, expected --behind-proxy to name the one that sends it".into(),
            ));
        }
        let proxy = ProxyHeader::new(header, &secret.unwrap_or_default()).map_err(other)?;
        return Ok(Some(Campus::Proxy(proxy)));
    }
    let (Some(issuer), Some(client)) = (&line.campus_issuer, &line.campus_client) else {
        return Ok(None);
    };
    let public = public.ok_or_else(|| {
        Failure::Other(
            "--campus-issuer: found no --public-url, expected the address to which the provider sends people back".into(),
        )
    })?;
    let settings = ProviderSettings {
        issuer: issuer.clone(),
        client: client.clone(),
        secret,
        back: format!("{public}/sign-in/campus/back"),
    };
    let provider = Provider::new(settings).map_err(other)?;
    Ok(Some(Campus::Provider(Arc::new(provider))))
}

/// What stands in a file, without the line end that editors add.
pub(super) fn secret(file: &Path) -> Result<String, Failure> {
    let text = std::fs::read_to_string(file)
        .map_err(|why| Failure::Other(format!("cannot read {}: {why}", file.display())))?;
    Ok(text.trim_end_matches(['\n', '\r']).to_owned())
}

/// Begins the log. Before the desk is opened, which may have something to say.
pub(super) fn log_to_stderr(level: &str, format: LogFormat) -> Result<(), Failure> {
    // targets and levels, not patterns: those would need a regex engine for every line
    let refused = || {
        Failure::Other(format!(
            "--log-level: found \u{201c}{level}\u{201d}, expected error, warn, info, debug or trace"
        ))
    };
    // a word that is no level would be taken for a part of the program
    if !level.contains('=') && level.parse::<LevelFilter>().is_err() {
        return Err(refused());
    }
    let wanted: Targets = level.parse().map_err(|_| refused())?;
    let lines = tracing_subscriber::fmt()
        .with_max_level(LevelFilter::TRACE)
        .with_writer(std::io::stderr);
    match format {
        LogFormat::Text => lines.finish().with(wanted).init(),
        LogFormat::Json => lines.json().finish().with(wanted).init(),
    }
    Ok(())
}

/// Takes the address.
pub(super) async fn bind(listen: SocketAddr) -> Result<TcpListener, Failure> {
    TcpListener::bind(listen)
        .await
        .map_err(|why| Failure::Other(format!("cannot listen on {listen}: {why}")))
}

/// The path of an address.
fn path_of(address: &str) -> &str {
    let host = address.split_once("://").map_or(address, |(_, host)| host);
    host.find('/').map_or("", |at| &host[at..])
}

/// The address that labels carry: scheme and host, and what a proxy puts before all paths.
pub(super) fn public_address(text: &str) -> Result<Arc<str>, Failure> {
    let text = text.trim().trim_end_matches('/');
    let host = text
        .strip_prefix("https://")
        .or_else(|| text.strip_prefix("http://"));
    let is_host = |host: &str| {
        let (host, path) = host.split_once('/').unwrap_or((host, ""));
        let known = |c: char| c.is_ascii_alphanumeric() || "-.:[]".contains(c);
        let of_path = |c: char| c.is_ascii_alphanumeric() || "-._~/".contains(c);
        !host.is_empty() && host.chars().all(known) && path.chars().all(of_path)
    };
    if host.is_some_and(is_host) {
        Ok(text.into())
    } else {
        Err(Failure::Other(format!(
            "--public-url: found \u{201c}{text}\u{201d}, expected an address such as https://lab.example.edu"
        )))
    }
}

/// Where a browser finds it.
pub(super) fn address(listener: &TcpListener) -> Result<String, Failure> {
    let at = listener
        .local_addr()
        .map_err(|why| Failure::Other(format!("no address: {why}")))?;
    Ok(format!("http://{at}"))
}

/// Whether a proxy stands in front, and which are believed that are not on this machine.
fn proxies(text: &str) -> Result<(bool, Arc<[IpAddr]>), Failure> {
    match text.trim().to_lowercase().as_str() {
        "" | "0" | "no" | "false" | "off" => return Ok((false, Arc::new([]))),
        "1" | "yes" | "true" | "on" => return Ok((true, Arc::new([]))),
        _ => {}
    }
    let named = text.split([',', ' ']).filter(|one| !one.is_empty());
    let named = named.map(|one| {
        let address = one.parse::<IpAddr>().map(|address| address.to_canonical());
        address.map_err(|_| {
            Failure::Other(format!(
                "CONCORDANT_BEHIND_PROXY: found \u{201c}{one}\u{201d}, expected 0, 1 for a proxy on this machine, or the addresses of proxies"
            ))
        })
    });
    Ok((true, named.collect::<Result<_, _>>()?))
}

/// How a server that listens there meets its network; says so where nobody can sign in.
pub(super) fn settings(listener: &TcpListener, behind_proxy: bool) -> Result<Settings, Failure> {
    let local = listener
        .local_addr()
        .map_err(|why| Failure::Other(format!("no address: {why}")))?;
    if !behind_proxy && !local.ip().is_loopback() {
        eprintln!(
            "{local} is open to the network by plain HTTP, over which browsers keep nobody signed in: put a proxy that speaks TLS in front and set CONCORDANT_BEHIND_PROXY, or listen on 127.0.0.1"
        );
    }
    // plain HTTP is for loopback only; a proxy in front brings TLS
    Ok(Settings {
        secure_cookies: behind_proxy || !local.ip().is_loopback(),
        behind_proxy,
    })
}

/// What goes on beside the pages.
#[derive(Default)]
pub(super) struct Beside {
    figures: Option<JoinHandle<std::io::Result<()>>>,
    senders: Vec<Sender>,
}

/// Serves until it is asked to stop, then ends what is under way.
pub(super) async fn serve(
    (department, most): (Option<Arc<Department>>, usize),
    state: AppState,
    listener: TcpListener,
    beside: Beside,
) -> Result<(), Failure> {
    let desk = Arc::clone(&state.desk);
    let stop = web::asked_to_stop();
    let served = match department {
        Some(department) => web::serve_courses(department, state, most, listener, stop).await,
        None => web::serve(state, listener, stop).await,
    };
    served.map_err(|why| Failure::Other(format!("the server stopped: {why}")))?;
    for sender in beside.senders {
        sender.stop().await;
    }
    if let Some(figures) = beside.figures {
        figures.abort();
        // it has ended now, and lets go of the desk
        let _ended = figures.await;
    }
    if let Some(desk) = Arc::into_inner(desk) {
        desk.close().await;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_proxy_is_believed_unless_it_is_meant() {
        for (text, behind, named) in [
            ("", false, ""),
            ("0", false, ""),
            ("False", false, ""),
            ("no", false, ""),
            ("1", true, ""),
            ("10.0.0.5, 2001:db8::7", true, "10.0.0.5 2001:db8::7"),
        ] {
            let (found, proxies) = proxies(text).expect(text);
            let proxies: Vec<String> = proxies.iter().map(ToString::to_string).collect();
            assert_eq!(
                (found, proxies.join(" ")),
                (behind, named.to_owned()),
                "{text}"
            );
        }
        let why = proxies("10.0.0.5,nginx")
            .expect_err("is no address")
            .to_string();
        assert!(why.contains("\u{201c}nginx\u{201d}"), "{why}");
    }
}
