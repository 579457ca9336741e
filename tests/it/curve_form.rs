//! Curves over HTTP: typed into the table, pasted, taken from an instrument's file, handed in, looked at by staff, and
//! brought out of one course and into another.

use concordant::desk::{bring_in, release};
use concordant::files::{Folder, read_term, write_term};
use reqwest::Method;

use crate::app::{Answer, Person, TestApp};
use crate::week;

const BENCH: &str = "/student/experiments/acid/bench";

/// Points in steps of 0.1 mL around 10.05 mL, as a meter writes them.
fn points() -> Vec<(String, String)> {
    let far = [
        ("0.000", "2.95"),
        ("4.000", "4.58"),
        ("8.000", "5.36"),
        ("9.000", "5.71"),
    ];
    let near = [
        ("9.700", "6.21"),
        ("9.800", "6.38"),
        ("9.900", "6.60"),
        ("10.000", "7.05"),
        ("10.100", "10.10"),
        ("10.200", "10.58"),
        ("10.300", "10.79"),
    ];
    let past = [("11.000", "11.20"), ("12.000", "11.48")];
    let all = far.iter().chain(&near).chain(&past);
    all.map(|(v, ph)| ((*v).to_owned(), (*ph).to_owned()))
        .collect()
}

/// The week in which the first experiment is a curve.
fn folder() -> Folder {
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        let text = String::from_utf8(bytes.to_vec()).expect("is text");
        let text = match path {
            "course.toml" => text.replacen("\"plain-acid\"", "\"vinegar-curve\"", 1),
            _ => text,
        };
        folder.insert(path, text.into_bytes()).expect("room");
    }
    folder
}

async fn app() -> TestApp {
    let app = TestApp::spawn().await;
    let now = app.clock.now();
    let done = bring_in(&app.desk, &folder(), "test", now).await;
    done.unwrap_or_else(|why| panic!("{why}: {why:?}"));
    app
}

fn form<'a>(key: &'a str, fields: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let mut all = vec![
        ("key", key),
        ("seen", "0"),
        ("trials", "2"),
        ("lot", "N-1"),
        ("reported", "2.41"),
    ];
    all.extend_from_slice(fields);
    all
}

/// The form with a file in a field of its own.
async fn with_file(
    person: &mut Person,
    name: &str,
    bytes: &[u8],
    fields: &[(&str, &str)],
) -> Answer {
    const BETWEEN: &str = "----between-the-parts";
    let token = person.form_token().await;
    let mut body = Vec::new();
    for (name, value) in [("csrf", token.as_str())].iter().chain(fields) {
        let part = format!(
            "--{BETWEEN}\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n"
        );
        body.extend_from_slice(part.as_bytes());
    }
    let head = format!(
        "--{BETWEEN}\r\ncontent-disposition: form-data; name=\"{name}\"; filename=\"curve.txt\"\r\n\r\n"
    );
    body.extend_from_slice(head.as_bytes());
    body.extend_from_slice(bytes);
    body.extend_from_slice(format!("\r\n--{BETWEEN}--\r\n").as_bytes());
    let request = person
        .request(Method::POST, &format!("{BENCH}/curve"))
        .header(
            "content-type",
            format!("multipart/form-data; boundary={BETWEEN}"),
        )
        .body(body);
    person.send(request).await
}

/// The value of a field as the page shows it.
fn value(page: &str, name: &str) -> Option<String> {
    let tag = page
        .split("<input ")
        .find(|tag| tag.contains(&format!(" name=\"{name}\"")))?;
    tag.split(" value=\"")
        .nth(1)?
        .split('"')
        .next()
        .map(str::to_owned)
}

