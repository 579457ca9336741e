//! Invented courses of any size, at a desk or behind a server.

use std::sync::Arc;

use concordant::course::{Course, Zone};
use concordant::desk::sessions::begin_session;
use concordant::desk::{self, Desk};
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::ids::{ExperimentKey, SectionName};
use concordant::procedure::Dates;
use concordant::simulate::{Plan, PlannedExperiment, invent};
use concordant::store::Store;
use concordant::store::accounts::{AccountId, Kind};
use concordant::term::Term;
use concordant::web::{AppState, Clock, Settings, serve};
use jiff::Timestamp;
use jiff::civil::date;
use reqwest::header::{CONTENT_TYPE, COOKIE};
use reqwest::{Client, RequestBuilder, Response, redirect};
use tempfile::TempDir;
use tokio::net::TcpListener;

/// Hardness by cylinder, which many read alike.
pub const HARDNESS: &str = "well-water-hardness";
pub const THREE: [&str; 3] = ["naoh-against-khp", HARDNESS, "eggshell-carbonate"];

/// Sections of so many students, who have handed in all of these and may correct it.
pub fn term(sections: usize, students: usize, experiments: &[&str]) -> Term {
    let glassware = shipped_glassware();
    let planned = |(place, key): (usize, &&str)| {
        let text = shipped_procedure(key).expect("shipped");
        let procedure = read_procedure(key, &text, &glassware).expect("sound");
        let week = 5 + 7 * i8::try_from(place).expect("few");
        PlannedExperiment {
            key: ExperimentKey::new(*key),
            procedure: ((*key).to_owned(), text, procedure),
            dates: Dates {
                opens: date(2026, 10, week).at(8, 0, 0, 0),
                due: date(2026, 10, week + 4).at(17, 0, 0, 0),
            },
            prefix: key[..1].to_uppercase(),
            unknowns: 12,
            missing: 0,
            open: false,
            bad_bottle: None,
            copying: Vec::new(),
        }
    };
    let plan = Plan {
        course: Course {
            title: "Bench".into(),
            term: "t".into(),
            zone: Zone::new("Atlantic/Reykjavik").expect("a zone"),
            language: concordant::language::Language::default(),
        },
        sections: (1..=sections)
            .map(|n| SectionName::new(format!("S{n}")))
            .collect(),
        students_per_section: students,
        experiments: experiments.iter().enumerate().map(planned).collect(),
        seed: 4,
    };
    let mut term = invent(&plan, glassware).expect("can be carried out");
    term.released.clear();
    term
}

/// A course in a database of its own, gone when dropped.
pub struct AtDesk {
    pub desk: Arc<Desk>,
    pub folder: TempDir,
}

impl AtDesk {
    pub async fn of(term: &Term) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let store = Store::open(&folder.path().join("course.db")).await;
        let desk = Arc::new(
            Desk::open(store.expect("a database"))
                .await
                .expect("a desk"),
        );
        let brought = desk::bring_in_term(&desk, term, "bench", now()).await;
        brought.expect("imported");
        Self { desk, folder }
    }

    /// Whether what is kept is what judging everything anew gives.
    pub async fn verify(&self) {
        let (judged, differ) = desk::verify(&self.desk).await.expect("read");
        println!("verified: {judged} judged anew, {} differ", differ.len());
        assert!(differ.is_empty(), "{:?}", differ.first());
    }
}

/// A server on loopback.
pub struct Served {
    pub at: AtDesk,
    pub clock: Clock,
    address: String,
}

impl Served {
    pub async fn of(term: &Term) -> Self {
        let at = AtDesk::of(term).await;
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = format!("http://{}", listener.local_addr().expect("an address"));
        let clock = Clock::default();
        clock.put_forward(now().duration_since(clock.now()));
        let state = AppState {
            clock: clock.clone(),
            ..AppState::new(Arc::clone(&at.desk), Settings::default())
        };
        tokio::spawn(serve(state, listener, std::future::pending()));
        Self { at, clock, address }
    }

    /// Somebody with a session of their own.
    pub async fn visitor(&self, kind: Kind, login: &str) -> Visitor {
        Visitor::of(
            &self.at.desk,
            &self.address,
            (kind, login),
            self.clock.now(),
        )
        .await
    }

    pub async fn coordinator(&self) -> Visitor {
        self.visitor(Kind::Staff, "m.thorne").await
    }
}

pub struct Visitor {
    address: String,
    client: Client,
    cookie: String,
    form_token: String,
}

impl Visitor {
    /// Somebody whose sessions that desk keeps, of the pages below an address.
    pub async fn of(
        desk: &Desk,
        address: &str,
        (kind, login): (Kind, &str),
        at: Timestamp,
    ) -> Self {
        let login = login.to_owned();
        let id = AccountId { kind, login };
        let mut write = desk.store().write().await.expect("a write");
        let kept = write.accounts().keep_account(&id, at).await;
        kept.expect("an account");
        let token = begin_session(&mut write, &id, at).await;
        let token = token.expect("a session");
        write.commit().await.expect("on disk");
        let client = Client::builder().redirect(redirect::Policy::none());
        Self {
            address: address.to_owned(),
            client: client.build().expect("a client"),
            cookie: format!("concordant={}", token.as_str()),
            form_token: token.form_token(),
        }
    }

    /// Status and length of a page.
    pub async fn get(&self, path: &str) -> (u16, usize) {
        let request = self.client.get(format!("{}{path}", self.address));
        self.send(request).await
    }

    /// Status and length of the answer to a form.
    pub async fn post(&self, path: &str, fields: &[(String, String)]) -> (u16, usize) {
        let body = form_urlencoded::Serializer::new(String::new())
            .append_pair("csrf", &self.form_token)
            .extend_pairs(fields)
            .finish();
        let request = self.client.post(format!("{}{path}", self.address));
        let request = request
            .header(CONTENT_TYPE, "application/x-www-form-urlencoded")
            .body(body);
        self.send(request).await
    }

    /// A page that goes on, to be read bit by bit.
    pub async fn stream(&self, path: &str) -> Response {
        let request = self.client.get(format!("{}{path}", self.address));
        let answer = request.header(COOKIE, &self.cookie).send().await;
        answer.expect("an answer")
    }

    async fn send(&self, request: RequestBuilder) -> (u16, usize) {
        let answer = request.header(COOKIE, &self.cookie).send().await;
        let answer = answer.expect("an answer");
        let status = answer.status().as_u16();
        (status, answer.bytes().await.expect("a body").len())
    }
}

/// After the courses have begun.
pub fn now() -> Timestamp {
    "2026-10-30T12:00:00Z".parse().expect("a time")
}
