//! The course as one file, in and out; and who may see the coordinator's pages.

use std::io::{Cursor, Read as _, Write as _};

use concordant::files::{Folder, read_term, write_term};
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

use crate::app::TestApp;
use crate::week::{SECRETS, app, folder};

fn packed(folder: &Folder, top: &str) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (path, bytes) in folder.files() {
        zip.start_file(format!("{top}{path}"), SimpleFileOptions::default())
            .expect("starts");
        zip.write_all(bytes).expect("is written");
    }
    zip.finish().expect("ends").into_inner()
}

fn unpacked(bytes: &[u8]) -> Folder {
    let mut zip = ZipArchive::new(Cursor::new(bytes)).expect("a zip file");
    let mut folder = Folder::default();
    for place in 0..zip.len() {
        let mut entry = zip.by_index(place).expect("an entry");
        let mut content = Vec::new();
        entry.read_to_end(&mut content).expect("unpacks");
        folder.insert(entry.name(), content).expect("fits");
    }
    folder
}

#[tokio::test]
async fn a_course_folder_comes_in_as_one_file_and_leaves_unchanged() {
    let app = TestApp::spawn_new().await;
    let mut person = app.person("i.quell").await;
    let answer = person
        .post_file(
            "/course/folder",
            "autumn.zip",
            &packed(&folder(), "Autumn 2026/"),
        )
        .await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let page = person.get(answer.location()).await;
    assert!(
        page.body.contains("The course folder is in"),
        "{}",
        page.body
    );
    let out = person.get("/course/export.zip").await;
    assert_eq!(out.header("content-type"), "application/zip");
    assert_eq!(
        out.header("content-disposition"),
        "attachment; filename=\"export.zip\""
    );
    let back = unpacked(&out.bytes);
    let term = read_term(&back).expect("is sound");
    assert_eq!(
        write_term(&term),
        write_term(&app.desk.view().await.expect("a course").term)
    );
    assert_eq!(write_term(&term), back);
    assert_eq!(person.get("/course/export.zip").await.bytes, out.bytes);
    // the same once more changes nothing
    let answer = person
        .post_file("/course/folder", "export.zip", &out.bytes)
        .await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    assert!(
        answer.body.contains("Nothing would change"),
        "{}",
        answer.body
    );
}

#[tokio::test]
async fn a_folder_with_faults_lists_them_and_leaves_nothing_behind() {
    let app = TestApp::spawn_new().await;
    let mut person = app.person("i.quell").await;
    let mut wrong = Folder::default();
    for (path, bytes) in folder().files() {
        let text = String::from_utf8(bytes.to_vec()).expect("is text");
        let text = match path {
            "staff.csv" => text.replace("assistant,B", "assistant,Z"),
            "course.toml" => text.replace("2099-09-14T17:00:00", "1999-09-14T17:00:00"),
            "roster.csv" => text.replace("0043", "0042"),
            _ => text,
        };
        wrong.insert(path, text.into_bytes()).expect("fits");
    }
    let answer = person
        .post_file("/course/folder", "c.zip", &packed(&wrong, ""))
        .await;
    assert_eq!(answer.status, 422);
    for words in [
        "staff.csv, line 4, sections",
        "roster.csv, line 3, student_id",
        "expected a date in the years 2000 to 2100",
        "nothing was changed",
    ] {
        assert!(answer.body.contains(words), "{words} in {}", answer.body);
    }
    assert!(app.desk.view().await.is_err());
    let climbing = {
        let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
        zip.start_file("../course.toml", SimpleFileOptions::default())
            .expect("starts");
        zip.write_all(b"x").expect("is written");
        zip.finish().expect("ends").into_inner()
    };
    let answer = person.post_file("/course/folder", "c.zip", &climbing).await;
    assert_eq!(answer.status, 422);
    assert!(
        answer.body.contains("expected a relative path"),
        "{}",
        answer.body
    );
    let no_zip = person
        .post_file("/course/folder", "c.zip", b"student_id")
        .await;
    assert_eq!(no_zip.status, 422);
    assert!(
        no_zip.body.contains("cannot be read as a zip file"),
        "{}",
        no_zip.body
    );
    let mut taking = folder();
    taking = {
        let mut other = Folder::default();
        for (path, bytes) in taking.files() {
            let text = String::from_utf8(bytes.to_vec()).expect("is text");
            let text = text.replace(
                "i.quell,Iris Quell,coordinator,",
                "i.quell,Iris Quell,assistant,A",
            );
            other.insert(path, text.into_bytes()).expect("fits");
        }
        other
    };
    let answer = person
        .post_file("/course/folder", "c.zip", &packed(&taking, ""))
        .await;
    assert_eq!(answer.status, 422);
    assert!(
        answer.body.contains("found i.quell in another role"),
        "{}",
        answer.body
    );
}

const PAGES: [&str; 17] = [
    "/course",
    "/course/roster",
    "/course/staff",
    "/course/lots",
    "/course/audit",
    "/course/files",
    "/course/gradebook.csv",
    "/course/results.csv",
    "/course/flags.csv",
    "/course/audit.csv",
    "/course/export.zip",
    "/course/experiments",
    "/course/experiments/acid",
    "/course/experiments/acid/unknowns",
    "/course/experiments/acid/issue",
    "/course/experiments/acid/issue/list",
    "/course/experiments/acid/release",
];

const FORMS: [&str; 12] = [
    "/course/new",
    "/course/roster/confirm",
    "/course/slips",
    "/course/staff",
    "/course/lots",
    "/course/experiments",
    "/course/experiments/acid/dates",
    "/course/experiments/acid/lots",
    "/course/experiments/acid/unknowns",
    "/course/experiments/acid/unknowns/many",
    "/course/experiments/acid/release",
    "/course/experiments/acid/withdraw",
];

const UPLOADS: [&str; 3] = [
    "/course/folder",
    "/course/roster/preview",
    "/course/procedures",
];

#[tokio::test]
async fn only_the_coordinator_reaches_these_pages() {
    let app = app().await;
    let before = write_term(&app.desk.view().await.expect("a course").term);
    for login in ["0042", "b.tarn"] {
        let mut person = app.person(login).await;
        for path in PAGES {
            let answer = person.get(path).await;
            assert_eq!(answer.status, 403, "{login} {path}");
            for secret in SECRETS {
                assert!(!answer.body.contains(secret), "{login} {path}");
            }
        }
        for path in FORMS.into_iter().chain(["/course/experiments/acid/issue"]) {
            assert_eq!(
                person.post_form(path, &[]).await.status,
                403,
                "{login} {path}"
            );
        }
        for path in UPLOADS {
            let answer = person.post_file(path, "a.csv", b"x").await;
            assert_eq!(answer.status, 403, "{login} {path}");
        }
    }
    let mut stranger = app.stranger();
    for path in PAGES {
        assert_eq!(stranger.get(path).await.status, 303, "{path}");
    }
    assert_eq!(
        write_term(&app.desk.view().await.expect("a course").term),
        before
    );
    let mut coordinator = app.person("i.quell").await;
    for path in PAGES {
        assert_eq!(coordinator.get(path).await.status, 200, "{path}");
    }
    for path in PAGES.into_iter().filter(|path| path.contains("/acid")) {
        let nowhere = path.replace("/acid", "/no-such");
        assert_eq!(coordinator.get(&nowhere).await.status, 404, "{nowhere}");
    }
}
