//! Mail and calendars, against a mail server of our own and readers from outside.

mod calendars;
mod catcher;
mod killed;
mod outbox;
mod pages;
mod secrets;

use concordant::changes::SetRelease;
use concordant::desk::accounts::{AccountId, By, Kind};
use concordant::desk::mail::{pass, want};
use concordant::desk::outgoing::{Passed, Place};
use concordant::desk::{Desk, bring_in_term, decide};
use concordant::files::{Folder, read_term};
use concordant::ids::SectionName;
use concordant::mail::{Post, PostSettings};
use concordant::term::{Ruling, Term};
use jiff::Timestamp;

use crate::app::TestApp;
use crate::week;
use catcher::{Catcher, Caught};

/// Where people find the course.
const PUBLIC: &str = "https://lab.example.edu";

/// A mail server, and a course of the week with addresses on its roster and something handed in.
struct Office {
    app: TestApp,
    catcher: Catcher,
    post: Post,
}

const ROSTER: &str = "student_id,family_name,given_name,section,email\n0042,Fennimore,Ada,A,ada@students.example\n\
    0043,Okafor-Lind,Tobias,A,tobias@students.example\n0051,Ruhl,Seraphine,B,s.ruhl@students.example\n";

const READINGS: &str = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n\
    0042,1,N-1,,0.00,20.40\n0042,2,N-1,,0.00,20.42\n0043,1,N-1,,0.00,25.03\n0043,2,N-1,,0.00,25.01\n";

fn folder() -> Folder {
    let mut folder = Folder::default();
    for (path, bytes) in week::folder()
        .files()
        .filter(|(path, _)| *path != "roster.csv")
    {
        folder.insert(path, bytes.to_vec()).expect("room");
    }
    for (path, text) in [("roster.csv", ROSTER), ("readings/acid.csv", READINGS)] {
        folder.insert(path, text.as_bytes().to_vec()).expect("room");
    }
    folder
}

fn post(catcher: &Catcher) -> Post {
    let settings = PostSettings {
        server: catcher.server(),
        from: "Chemistry lab <lab@example.edu>".into(),
        user: None,
        password: None,
    };
    Post::new(settings).expect("can be used")
}

async fn turn_on(desk: &Desk, at: Timestamp) {
    let id = AccountId {
        kind: Kind::Staff,
        login: "i.quell".into(),
    };
    want(desk, true, (&id, By::COMMAND_LINE), at)
        .await
        .expect("on");
}

impl Office {
    async fn open() -> Self {
        let term = read_term(&folder()).expect("is sound");
        Self::open_with(TestApp::spawn().await, term).await
    }

    async fn open_with(app: TestApp, term: Term) -> Self {
        let brought = bring_in_term(&app.desk, &term, "test", app.clock.now()).await;
        brought.unwrap_or_else(|why| panic!("{why}: {why:?}"));
        turn_on(&app.desk, app.clock.now()).await;
        let catcher = Catcher::start().await;
        let post = post(&catcher);
        Self { app, catcher, post }
    }

    async fn pass(&self) -> Passed {
        pass(
            Place::alone(&self.app.desk),
            (&self.post, PUBLIC),
            self.app.clock.now(),
        )
        .await
        .expect("gone through")
    }

    /// What came of a pass.
    async fn mail(&self) -> Vec<Caught> {
        self.pass().await;
        let mut caught = self.catcher.take();
        caught.sort_by(|a, b| a.to.cmp(&b.to));
        caught
    }

    async fn release(&self, section: Option<&str>, out: bool) {
        let change = SetRelease {
            experiment: crate::key("acid"),
            section: section.map(SectionName::new),
            released_at: out.then(|| self.app.clock.now()),
        };
        let made = self
            .app
            .desk
            .apply(vec![change.into()], "i.quell", self.app.clock.now());
        made.await.expect("done");
    }

    async fn decide(&self, student: &str, ruling: Ruling, why: &str) {
        let who = ("b.tarn", self.app.clock.now());
        let slot = crate::slot("acid", student);
        let done = decide(&self.app.desk, slot, ruling, why, 1, who).await;
        done.expect("decided");
    }
}

fn addresses(caught: &[Caught]) -> Vec<&str> {
    caught.iter().map(|one| one.to.as_str()).collect()
}
