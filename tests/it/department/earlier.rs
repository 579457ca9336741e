//! Readings that somebody of an earlier term wrote down first: shown to staff where the department says so, to nobody else.

use std::path::{Path, PathBuf};

use concordant::desk::accounts::By;
use concordant::desk::{Retirement, retire};
use concordant::ids::{CourseKey, StudentId};

use super::journeys::{concordant, path, verified};
use super::two_years::{COPIED, NEW, OLD, SECRETS, spawn};
use super::{HEAD, TestDepartment};
use crate::app::Person;
use crate::faults::{LAST_STEP_UNDONE, run};
use crate::week;

const PAGE: &str = "/c/acids-2026/review/earlier";

/// Whoever runs the department says which courses are earlier terms of the new one.
async fn choose(head: &mut Person, earlier: &[&str]) {
    let fields: Vec<(&str, &str)> = earlier.iter().map(|key| ("earlier[]", *key)).collect();
    let form = format!("/courses/{NEW}/earlier");
    let chosen = head.post_form(&form, &fields).await;
    let there = format!("/courses/{NEW}?said=earlier");
    assert_eq!(chosen.location(), there, "{}", chosen.body);
}

async fn page(person: &mut Person) -> String {
    let page = person.get(PAGE).await;
    assert_eq!(page.status, 200, "{}", page.body);
    for secret in SECRETS {
        assert!(!page.body.contains(secret), "{secret}");
    }
    page.body
}

/// Students of the new course whom a page names, in its order.
fn named(page: &str) -> Vec<String> {
    let links = page
        .split("<h2><a href=\"/c/acids-2026/review/acid/")
        .skip(1);
    let id = |rest: &str| rest.split('"').next().unwrap_or_default().to_owned();
    links.map(id).collect()
}

fn lines(page: &str) -> usize {
    page.matches("readings shared with an earlier term</dt>")
        .count()
}

fn newest(app: &TestDepartment, course: &str) -> String {
    let file = app.folder.join(format!("{course}.db"));
    let said = concordant(&["verify", "--db", path(&file)]);
    assert!(said.0, "{}", said.1);
    said.1
}

#[tokio::test]
async fn a_sheet_of_the_year_before_is_shown_to_staff() {
    let app = spawn().await;
    let (mut head, mut marsh) = (app.person(HEAD).await, app.person("o.marsh").await);
    let before = [newest(&app, OLD), newest(&app, NEW)];
    // nobody has said so: nothing is compared
    let silent = page(&mut marsh).await;
    assert!(silent.contains("Nothing is compared"), "{silent}");
    assert!(!silent.contains("3117") && lines(&silent) == 0);
    choose(&mut head, &[OLD]).await;
    let course = head.get(&format!("/courses/{NEW}?said=earlier")).await.body;
    assert!(course.contains("is chosen"), "{course}");
    let tick = format!("value=\"{OLD}\" checked");
    assert!(course.contains(&tick), "{course}");

    // staff of both years: who it was, and where the other sheet is
    let shown = page(&mut marsh).await;
    let both: Vec<&str> = COPIED.iter().map(|(new, _)| *new).collect();
    let mut found = named(&shown);
    found.sort();
    let mut expected = both.clone();
    expected.sort_unstable();
    assert_eq!(found, expected, "{shown}");
    assert_eq!(lines(&shown), 2);
    for words in [
        "Laid beside Acids and bases, autumn 2025",
        "with 3117 of “Acids and bases, autumn 2025” with trials in another order (",
        "two people reading on their own share this much less than once in ",
        "href=\"/c/acids-2025/review/acid/3117\"",
        "with 3103 (the same number as here) of “Acids and bases, autumn 2025”: ",
        "4 of 4 starts of the burette",
        "accuses nobody",
    ] {
        assert!(shown.contains(words), "{words}: {shown}");
    }
    let there = marsh.get("/c/acids-2025/review/acid/3117").await;
    assert_eq!(there.status, 200);
    // it is linked from where work is reviewed, and from the audit
    for at in ["/c/acids-2026/review", "/c/acids-2026/course/audit"] {
        let link = format!("href=\"{PAGE}\"");
        assert!(marsh.get(at).await.body.contains(&link), "{at}");
    }

    // whoever coordinates the new course alone is not told who it was
    let mut quell = app.person("i.quell").await;
    let shown = page(&mut quell).await;
    assert_eq!(lines(&shown), 2);
    assert!(shown.contains("with a student of “Acids and bases, autumn 2025”"));
    for words in ["3117", "/c/acids-2025/", "the same number"] {
        assert!(!shown.contains(words), "{words}: {shown}");
    }
    // assistants see their own sections: 4105 and 3103 are in section A, 3117 was in section B
    let mut tarn = app.person("b.tarn").await;
    let shown = page(&mut tarn).await;
    assert_eq!(lines(&shown), 2);
    assert!(!shown.contains("3117") && shown.contains("with 3103 (the same number"));
    let mut rook = app.person("p.rook").await;
    let shown = page(&mut rook).await;
    assert!(shown.contains("with 3117 of “Acids"), "{shown}");
    assert!(!shown.contains("the same number as here"), "{shown}");
    let mut sedge = app.person("m.sedge").await;
    let shown = page(&mut sedge).await;
    assert!(shown.contains("Nothing stands out"), "{shown}");
    assert_eq!(lines(&shown), 0);
    // students see nothing of it
    let mut student = app.person("4105").await;
    assert_eq!(student.get(PAGE).await.status, 403);

    // neither file knows of it, and every judgement comes out as before
    assert_eq!(before, [newest(&app, OLD), newest(&app, NEW)]);
    for course in [OLD, NEW, "people"] {
        let file = app.folder.join(format!("{course}.db"));
        verified(&file);
        let again = concordant(&["recompute", "--verify", "--db", path(&file)]);
        assert!(course == "people" || again.0, "{course}: {}", again.1);
    }
    // not chosen any more, it is gone at once
    choose(&mut head, &[]).await;
    assert!(page(&mut marsh).await.contains("Nothing is compared"));
}

