//! What every handler is given.

use std::net::IpAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use jiff::{SignedDuration, Timestamp};

use super::demo::DemoPerson;
use super::kept::KeptPages;
use super::metrics::Metrics;
use super::place::Place;
use super::proving::LiveLines;
use super::sign_in::{Gate, Launches};
use super::visitor::Way;
use crate::campus::{Campus, Services};
use crate::desk::Desk;
use crate::desk::department::Department;
use crate::store::Store;

/// The desk, the settings and the clock.
#[derive(Clone)]
pub struct AppState {
    /// The course at work.
    pub desk: Arc<Desk>,
    /// Who may sign in: the course itself, or the people of its department.
    pub people: Arc<Desk>,
    /// The department that the course is one of; none where it stands alone.
    pub department: Option<Arc<Department>>,
    /// Where the pages stand.
    pub place: Place,
    /// As the server was started.
    pub settings: Settings,
    pub clock: Clock,
    /// Where people find the server, such as `https://lab.example.edu`; none: as they asked for it.
    pub public_address: Option<Arc<str>>,
    /// Answers to forms of students, to be gone back to.
    pub kept: KeptPages,
    /// Proxies of our own that are not on this machine.
    pub proxies: Arc<[IpAddr]>,
    pub metrics: Metrics,
    /// Who comes in by a button of the first page; empty but in the demonstration.
    pub demo: Arc<[DemoPerson]>,
    /// None: people sign in here only.
    pub campus: Option<Arc<Campus>>,
    /// Whether a mail server is known to the server.
    pub mail: bool,
    pub launches: Launches,
    /// Services of platforms.
    pub services: Arc<Services>,
    /// Attempts to sign in that are under way.
    pub gate: Gate,
    /// What the results of experiments under way say.
    pub live: LiveLines,
}

/// How the server meets its network.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Settings {
    /// Cookies travel over TLS only, and browsers are told to insist on it. Off only where people come by plain HTTP
    /// over loopback.
    pub secure_cookies: bool,
    /// A proxy of our own stands in front, on this machine or named: the client's address is the last one in its
    /// `X-Forwarded-For`.
    pub behind_proxy: bool,
}

/// Tells the time. In tests it can be put forward.
#[derive(Clone, Debug, Default)]
pub struct Clock {
    ahead_ms: Arc<AtomicI64>,
}

impl AppState {
    /// A desk with settings and the true time.
    pub fn new(desk: Arc<Desk>, settings: Settings) -> Self {
        Self {
            people: Arc::clone(&desk),
            department: None,
            place: Place::default(),
            desk,
            settings,
            clock: Clock::default(),
            public_address: None,
            kept: KeptPages::default(),
            proxies: Arc::new([]),
            metrics: Metrics::default(),
            demo: Arc::new([]),
            campus: None,
            mail: false,
            launches: Launches::default(),
            services: Arc::default(),
            gate: Gate::default(),
            live: LiveLines::default(),
        }
    }

    /// How people come to the sign-in page.
    pub fn way(&self) -> Way {
        Way {
            campus: self.campus.is_some(),
            plain: self.settings.secure_cookies && !self.settings.behind_proxy,
        }
    }

    /// Whether what a peer says of where a request comes from is believed.
    pub fn is_proxy(&self, peer: IpAddr) -> bool {
        self.settings.behind_proxy && (peer.is_loopback() || self.proxies.contains(&peer))
    }

    pub fn store(&self) -> &Store {
        self.desk.store()
    }
}

impl Clock {
    pub fn now(&self) -> Timestamp {
        let ahead = SignedDuration::from_millis(self.ahead_ms.load(Ordering::Relaxed));
        Timestamp::now()
            .saturating_add(ahead)
            .unwrap_or(Timestamp::MAX)
    }

    /// Puts every clock cloned from this one forward.
    pub fn put_forward(&self, by: SignedDuration) {
        let ms = i64::try_from(by.as_millis()).unwrap_or(i64::MAX);
        self.ahead_ms.fetch_add(ms, Ordering::Relaxed);
    }
}