#[tokio::test]
async fn a_curve_is_pasted_or_comes_in_a_file_and_is_handed_in_as_it_is_written() {
    let app = app().await;
    let mut student = app.person("0042").await;
    let empty = student.get(BENCH).await.body;
    assert!(empty.contains("name=\"1.pasted\"") && empty.contains("name=\"1.file\""));
    assert!(
        empty.contains("name=\"1.volume_16_mL\""),
        "sixteen rows to begin with"
    );

    let lines = points()
        .iter()
        .map(|(v, ph)| format!("{v}\t{ph}\n"))
        .collect::<String>();
    let pasted = format!("Volume/mL\tpH\n{lines}");
    let fields = form("k", &[("1.pasted", &pasted), ("action", "curve")]);
    let page = student.post_form(BENCH, &fields).await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(
        page.body
            .contains("Trial 1: 13 points in the table; 1 line without a point left out.")
    );
    assert_eq!(
        value(&page.body, "1.volume_8_mL").as_deref(),
        Some("10.000")
    );
    assert_eq!(value(&page.body, "1.pH_9").as_deref(), Some("10.10"));

    // semicolons, decimal commas, a byte a letter, and what an instrument writes around it
    let lines = points()
        .iter()
        .map(|(v, ph)| format!("{v};21,5;{ph}\r\n").replace('.', ","))
        .collect::<String>();
    let mut file = b"Messger\xe4t 7\r\nV/mL;T/\xb0C;pH\r\n".to_vec();
    file.extend_from_slice(lines.as_bytes());
    file.extend_from_slice(b"EP1;10,051 mL\r\n");
    let first: Vec<(String, String)> = (1..)
        .zip(points())
        .flat_map(|(n, (v, ph))| {
            let place = if n == 1 {
                String::new()
            } else {
                format!("_{n}")
            };
            [
                (format!("1.volume{place}_mL"), v),
                (format!("1.pH{place}"), ph),
            ]
        })
        .collect();
    let typed: Vec<(&str, &str)> = first
        .iter()
        .map(|(name, text)| (name.as_str(), text.as_str()))
        .collect();
    let page = with_file(&mut student, "2.file", &file, &form("k", &typed)).await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(
        page.body
            .contains("Trial 2: 13 points in the table; 3 lines without a point left out.")
    );
    assert_eq!(
        value(&page.body, "2.volume_8_mL").as_deref(),
        Some("10,000")
    );
    assert_eq!(value(&page.body, "2.pH_9").as_deref(), Some("10,10"));
    assert_eq!(
        value(&page.body, "1.pH_9").as_deref(),
        Some("10.10"),
        "what was typed stays"
    );

    // what cannot be read stays where it was pasted
    let fields = form("k", &[("1.pasted", "0,0,2,9\n1,0,3,9"), ("action", "look")]);
    let page = student.post_form(BENCH, &fields).await;
    assert!(
        page.body.contains("found commas between numbers"),
        "{}",
        page.body
    );
    assert!(page.body.contains("0,0,2,9\n1,0,3,9</textarea>"));

    // looked over, with both curves drawn
    let second: Vec<(String, String)> = first
        .iter()
        .map(|(name, text)| (name.replacen("1.", "2.", 1), text.replace('.', ",")))
        .collect();
    let mut both = typed.clone();
    both.extend(
        second
            .iter()
            .map(|(name, text)| (name.as_str(), text.as_str())),
    );
    let key = "0123456789abcdef0123";
    let mut fields = form(key, &both);
    fields.push(("action", "look"));
    let look = student.post_form(BENCH, &fields).await;
    assert_eq!(look.status, 200, "{}", look.body);
    assert_eq!(
        look.body.matches("<figure class=\"curve-picture\"").count(),
        2
    );
    assert!(look.body.contains("pH at half of it"), "{}", look.body);
    assert!(!look.body.contains("style=\""));
    let received = student
        .post_form("/student/experiments/acid/hand-in", &form(key, &both))
        .await;
    assert_eq!(received.status, 303, "{}", received.body);
    assert!(received.location().starts_with("/student/receipts/"));

    // staff see the curve; after release the student does
    let mut assistant = app.person("b.tarn").await;
    let review = assistant.get("/review/acid/0042").await;
    assert_eq!(review.status, 200);
    assert_eq!(
        review
            .body
            .matches("<figure class=\"curve-picture\"")
            .count(),
        2,
        "{}",
        review.body
    );
    release(&app.desk, &crate::key("acid"), ("i.quell", app.clock.now()))
        .await
        .expect("released");
    let feedback = student.get("/student/experiments/acid").await.body;
    assert_eq!(
        feedback.matches("<figure class=\"curve-picture\"").count(),
        2
    );

    // out of this course and into another, nothing lost
    let view = app.desk.view().await.expect("a course");
    let out = write_term(&view.term);
    let text = out
        .files()
        .find(|(path, _)| *path == "readings/acid.csv")
        .expect("readings")
        .1
        .to_vec();
    let text = String::from_utf8(text).expect("text");
    assert!(
        text.contains("volume_mL,pH") || text.contains("volume_13_mL"),
        "{text}"
    );
    assert!(
        text.contains("\"10,10\"") && text.contains("10.10"),
        "{text}"
    );
    let term = read_term(&out).unwrap_or_else(|why| panic!("{why:?}"));
    assert_eq!(
        write_term(&term).files().collect::<Vec<_>>(),
        out.files().collect::<Vec<_>>()
    );
}