/// Puts the old course by, as whoever runs the department does. Returns where its file lies.
async fn put_by(app: &TestDepartment, head: &mut Person) -> PathBuf {
    let stands = format!("/courses/{OLD}");
    for standing in ["closed", "archived"] {
        let set = head.post_form(&stands, &[("standing", standing)]).await;
        assert_eq!(set.status, 303, "{}", set.body);
    }
    let file = app.folder.join("archive").join(format!("{OLD}.db"));
    assert!(file.is_file() && !app.folder.join(format!("{OLD}.db")).exists());
    file
}

#[tokio::test]
async fn a_closed_course_counts() {
    let app = spawn().await;
    let (mut head, mut marsh) = (app.person(HEAD).await, app.person("o.marsh").await);
    choose(&mut head, &[OLD]).await;
    let stands = format!("/courses/{OLD}");
    let closed = head.post_form(&stands, &[("standing", "closed")]).await;
    assert_eq!(closed.status, 303, "{}", closed.body);
    assert_eq!(lines(&page(&mut marsh).await), 2);
}

/// What lies in the archive is read as it is: nobody is served from it, and nothing in it is touched.
#[tokio::test]
async fn a_course_that_is_put_by_counts_as_well() {
    let app = spawn().await;
    let (mut head, mut marsh) = (app.person(HEAD).await, app.person("o.marsh").await);
    let file = put_by(&app, &mut head).await;
    let before = std::fs::read(&file).expect("a file");
    let form = head.get(&format!("/courses/{NEW}")).await.body;
    assert!(
        form.contains("Acids and bases, autumn 2025 (put by)"),
        "{form}"
    );
    choose(&mut head, &[OLD]).await;
    // staff of both years are told who it was, and are led nowhere
    let shown = page(&mut marsh).await;
    let mut found = named(&shown);
    found.sort();
    assert_eq!(found, ["3103", "4105"], "{shown}");
    for words in [
        "Laid beside Acids and bases, autumn 2025",
        "with 3117 of “Acids and bases, autumn 2025”",
        "with 3103 (the same number as here)",
        "Of a course that is put by no page can be looked at",
    ] {
        assert!(shown.contains(words), "{words}: {shown}");
    }
    assert!(!shown.contains("/c/acids-2025/"), "{shown}");
    let gone = marsh.get("/c/acids-2025/review/acid/3117").await;
    assert_eq!(gone.status, 404);
    // everybody else is not
    let mut quell = app.person("i.quell").await;
    let shown = page(&mut quell).await;
    assert_eq!(lines(&shown), 2);
    assert!(shown.contains("with a student of “Acids and bases, autumn 2025”"));
    assert!(!shown.contains("3117"), "{shown}");
    let mut tarn = app.person("b.tarn").await;
    let shown = page(&mut tarn).await;
    assert!(!shown.contains("3117") && shown.contains("with 3103 (the same number"));
    let mut student = app.person("4105").await;
    assert_eq!(student.get(PAGE).await.status, 403);
    // the file is what it was, and nothing lies beside it or in the folder that was not there
    assert_eq!(std::fs::read(&file).expect("a file"), before);
    let names = |folder: &Path| {
        let entries = std::fs::read_dir(folder).expect("a folder");
        let names = entries.map(|one| one.expect("an entry").file_name());
        names
            .map(|name| name.to_string_lossy().into_owned())
            .collect::<Vec<_>>()
    };
    assert_eq!(
        names(file.parent().expect("the archive")),
        ["acids-2025.db"]
    );
    let there = names(&app.folder);
    assert!(
        !there.iter().any(|name| name.contains("reading")),
        "{there:?}"
    );
    verified(&file);
}

