//! What people do in a department.

use std::path::Path;
use std::process::Command;
use std::sync::Arc;

use concordant::changes::Change;
use concordant::course::Student;
use concordant::desk::Desk;
use concordant::desk::department::{Department, Looked};
use concordant::desk::outgoing::Outgoing;
use concordant::ids::{CourseKey, SectionName, StudentId};
use concordant::mail::{Post, PostSettings};
use concordant::store::Store;

use super::{HEAD, TestDepartment};
use crate::app::{PASSWORD, TestApp};
use crate::week;

#[tokio::test]
async fn everybody_finds_their_own_courses() {
    let app = TestDepartment::spawn().await;
    let mut ada = app.person("0042").await;
    let start = ada.get("/").await;
    assert_eq!(start.location(), "/courses");
    let list = ada.get("/courses").await.body;
    for words in [
        "href=\"/c/alpha/\"",
        "Quantitative analysis, autumn 2026",
        "student of section A",
        "href=\"/c/beta/\"",
        "Water analysis, autumn 2026",
        "student of section C",
    ] {
        assert!(list.contains(words), "{words}: {list}");
    }
    assert!(!list.contains("Begin a course"));
    // whoever has one course is there at once
    let mut noor = app.person("0077").await;
    assert_eq!(noor.get("/").await.location(), "/c/beta/");
    assert_eq!(noor.get("/c/beta/").await.location(), "/c/beta/student");
    let page = noor.get("/c/beta/student").await;
    assert_eq!(page.status, 200);
    assert!(
        page.body
            .contains("href=\"/c/beta/student/experiments/acid"),
        "{}",
        page.body
    );
    // signing in leads back to the page that was asked for
    let mut again = app.stranger();
    let asked = again.get("/c/beta/student/experiments/acid").await;
    let next = asked.location().to_owned();
    assert_eq!(
        next,
        "/sign-in?next=%2Fc%2Fbeta%2Fstudent%2Fexperiments%2Facid"
    );
    let fields = [
        ("login", "0077"),
        ("password", PASSWORD),
        ("next", "/c/beta/student/experiments/acid"),
    ];
    let entered = again.post_open("/sign-in", &fields).await;
    assert_eq!(entered.location(), "/c/beta/student/experiments/acid");
}

#[tokio::test]
async fn a_hand_in_reaches_its_own_course_alone() {
    let app = TestDepartment::spawn().await;
    let mut ada = app.person("0042").await;
    let fields = week::acid_form("0123456789abcdef0123456789abcdef", "0", "20.40", "20.52");
    let answer = ada
        .post_form("/c/beta/student/experiments/acid/hand-in", &fields)
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    assert!(
        answer.location().starts_with("/c/beta/student/receipts/"),
        "{}",
        answer.location()
    );
    let receipt = ada.get(answer.location()).await;
    assert_eq!(receipt.status, 200);
    let number = answer.location().rsplit('/').next().unwrap_or_default();
    let number = number.split('?').next().unwrap_or_default();
    let elsewhere = ada
        .get(&format!("/c/alpha/student/receipts/{number}"))
        .await;
    assert_ne!(elsewhere.status, 200);
    // the bench form of one course does not keep its draft under the name of the other's
    let owner = |page: &str| {
        let after = page
            .split("data-owner=\"")
            .nth(1)
            .expect("a bench form")
            .to_owned();
        after.split('"').next().unwrap_or_default().to_owned()
    };
    let alpha = owner(
        &ada.get("/c/alpha/student/experiments/acid/bench")
            .await
            .body,
    );
    let beta = owner(&ada.get("/c/beta/student/experiments/acid/bench").await.body);
    assert!(!alpha.is_empty() && alpha != beta, "{alpha} {beta}");
}

