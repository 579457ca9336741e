//! The coordinator's own file filled in, in a real browser without scripts, on a laptop and on a phone.

use concordant::desk::bring_in;
use concordant::files::Folder;
use tempfile::TempDir;

use super::{Browser, LAPTOP, Look, PHONE, sign_in, with};
use crate::app::TestApp;
use crate::week;

const FILE: &str =
    "Matrikel;Name;acid;shell\r\n0042;Fennimore;;\r\n0043;Okafor-Lind;;3,00\r\n0099;Nobody;;\r\n";

async fn graded() -> TestApp {
    let app = week::app().await;
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        folder.insert(path, bytes.to_vec()).expect("room");
    }
    let readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n0042,1,N-1,,0.00,20.40\n0042,2,N-1,,0.00,20.42\n";
    folder
        .insert("readings/acid.csv", readings.as_bytes().to_vec())
        .expect("room");
    bring_in(&app.desk, &folder, "test", app.clock.now())
        .await
        .expect("imported");
    app
}

async fn fills_a_file_in(app: TestApp, browser: Browser, name: &'static str) {
    let directory = TempDir::new().expect("a directory");
    let file = directory.path().join("registrar.csv");
    std::fs::write(&file, FILE).expect("is written");
    sign_in(&app, &browser, "i.quell").await;
    browser.open(&format!("{}/course/files", app.address)).await;
    browser.screenshot(&format!("files-{name}")).await;
    browser.choose("#own", &file.display().to_string()).await;
    browser.submit("form[action='/course/fill'] button").await;
    browser.screenshot(&format!("fill-choose-{name}")).await;
    assert_eq!(browser.overhang().await, 0);
    browser
        .submit("form[action='/course/fill/preview'] button")
        .await;
    let said = browser.text("main").await;
    for words in [
        "2 rows are a student’s of this course",
        "Line 4: nobody of this course is 0099",
        "Ruhl, Seraphine (0051, section B) is not in the file",
    ] {
        assert!(said.contains(words), "{words} in {said}");
    }
    assert_eq!(browser.overhang().await, 0);
    browser.screenshot(&format!("fill-preview-{name}")).await;
    // the download is the form that follows; the file itself is looked at in `own_file`
    assert_eq!(
        browser
            .text("form[action='/course/fill/download'] button")
            .await,
        "Download the filled file"
    );
    browser
        .open(&format!("{}/course/roster", app.address))
        .await;
    browser.click("details summary").await;
    browser.screenshot(&format!("roster-{name}")).await;
    assert_eq!(browser.overhang().await, 0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_is_filled_in_on_a_laptop_without_scripts() {
    let look = Look {
        scripts: false,
        ..LAPTOP
    };
    let app = graded().await;
    with(look, move |browser| fills_a_file_in(app, browser, "laptop")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_is_filled_in_on_a_phone_in_the_dark() {
    let look = Look {
        dark: true,
        ..PHONE
    };
    let app = graded().await;
    with(look, move |browser| fills_a_file_in(app, browser, "phone")).await;
}