/// Who read one that is put by was stopped half-way, or it was put by by an earlier program: it is read all the same.
#[tokio::test]
async fn one_that_is_put_by_may_be_old() {
    let app = spawn().await;
    let mut head = app.person(HEAD).await;
    let file = put_by(&app, &mut head).await;
    choose(&mut head, &[OLD]).await;
    run(&file, &LAST_STEP_UNDONE).await;
    let before = std::fs::read(&file).expect("a file");
    let half = app.folder.join(format!(".{OLD}.reading"));
    std::fs::write(&half, "half of a copy").expect("written");
    let mut marsh = app.person("o.marsh").await;
    let shown = page(&mut marsh).await;
    assert_eq!(lines(&shown), 2, "{shown}");
    assert_eq!(std::fs::read(&file).expect("a file"), before);
    assert!(!half.exists());
    // a server that begins takes it away, too
    std::fs::write(&half, "half of a copy").expect("written");
    let kept = app.stop();
    let _again = TestDepartment::serve(&kept.1, "", 4).await;
    assert!(!half.exists());
}

#[tokio::test]
async fn what_is_put_by_and_cannot_be_read_is_said() {
    let app = spawn().await;
    let (mut head, mut marsh) = (app.person(HEAD).await, app.person("o.marsh").await);
    let file = put_by(&app, &mut head).await;
    choose(&mut head, &[OLD]).await;
    assert_eq!(lines(&page(&mut marsh).await), 2);
    let whole = std::fs::read(&file).expect("a file");
    for (found, words) in [
        (None, "acids-2025 is not in the archive any more"),
        (
            Some(&b"no database at all"[..]),
            "acids-2025 cannot be read, as it lies in the archive",
        ),
    ] {
        match found {
            None => std::fs::remove_file(&file).expect("removed"),
            Some(bytes) => std::fs::write(&file, bytes).expect("written"),
        }
        let shown = page(&mut marsh).await;
        assert!(shown.contains(words), "{words}: {shown}");
        assert!(shown.contains("so nothing is compared with it"), "{shown}");
        assert_eq!(lines(&shown), 0);
        let form = head.get(&format!("/courses/{NEW}")).await.body;
        let (key, why) = words.split_once(' ').expect("two parts");
        assert!(form.contains(&format!("{key} ({why})")), "{form}");
    }
    std::fs::write(&file, whole).expect("written");
    assert_eq!(lines(&page(&mut marsh).await), 2);
}

#[tokio::test]
async fn somebody_who_was_taken_out_is_nobody() {
    let app = spawn().await;
    let (mut head, mut marsh) = (app.person(HEAD).await, app.person("o.marsh").await);
    choose(&mut head, &[OLD]).await;
    assert_eq!(lines(&page(&mut marsh).await), 2);
    let key = CourseKey::new(OLD);
    let desk = app.department.desk(&key).await.expect("opens");
    let desk = desk.expect("a course");
    let asked = Retirement {
        before: "2199-01-01".parse().expect("a day"),
        students: vec![StudentId::new("3117")],
        texts_only: false,
    };
    let gone = retire(&desk, &asked, By::COMMAND_LINE, app.clock.now()).await;
    assert_eq!(gone.expect("taken out").len(), 1);
    desk.close().await;
    let shown = page(&mut marsh).await;
    assert_eq!(named(&shown), ["3103"], "{shown}");
}

/// What is handed in, and what an earlier course says, is followed without a restart.
#[tokio::test]
async fn what_changes_is_looked_at_anew() {
    let app = spawn().await;
    let (mut head, mut marsh) = (app.person(HEAD).await, app.person("o.marsh").await);
    choose(&mut head, &[OLD]).await;
    assert_eq!(lines(&page(&mut marsh).await), 2);
    let mut copier = app.person("4105").await;
    let fields = week::acid_form("0123456789abcdef0123456789abcdef", "1", "20.41", "20.55");
    let form = "/c/acids-2026/student/experiments/acid/hand-in";
    let corrected = copier.post_form(form, &fields).await;
    assert_eq!(corrected.status, 303, "{}", corrected.body);
    assert_eq!(named(&page(&mut marsh).await), ["3103"]);
}

#[tokio::test]
async fn what_is_no_earlier_term_is_refused() {
    let app = spawn().await;
    let mut head = app.person(HEAD).await;
    for named in [NEW, "nowhere"] {
        let form = format!("/courses/{NEW}/earlier");
        let refused = head.post_form(&form, &[("earlier[]", named)]).await;
        assert_eq!(refused.status, 422, "{named}");
        let words = format!("found \u{201c}{named}\u{201d}, expected another course");
        assert!(refused.body.contains(&words), "{}", refused.body);
    }
    let nowhere = head.post_form("/courses/nowhere/earlier", &[]).await;
    assert_eq!(nowhere.status, 404);
}

#[tokio::test]
async fn a_course_that_stands_alone_says_so() {
    let app = week::app().await;
    let mut quell = app.person("i.quell").await;
    let shown = quell.get("/review/earlier").await.body;
    assert!(shown.contains("stands alone on its server"), "{shown}");
    let review = quell.get("/review").await.body;
    assert!(!review.contains("/review/earlier"));
}