#[tokio::test]
async fn a_course_begins_goes_on_is_closed_and_put_by() {
    let app = TestDepartment::spawn().await;
    let mut head = app.person(HEAD).await;
    let page = head.get("/courses").await;
    assert!(
        page.body.contains("All courses of the department"),
        "{}",
        page.body
    );
    assert!(
        page.body.contains("3 students, 3 of staff"),
        "{}",
        page.body
    );
    // a key that is taken, a day that is missing: named, and nothing is begun
    let mut fields = vec![
        ("key", "alpha"),
        ("title", ""),
        ("term", "spring 2027"),
        ("time_zone", "Europe/Lisbon"),
        ("from", "alpha"),
        ("first_day", ""),
        ("login", "q.ashby"),
        ("name", "Quinn Ashby"),
    ];
    let refused = head.post_form("/courses", &fields).await;
    assert_eq!(refused.status, 422);
    assert!(
        refused
            .body
            .contains("First day: found nothing, expected the day"),
        "{}",
        refused.body
    );
    fields[5].1 = "2027-02-01";
    let refused = head.post_form("/courses", &fields).await;
    assert!(
        refused.body.contains("expected a key that no course"),
        "{}",
        refused.body
    );
    fields[0].1 = "alpha-spring";
    let begun = head.post_form("/courses", &fields).await;
    assert_eq!(begun.location(), "/courses/alpha-spring", "{}", begun.body);
    // its coordinator signs in and finds the experiments on their new days, and nobody and nothing else
    let mut quinn = app.person("q.ashby").await;
    assert_eq!(quinn.get("/").await.location(), "/c/alpha-spring/");
    let course = quinn.get("/c/alpha-spring/course/experiments/acid").await;
    assert_eq!(course.status, 200, "{}", course.body);
    let roster = quinn.get("/c/alpha-spring/course/roster").await;
    assert!(!roster.body.contains("Fennimore"));
    let lots = quinn.get("/c/alpha-spring/course/lots").await;
    assert!(!lots.body.contains("0.1002"));
    // somebody is put on its roster and can be given a slip at once
    let student = [
        ("student_id", "0099"),
        ("family_name", "Ito"),
        ("given_name", "Ren"),
        ("section", "D"),
    ];
    let put = quinn
        .post_form("/c/alpha-spring/course/roster/student", &student)
        .await;
    assert_eq!(put.status, 303, "{}", put.body);
    let slip = quinn
        .post_form("/c/alpha-spring/course/slips", &[("login", "0099")])
        .await;
    assert_eq!(slip.status, 200, "{}", slip.body);
    let mut ren = app.person("0099").await;
    assert_eq!(ren.get("/").await.location(), "/c/alpha-spring/");
    // and who leaves is out at once
    let left = [&student[..], &[("left", "2026-01-05")]].concat();
    let put = quinn
        .post_form("/c/alpha-spring/course/roster/student", &left)
        .await;
    assert_eq!(put.status, 303, "{}", put.body);
    assert!(
        ren.get("/c/alpha-spring/student")
            .await
            .location()
            .starts_with("/sign-in")
    );

    // closed: everything can be read, nothing changed
    let closed = head
        .post_form("/courses/alpha", &[("standing", "closed")])
        .await;
    assert_eq!(closed.status, 303, "{}", closed.body);
    let mut quell = app.person("i.quell").await;
    assert_eq!(
        quell.get("/c/alpha/course/experiments/acid").await.status,
        200
    );
    let staff = [("login", "n.ew"), ("name", "New"), ("role", "prep")];
    let refused = quell.post_form("/c/alpha/course/staff", &staff).await;
    assert_eq!(refused.status, 409);
    assert!(
        refused.body.contains("This course is closed"),
        "{}",
        refused.body
    );
    let mut ada = app.person("0042").await;
    let fields = week::acid_form("1123456789abcdef0123456789abcdef", "1", "20.40", "20.52");
    let refused = ada
        .post_form("/c/alpha/student/experiments/acid/hand-in", &fields)
        .await;
    assert_eq!(refused.status, 409, "{}", refused.body);
    // opened again, it takes it
    head.post_form("/courses/alpha", &[("standing", "open")])
        .await;
    let taken = quell.post_form("/c/alpha/course/staff", &staff).await;
    assert_eq!(taken.status, 303, "{}", taken.body);
    // only a closed course is put by
    let refused = head
        .post_form("/courses/alpha", &[("standing", "archived")])
        .await;
    assert_eq!(refused.status, 422);
    head.post_form("/courses/alpha", &[("standing", "closed")])
        .await;
    let put_by = head
        .post_form("/courses/alpha", &[("standing", "archived")])
        .await;
    assert_eq!(put_by.location(), "/courses", "{}", put_by.body);
    assert_eq!(quell.get("/c/alpha/course").await.status, 404);
    // the copy has its coordinators
    assert_eq!(quell.get("/").await.location(), "/c/alpha-spring/");
    assert!(app.folder.join("archive/alpha.db").is_file());
    assert!(!app.folder.join("alpha.db").exists());
    // its file is whole
    verified(&app.folder.join("archive/alpha.db"));
    // Ada has the other course still
    assert_eq!(ada.get("/").await.location(), "/c/beta/");
    assert_eq!(ada.get("/c/alpha/student").await.status, 404);
}

