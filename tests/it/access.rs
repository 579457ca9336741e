//! Who may reach what: every route, every role, every owner. A route that is not in the table fails the test.

pub mod office;
mod prep;
mod sources;
mod staff;

use std::path::Path;

use concordant::desk::bring_in;
use concordant::files::Folder;

use self::prep::PREP;
use self::sources::sources;
use self::staff::STAFF;
use crate::app::{Person, TestApp};
use crate::week;

/// Who may use a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Open {
    /// Anybody.
    All,
    /// Nobody, unless the server is set up for it.
    Nobody,
    /// Anybody signed in.
    SignedIn,
    /// The student it belongs to, 0042.
    Student,
    /// The assistant of section A and the coordinator.
    SectionA,
    /// Assistants and the coordinator.
    Staff,
    /// Anybody but students.
    EveryStaff,
    /// The coordinator.
    Coordinator,
    /// The prep room and the coordinator.
    Prep,
}
use Open::{All, Coordinator, EveryStaff, Nobody, Prep, SectionA, SignedIn, Staff, Student};

/// Method, path as the router has it, the path asked for, who may.
const TABLE: [(&str, &str, &str, Open); 76] = [
    // of a department alone
    ("GET", "/courses", "/courses", Nobody),
    ("POST", "/courses", "/courses", Nobody),
    ("GET", "/courses/{key}", "/courses/acid", Nobody),
    ("POST", "/courses/{key}", "/courses/acid", Nobody),
    (
        "POST",
        "/courses/{key}/earlier",
        "/courses/acid/earlier",
        Nobody,
    ),
    ("GET", "/people", "/people", Nobody),
    ("POST", "/people", "/people", Nobody),
    ("POST", "/people/part", "/people/part", Nobody),
    ("POST", "/people/code", "/people/code", Nobody),
    ("GET", "/healthz", "/healthz", All),
    ("GET", "/static/{*path}", "/static/style.css", All),
    ("GET", "/sign-in", "/sign-in", All),
    ("GET", "/claim", "/claim", All),
    ("GET", "/guide", "/guide", All),
    ("GET", "/guide/{topic}", "/guide/files", All),
    ("GET", "/", "/", SignedIn),
    ("GET", "/password", "/password", SignedIn),
    ("GET", "/access", "/access", SignedIn),
    ("GET", "/mail", "/mail", SignedIn),
    ("GET", "/second-step", "/second-step", SignedIn),
    ("GET", "/student", "/student", Student),
    (
        "GET",
        "/student/receipts/{number}",
        "/student/receipts/1",
        Student,
    ),
    (
        "GET",
        "/student/experiments/{key}",
        "/student/experiments/acid",
        Student,
    ),
    (
        "GET",
        "/student/experiments/{key}/bench",
        "/student/experiments/acid/bench",
        Student,
    ),
    (
        "POST",
        "/student/experiments/{key}/bench",
        "/student/experiments/acid/bench",
        Student,
    ),
    (
        "POST",
        "/student/experiments/{key}/bench/draft",
        "/student/experiments/acid/bench/draft",
        Student,
    ),
    (
        "POST",
        "/student/experiments/{key}/bench/curve",
        "/student/experiments/acid/bench/curve",
        Student,
    ),
    (
        "POST",
        "/student/experiments/{key}/hand-in",
        "/student/experiments/acid/hand-in",
        Student,
    ),
    (
        "POST",
        "/student/experiments/{key}/answer",
        "/student/experiments/acid/answer",
        Student,
    ),
    (
        "POST",
        "/student/experiments/{key}/note",
        "/student/experiments/acid/note",
        Student,
    ),
    (
        "GET",
        "/student/bottle/{code}",
        "/student/bottle/U-1",
        Student,
    ),
    (
        "GET",
        "/student/bottle/{experiment}/{code}",
        "/student/bottle/acid/u-1",
        Student,
    ),
    ("GET", "/student/record", "/student/record", Student),
    (
        "GET",
        "/student/record.json",
        "/student/record.json",
        Student,
    ),
    ("GET", "/course", "/course", Coordinator),
    ("POST", "/course/new", "/course/new", Coordinator),
    ("POST", "/course/folder", "/course/folder", Coordinator),
    ("GET", "/course/roster", "/course/roster", Coordinator),
    (
        "POST",
        "/course/roster/preview",
        "/course/roster/preview",
        Coordinator,
    ),
    (
        "POST",
        "/course/roster/confirm",
        "/course/roster/confirm",
        Coordinator,
    ),
    ("POST", "/course/slips", "/course/slips", Coordinator),
    ("GET", "/course/staff", "/course/staff", Coordinator),
    ("POST", "/course/staff", "/course/staff", Coordinator),
    (
        "GET",
        "/course/experiments",
        "/course/experiments",
        Coordinator,
    ),
    (
        "POST",
        "/course/experiments",
        "/course/experiments",
        Coordinator,
    ),
    (
        "POST",
        "/course/procedures",
        "/course/procedures",
        Coordinator,
    ),
    (
        "GET",
        "/course/experiments/{key}",
        "/course/experiments/acid",
        Coordinator,
    ),
    (
        "POST",
        "/course/experiments/{key}/dates",
        "/course/experiments/acid/dates",
        Coordinator,
    ),
    (
        "POST",
        "/course/experiments/{key}/dates/preview",
        "/course/experiments/acid/dates/preview",
        Coordinator,
    ),
    (
        "POST",
        "/course/experiments/{key}/lots",
        "/course/experiments/acid/lots",
        Coordinator,
    ),
    (
        "GET",
        "/course/experiments/{key}/unknowns",
        "/course/experiments/acid/unknowns",
        Coordinator,
    ),
    (
        "POST",
        "/course/experiments/{key}/unknowns",
        "/course/experiments/acid/unknowns",
        Coordinator,
    ),
    (
        "POST",
        "/course/experiments/{key}/unknowns/many",
        "/course/experiments/acid/unknowns/many",
        Coordinator,
    ),
    (
        "GET",
        "/course/experiments/{key}/issue",
        "/course/experiments/acid/issue",
        Coordinator,
    ),
    (
        "POST",
        "/course/experiments/{key}/issue",
        "/course/experiments/acid/issue",
        Coordinator,
    ),
    (
        "GET",
        "/course/experiments/{key}/issue/list",
        "/course/experiments/acid/issue/list",
        Coordinator,
    ),
    (
        "GET",
        "/course/experiments/{key}/release",
        "/course/experiments/acid/release",
        Coordinator,
    ),
    (
        "POST",
        "/course/experiments/{key}/truth",
        "/course/experiments/acid/truth",
        Coordinator,
    ),
    ("GET", "/course/lots", "/course/lots", Coordinator),
    ("POST", "/course/lots", "/course/lots", Coordinator),
    ("GET", "/course/files", "/course/files", Coordinator),
    ("GET", "/course/audit", "/course/audit", Coordinator),
    ("GET", "/course/sections", "/course/sections", Coordinator),
    (
        "POST",
        "/course/lots/preview",
        "/course/lots/preview",
        Coordinator,
    ),
    (
        "POST",
        "/course/experiments/{key}/unknowns/preview",
        "/course/experiments/acid/unknowns/preview",
        Coordinator,
    ),
    (
        "GET",
        "/course/gradebook.csv",
        "/course/gradebook.csv",
        Coordinator,
    ),
    (
        "GET",
        "/course/results.csv",
        "/course/results.csv",
        Coordinator,
    ),
    ("GET", "/course/flags.csv", "/course/flags.csv", Coordinator),
    ("GET", "/course/audit.csv", "/course/audit.csv", Coordinator),
    (
        "GET",
        "/course/export.zip",
        "/course/export.zip",
        Coordinator,
    ),
    (
        "GET",
        "/course/gradebook-exact.csv",
        "/course/gradebook-exact.csv",
        Coordinator,
    ),
    ("POST", "/course/fill", "/course/fill", Coordinator),
    (
        "POST",
        "/course/fill/preview",
        "/course/fill/preview",
        Coordinator,
    ),
    (
        "POST",
        "/course/fill/download",
        "/course/fill/download",
        Coordinator,
    ),
    (
        "POST",
        "/course/oneroster.zip",
        "/course/oneroster.zip",
        Coordinator,
    ),
    (
        "POST",
        "/course/roster/oneroster",
        "/course/roster/oneroster",
        Coordinator,
    ),
];

