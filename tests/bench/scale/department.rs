//! Two courses of one folder under load beside one another.

use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use concordant::course::{Course, Zone};
use concordant::desk::department::Department;
use concordant::ids::CourseKey;
use concordant::store::accounts::Kind;
use concordant::term::Term;
use concordant::web::{AppState, Clock, Settings, serve_courses};
use tokio::net::TcpListener;

use crate::courses::{AtDesk, THREE, Visitor, now, term};
use crate::load::{Bench, at_once, hardness};
use crate::{cpu, ms, quantile};

/// At the benches of each course.
const BENCHES: usize = 32;

/// Hand-ins in one course alone, then in two at once, and a page of the one while the other is idle and at work.
pub async fn beside() {
    println!("two courses of 1,200 x 3 in one folder, {BENCHES} benches each");
    let term = term(50, 24, &THREE);
    let folder = tempfile::tempdir().expect("a folder");
    let served = TwoCourses::of(&term, folder.path()).await;
    let alone = served.load(&term, &["alpha"], 0).await;
    let both = served.load(&term, &["alpha", "beta"], 1).await;
    println!(
        "  alone {:.0} per second, p50 {:.1} ms, p99 {:.1} ms, {:.2} ms of CPU each, the client's included",
        alone.rate,
        ms(alone.p50),
        ms(alone.p99),
        ms(alone.cpu)
    );
    println!(
        "  both  {:.0} per second together ({:.2} of alone), p50 {:.1} ms, p99 {:.1} ms, {:.2} ms of CPU each",
        both.rate,
        both.rate / alone.rate,
        ms(both.p50),
        ms(both.p99),
        ms(both.cpu)
    );
    let reader = served.visitor("alpha", &term.students[0].id).await;
    let mut idle = Vec::new();
    for _ in 0..300 {
        idle.push(looked(&reader).await);
    }
    let work = tokio::spawn(at_once(served.benches(&term, "beta", 2).await));
    let mut busy = Vec::new();
    while !work.is_finished() {
        busy.push(looked(&reader).await);
    }
    println!(
        "  a page of alpha: p50 {:.1} ms, p99 {:.1} ms while beta is idle; {:.1} and {:.1} while its benches hand in ({} pages)",
        ms(quantile(&mut idle, 0.5)),
        ms(quantile(&mut idle, 0.99)),
        ms(quantile(&mut busy, 0.5)),
        ms(quantile(&mut busy, 0.99)),
        busy.len()
    );
}

async fn looked(reader: &Visitor) -> Duration {
    let clock = Instant::now();
    let (status, _) = reader.get("/student").await;
    assert_eq!(status, 200);
    clock.elapsed()
}

struct Load {
    rate: f64,
    p50: Duration,
    p99: Duration,
    cpu: Duration,
}

struct TwoCourses {
    department: Arc<Department>,
    address: String,
    clock: Clock,
}

impl TwoCourses {
    async fn of(term: &Term, folder: &Path) -> Self {
        let course = Course {
            title: "Department".into(),
            term: String::new(),
            zone: Zone::new("Atlantic/Reykjavik").expect("a zone"),
            language: concordant::language::Language::default(),
        };
        Department::found(folder, course, now())
            .await
            .expect("founded");
        let department = Department::open(folder, now()).await.expect("a department");
        for key in ["alpha", "beta"] {
            let AtDesk { desk, folder } = AtDesk::of(term).await;
            let alone = Arc::into_inner(desk).expect("nobody else has it");
            alone.close().await;
            let file = folder.path().join("course.db");
            let key = CourseKey::new(key);
            let taken = department.take_in(&file, &key, now());
            taken.await.expect("taken in");
        }
        let department = Arc::new(department);
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
        let address = format!("http://{}", listener.local_addr().expect("an address"));
        let clock = Clock::default();
        clock.put_forward(now().duration_since(clock.now()));
        let state = AppState {
            clock: clock.clone(),
            ..AppState::new(Arc::clone(department.people()), Settings::default())
        };
        let until = std::future::pending();
        tokio::spawn(serve_courses(
            Arc::clone(&department),
            state,
            8,
            listener,
            until,
        ));
        Self {
            department,
            address,
            clock,
        }
    }

    async fn visitor(&self, key: &str, student: &str) -> Visitor {
        let address = format!("{}/c/{key}", self.address);
        let people = self.department.people();
        Visitor::of(people, &address, (Kind::Student, student), self.clock.now()).await
    }

    /// Benches of a course, others in each turn.
    async fn benches(&self, term: &Term, key: &str, turn: usize) -> Vec<Bench> {
        let mut benches = Vec::new();
        for slot in hardness(term).skip(turn * BENCHES).take(BENCHES) {
            let visitor = self.visitor(key, &slot.student).await;
            benches.push(Bench::of(visitor, term, slot));
        }
        benches
    }

    async fn load(&self, term: &Term, keys: &[&str], turn: usize) -> Load {
        let mut benches = Vec::new();
        for key in keys {
            benches.extend(self.benches(term, key, turn).await);
        }
        let (clock, used) = (Instant::now(), cpu());
        let mut times = at_once(benches).await;
        Load {
            rate: times.len() as f64 / clock.elapsed().as_secs_f64(),
            p50: quantile(&mut times, 0.5),
            p99: quantile(&mut times, 0.99),
            cpu: (cpu() - used) / u32::try_from(times.len()).expect("few"),
        }
    }
}