/// What stood alone is taken in with its passwords, and is the same afterwards.
#[tokio::test]
async fn a_course_that_stood_alone_is_taken_in() {
    let alone = week::app().await;
    alone.person("0051").await;
    let app = TestDepartment::spawn().await;
    let file = alone.database();
    let (directory, folder) = app.stop();
    let taken = concordant(&[
        "take-in",
        path(&file),
        "--into",
        path(&folder),
        "--as",
        "gamma",
    ]);
    assert!(taken.0, "{}", taken.1);
    assert!(
        taken.1.contains("1 person came with their passwords"),
        "{}",
        taken.1
    );
    let twice = concordant(&[
        "take-in",
        path(&file),
        "--into",
        path(&folder),
        "--as",
        "gamma",
    ]);
    assert!(
        !twice.0 && twice.1.contains("expected a key that no course"),
        "{}",
        twice.1
    );
    verified(&folder.join("gamma.db"));
    verified(&folder.join("people.db"));
    let app = TestDepartment::serve(&folder, "", 16).await;
    let _kept = directory;
    let mut seraphine = app.stranger();
    let fields = [("login", "0051"), ("password", PASSWORD)];
    let entered = seraphine.post_open("/sign-in", &fields).await;
    assert_eq!(entered.status, 303, "{}", entered.body);
    // she is in alpha as well
    assert_eq!(seraphine.get("/").await.location(), "/courses");
    assert_eq!(seraphine.get("/c/gamma/student").await.status, 200);
}

/// More courses than are held in memory: each is there when it is asked for, and keeps what it was told.
#[tokio::test]
async fn courses_take_turns_in_memory() {
    let app = TestDepartment::spawn_below("", 1).await;
    let (mut quell, mut tarn) = (app.person("i.quell").await, app.person("b.tarn").await);
    for round in 0..3 {
        let name = format!("Round {round}");
        let fields = [("login", "n.ew"), ("name", name.as_str()), ("role", "prep")];
        for (person, course) in [(&mut quell, "alpha"), (&mut tarn, "beta")] {
            let put = person
                .post_form(&format!("/c/{course}/course/staff"), &fields)
                .await;
            assert_eq!(put.status, 303, "{}", put.body);
            let page = person.get(&format!("/c/{course}/course/staff")).await;
            assert!(page.body.contains(&name), "{}", page.body);
        }
    }
    verified(&app.folder.join("alpha.db"));
}

/// A proxy may put a path before everything, and strip it or not.
#[tokio::test]
async fn a_path_before_everything_is_in_every_address() {
    let app = TestDepartment::spawn_below("/lab", 16).await;
    let mut noor = app.person("0077").await;
    for path in ["/", "/lab/", "/lab"] {
        assert_eq!(noor.get(path).await.location(), "/lab/c/beta/", "{path}");
    }
    for path in ["/c/beta/student", "/lab/c/beta/student"] {
        let page = noor.get(path).await;
        assert_eq!(page.status, 200, "{path}");
        let links = page
            .body
            .split("href=\"/")
            .skip(1)
            .chain(page.body.split("action=\"/").skip(1));
        let mut seen = 0;
        for link in links {
            assert!(link.starts_with("lab/"), "{}", &link[..link.len().min(60)]);
            seen += 1;
        }
        assert!(seen > 4, "{seen}");
    }
    assert_eq!(noor.get("/lab/static/style.css").await.status, 200);
    let out = noor.post_form("/lab/sign-out", &[]).await;
    assert_eq!(out.location(), "/lab/sign-in");
}