/// Routes that change what the others need; tried last, by those who may not use them first.
const LAST: [(&str, &str, &str, Open); 4] = [
    (
        "POST",
        "/course/experiments/{key}/release",
        "/course/experiments/acid/release",
        Coordinator,
    ),
    (
        "POST",
        "/course/experiments/{key}/withdraw",
        "/course/experiments/acid/withdraw",
        Coordinator,
    ),
    ("POST", "/access", "/access", SignedIn),
    ("POST", "/sign-out", "/sign-out", All),
];

/// Every page that is asked for: its route, the path asked for here, who may.
pub fn pages() -> Vec<(&'static str, &'static str, Open)> {
    let office = office::ROUTES
        .iter()
        .map(|(method, route)| (*method, *route, *route, Coordinator));
    let routes = TABLE.into_iter().chain(STAFF).chain(PREP);
    let routes = routes.chain(LAST).chain(office);
    routes
        .filter(|(method, ..)| *method == "GET")
        .map(|(_, route, path, open)| (route, path, open))
        .collect()
}

/// What an answer says of access: let in whatever became of it, or refused (sent to sign in, forbidden, denied).
fn is_let_in(status: u16, location: &str) -> bool {
    match status {
        401 | 403 | 404 => false,
        303 => !location.starts_with("/sign-in?"),
        _ => true,
    }
}