/// Files on the command line: whoever is put on a list there can sign in once the course is next looked at.
#[tokio::test]
async fn what_the_command_line_changes_is_followed() {
    let app = TestDepartment::spawn().await;
    let mut tarn = app.person("b.tarn").await;
    assert_eq!(tarn.get("/c/beta/course").await.status, 200);
    let added = concordant(&[
        "add-coordinator",
        "--db",
        path(&app.folder.join("beta.db")),
        "z.pell",
    ]);
    assert!(added.0, "{}", added.1);
    assert!(
        tarn.get("/c/beta/course/staff")
            .await
            .body
            .contains("z.pell")
    );
    let code = added
        .1
        .lines()
        .find_map(|line| line.strip_prefix("code  "))
        .expect("a code")
        .to_owned();
    let mut pell = app.stranger();
    let fields = [
        ("login", "z.pell"),
        ("code", &code),
        ("password", PASSWORD),
        ("repeat", PASSWORD),
    ];
    let claimed = pell.post_open("/claim", &fields).await;
    assert_eq!(claimed.status, 303, "{}", claimed.body);
    assert_eq!(pell.get("/c/beta/course").await.status, 200);
    assert_eq!(pell.get("/c/alpha/course").await.status, 403);
}

#[tokio::test]
async fn a_folder_that_is_none_is_named() {
    let directory = tempfile::tempdir().expect("a directory");
    let served = concordant(&["serve", path(directory.path())]);
    assert!(
        !served.0 && served.1.contains("found no people.db"),
        "{}",
        served.1
    );
    let app = TestDepartment::spawn().await;
    std::fs::write(app.folder.join("Not a key.db"), "").expect("written");
    let opened = Department::open(&app.folder, app.clock.now()).await;
    let why = opened.err().expect("is refused").to_string();
    assert!(why.contains("\u{201c}Not a key.db\u{201d}"), "{why}");
    // people.db is no course
    let key = CourseKey::new("people");
    let begun = app
        .department
        .take_in(&app.folder.join("alpha.db"), &key, app.clock.now())
        .await;
    assert!(begun.is_err());
}

#[tokio::test]
async fn a_course_that_stands_alone_can_stand_below_a_path() {
    // pages of a course alone, as `serve --db` shows them
    let app = TestApp::spawn().await;
    let mut ada = app.person("0042").await;
    let page = ada.get("/student").await;
    assert!(page.body.contains("href=\"/static/"), "{}", page.body);
    assert!(!page.body.contains("/courses"));
}

pub fn verified(file: &Path) {
    let verified = concordant(&["verify", "--db", path(file)]);
    assert!(verified.0, "{}", verified.1);
}

pub fn path(path: &Path) -> &str {
    path.to_str().expect("is text")
}

pub fn concordant(line: &[&str]) -> (bool, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(line)
        .output();
    let output = output.expect("the program runs");
    let text = [output.stdout, output.stderr].concat();
    (
        output.status.success(),
        String::from_utf8_lossy(&text).into_owned(),
    )
}

/// By files that came to the folder while nobody served it.
#[tokio::test]
async fn a_login_is_one_persons_whose_lists_come_together() {
    let app = TestDepartment::spawn().await;
    let now = app.clock.now();
    let student = Student {
        id: StudentId::new("X.One"),
        family_name: "One".into(),
        given_name: "Xan".into(),
        section: SectionName::new("A"),
        ..Student::default()
    };
    let staff = super::member("x.one", "Another One");
    for (course, change) in [
        ("alpha.db", Change::Staff(staff)),
        ("beta.db", Change::Student(student)),
    ] {
        let store = Store::open(&app.folder.join(course)).await.expect("a file");
        let desk = Desk::open(store).await.expect("a course");
        desk.apply(vec![change], "test", now).await.expect("listed");
        desk.close().await;
    }
    let opened = Department::open(&app.folder, now).await.expect("opened");
    let people = opened.people().view().await.expect("people");
    assert!(people.term.staff.iter().any(|one| one.login == "x.one"));
    assert!(people.term.student("X.One").is_none());
}

#[tokio::test]
async fn a_course_that_cannot_be_read_holds_up_no_other() {
    let app = TestDepartment::spawn().await;
    let post = Post::new(PostSettings {
        server: "smtp://127.0.0.1:9".into(),
        from: "lab@lab.example".into(),
        user: None,
        password: None,
    });
    let mail = Outgoing::Mail {
        post: Arc::new(post.expect("can be used")),
        public: "https://lab.example".into(),
    };
    std::fs::write(app.folder.join("alpha.db"), "no database").expect("spoilt");
    let mut looked = Looked::default();
    let sent = app.department.send(&mut looked, &mail, app.clock.now());
    sent.await.expect("gone through");
    let courses: Vec<&str> = looked.keys().map(|key| key.as_str()).collect();
    assert_eq!(courses, ["beta"]);
}