async fn ask(person: &mut Person, method: &str, path: &str) -> (u16, String) {
    if path.contains("/live") {
        // it goes on for as long as somebody looks
        let answer = person.request(reqwest::Method::GET, path).send().await;
        let answer = answer.expect("an answer");
        let to = answer.headers().get("location");
        let to = to.map(|to| to.to_str().expect("is text").to_owned());
        return (answer.status().as_u16(), to.unwrap_or_default());
    }
    let answer = match method {
        "GET" => person.get(path).await,
        // a form with nothing in it: who may use the route is told what is missing
        _ if person.cookie().is_none() => person.post_open(path, &[]).await,
        _ => person.post_form(path, &[]).await,
    };
    (answer.status, answer.location().to_owned())
}

/// A course of a week, with a hand-in, as a folder.
pub fn folder() -> Folder {
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        folder.insert(path, bytes.to_vec()).expect("room");
    }
    let readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n0042,1,N-1,,0.00,20.40\n0042,2,N-1,,0.00,20.42\n";
    folder
        .insert("readings/acid.csv", readings.as_bytes().to_vec())
        .expect("room");
    folder
}

async fn app() -> TestApp {
    let app = week::app().await;
    bring_in(&app.desk, &folder(), "test", app.clock.now())
        .await
        .expect("imported");
    app
}

#[tokio::test]
async fn every_route_is_open_to_those_it_is_for_and_to_nobody_else() {
    let app = app().await;
    let mut people = [
        ("nobody", app.stranger()),
        ("0042", app.person("0042").await),
        ("0043", app.person("0043").await),
        ("b.tarn", app.person("b.tarn").await),
        ("m.sedge", app.person("m.sedge").await),
        ("i.quell", app.person("i.quell").await),
        ("f.alder", app.person("f.alder").await),
    ];
    let mut asked = 0;
    let receipt = {
        let view = app.desk.view().await.expect("a course");
        let kept = view.term.submissions.get(&crate::slot("acid", "0042"));
        let kept = kept.expect("is there");
        let number = kept[0].receipt.expect("a number");
        format!("receipts/{number}")
    };
    let owned = |(method, route, path, open): (_, _, &str, _)| {
        (method, route, path.replace("receipts/1", &receipt), open)
    };
    let office = office::ROUTES
        .map(|(method, route)| (method, route, route.replace("{key}", "acid"), Coordinator));
    let routes = TABLE
        .into_iter()
        .chain(STAFF)
        .chain(PREP)
        .chain(office::FILES)
        .map(owned)
        .chain(office);
    for (method, route, path, open) in routes.chain(LAST.into_iter().map(owned)) {
        for (who, person) in &mut people {
            let may = match open {
                All => true,
                Nobody => false,
                SignedIn => *who != "nobody",
                // what is a student's own page is open to every student; what is on it is their own
                Student if path.contains("receipts") => *who == "0042",
                Student => who.starts_with('0'),
                SectionA => matches!(*who, "b.tarn" | "i.quell"),
                Staff => matches!(*who, "b.tarn" | "m.sedge" | "i.quell"),
                EveryStaff => matches!(*who, "b.tarn" | "m.sedge" | "i.quell" | "f.alder"),
                Coordinator => *who == "i.quell",
                Prep => matches!(*who, "f.alder" | "i.quell"),
            };
            let (status, location) = ask(person, method, &path).await;
            assert_eq!(
                is_let_in(status, &location),
                may,
                "{method} {route} by {who}: {status} {location}"
            );
            assert!(status < 500, "{method} {route} by {who}: {status}");
            asked += 1;
        }
    }
    let routes = TABLE.len()
        + STAFF.len()
        + PREP.len()
        + office::ROUTES.len()
        + office::FILES.len()
        + LAST.len();
    assert_eq!(asked, routes * people.len());
}

/// Every route that the sources name is in the table.
#[test]
fn no_route_is_forgotten() {
    let known: Vec<&str> = TABLE
        .iter()
        .chain(&STAFF)
        .chain(&PREP)
        .chain(LAST.iter().chain(&office::FILES))
        .map(|(_, route, ..)| *route)
        .chain(office::ROUTES.iter().map(|(_, route)| *route))
        .collect();
    let mut found = 0;
    for text in sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src/web")) {
        for part in text.split(".route(").skip(1) {
            let route = part
                .trim_start()
                .trim_start_matches('"')
                .split('"')
                .next()
                .unwrap_or_default();
            // routes of an experiment are written below its own
            assert!(
                known.iter().any(|k| *k == route || k.ends_with(route)),
                "{route} is not in the table of access"
            );
            found += 1;
        }
    }
    assert!(found > 30, "only {found} routes found in the sources");
}
