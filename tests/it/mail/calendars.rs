//! Calendars, by the rules of RFC 5545 and by readers from outside.

use std::process::{Command, Stdio};

use concordant::changes::{Change, Extend, OfSlot};
use concordant::course::Student;
use concordant::term::Extension;
use jiff::civil::date;

use super::Office;
use crate::app::{Answer, Person};

/// The address of a person's calendar, without the host.
async fn address(person: &mut Person, path: &str) -> String {
    let page = person.get(path).await.body;
    let value = page.split("/calendar/").nth(1).expect("an address");
    format!("/calendar/{}", value.split('"').next().expect("an end"))
}

async fn make(person: &mut Person) -> String {
    let done = person.post_form("/mail/calendar", &[]).await;
    assert_eq!(done.status, 303, "{}", done.body);
    address(person, done.location()).await
}

async fn fetched(office: &Office, path: &str) -> Answer {
    office.app.stranger().get(path).await
}

/// Lines as the standard has them, after the checks of its grammar.
fn lines(text: &str) -> Vec<(String, String)> {
    // 3.1: CR LF ends every line, none is longer than 75 octets
    assert!(text.ends_with("\r\n"));
    let physical: Vec<&str> = text.split_terminator("\r\n").collect();
    for line in &physical {
        assert!(line.len() <= 75 && !line.contains(['\r', '\n']), "{line}");
    }
    let text = text.replace("\r\n ", "").replace("\r\n\t", "");
    let lines = text.split_terminator("\r\n").map(|line| {
        let (name, value) = line.split_once(':').expect("a name and a value");
        let name = name.split(';').next().expect("a name");
        assert!(
            name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-'),
            "{line}"
        );
        (name.to_owned(), value.to_owned())
    });
    lines.collect()
}

/// Entries as names and values, with what 3.6.1 and 3.8 ask of each.
fn entries(text: &str) -> Vec<Vec<(String, String)>> {
    let lines = lines(text);
    let has = |name: &str, value: &str| lines.iter().any(|(n, v)| n == name && v == value);
    assert_eq!(lines[0], ("BEGIN".into(), "VCALENDAR".into()));
    assert_eq!(lines.last(), Some(&("END".into(), "VCALENDAR".into())));
    // 3.6: both needed, each once
    assert!(has("VERSION", "2.0"));
    assert_eq!(lines.iter().filter(|(name, _)| name == "PRODID").count(), 1);
    let mut entries = Vec::new();
    for part in lines
        .split(|(name, value)| name == "BEGIN" && value == "VEVENT")
        .skip(1)
    {
        let end = part
            .iter()
            .position(|(name, value)| name == "END" && value == "VEVENT");
        let entry = part[..end.expect("an end")].to_vec();
        let one = |name: &str| {
            let all: Vec<&str> = entry
                .iter()
                .filter(|(n, _)| n == name)
                .map(|(_, v)| v.as_str())
                .collect();
            assert_eq!(all.len(), 1, "{name} in {entry:?}");
            all[0].to_owned()
        };
        for name in ["DTSTAMP", "DTSTART"] {
            // 3.3.5, form 2
            let value = one(name);
            let digits = |part: &str| part.chars().all(|c| c.is_ascii_digit());
            assert!(
                value.len() == 16 && value.ends_with('Z') && &value[8..9] == "T",
                "{value}"
            );
            assert!(digits(&value[..8]) && digits(&value[9..15]), "{value}");
        }
        one("UID");
        one("SUMMARY");
        assert!(entry.iter().all(|(name, _)| name != "DTEND"), "{entry:?}");
        entries.push(entry);
    }
    let uids: std::collections::BTreeSet<&String> = entries
        .iter()
        .flatten()
        .filter(|(name, _)| name == "UID")
        .map(|(_, uid)| uid)
        .collect();
    assert_eq!(uids.len(), entries.len(), "3.8.4.7: each names one");
    entries
}

fn due<'a>(entries: &'a [Vec<(String, String)>], title: &str) -> &'a str {
    let with_title = |entry: &&Vec<(String, String)>| {
        entry
            .iter()
            .any(|(name, value)| name == "SUMMARY" && value.starts_with(title))
    };
    let entry = entries.iter().find(with_title).expect("an entry");
    let start = entry.iter().find(|(name, _)| name == "DTSTART");
    &start.expect("a start").1
}

#[tokio::test]
async fn a_student_sees_the_dates_that_hold_for_that_student() {
    let office = Office::open().await;
    let mut ada = office.app.person("0042").await;
    assert!(ada.get("/mail").await.body.contains("Make an address"));
    let path = make(&mut ada).await;
    let answer = fetched(&office, &path).await;
    assert_eq!(
        (answer.status, answer.header("content-type")),
        (200, "text/calendar; charset=utf-8")
    );
    let found = entries(&answer.body);
    assert_eq!(found.len(), 3, "an entry for each experiment");
    // 17:00 in Lisbon in September is 16:00 UTC; the week has it due on 14 September 2099
    assert_eq!(
        due(&found, "Due: Acid in a plain solution"),
        "20990914T160000Z"
    );
    let extended = Extension {
        due: Some(date(2099, 12, 1).at(12, 30, 0, 0)),
        reason: "ill".into(),
        by: "i.quell".into(),
        at: Some(office.app.clock.now()),
        section: None,
    };
    let change: Extend = OfSlot {
        slot: crate::slot("acid", "0042"),
        body: extended,
    };
    let made = office
        .app
        .desk
        .apply(vec![change.into()], "i.quell", office.app.clock.now());
    made.await.expect("extended");
    let answer = fetched(&office, &path).await;
    // winter time of Lisbon is UTC
    let found = entries(&answer.body);
    assert_eq!(
        due(&found, "Due: Acid in a plain solution"),
        "20991201T123000Z"
    );
    for secret in crate::week::SECRETS
        .iter()
        .chain(&["Ada", "Fennimore", "0042", "ill"])
    {
        assert!(!answer.body.contains(secret), "{secret}");
    }
    let mut other = office.app.person("0043").await;
    let theirs = make(&mut other).await;
    let found = entries(&fetched(&office, &theirs).await.body);
    assert_eq!(
        due(&found, "Due: Acid in a plain solution"),
        "20990914T160000Z"
    );
}

#[tokio::test]
async fn staff_see_the_dates_of_their_sections() {
    let office = Office::open().await;
    for (login, count) in [
        ("b.tarn", 3),
        ("m.sedge", 3),
        ("i.quell", 6),
        ("f.alder", 6),
    ] {
        let mut person = office.app.person(login).await;
        let path = make(&mut person).await;
        let found = entries(&fetched(&office, &path).await.body);
        assert_eq!(found.len(), count, "{login}");
    }
}

#[tokio::test]
async fn an_address_that_is_renewed_taken_away_or_guessed_opens_nothing() {
    let office = Office::open().await;
    let mut ada = office.app.person("0042").await;
    let first = make(&mut ada).await;
    let second = make(&mut ada).await;
    assert_ne!(first, second);
    assert_eq!(fetched(&office, &first).await.status, 404);
    assert_eq!(fetched(&office, &second).await.status, 200);
    let ended = ada.post_form("/mail/calendar", &[("end", "yes")]).await;
    assert!(
        ada.get(ended.location())
            .await
            .body
            .contains("Make an address")
    );
    assert_eq!(fetched(&office, &second).await.status, 404);
    let third = make(&mut ada).await;
    // as with signing in: five that fail, then a wait, for those who are wrong alone
    let wrong = format!("/calendar/{}.ics", "0".repeat(40));
    let mut statuses = Vec::new();
    for _ in 0..5 {
        statuses.push(fetched(&office, &wrong).await.status);
    }
    assert_eq!(statuses, [404, 404, 404, 429, 429]);
    assert_eq!(fetched(&office, &third).await.status, 200);
    assert_eq!(fetched(&office, "/calendar/short").await.status, 404);
    // whoever leaves the course has no calendar in it
    let view = office.app.desk.view().await.expect("a course");
    let student = view.term.student("0042").expect("a student").clone();
    let left = Student {
        left: Some(date(2026, 10, 1)),
        ..student
    };
    let made = office.app.desk.apply(
        vec![Change::Student(left)],
        "i.quell",
        office.app.clock.now(),
    );
    made.await.expect("left");
    assert_eq!(fetched(&office, &third).await.status, 404);
}

#[tokio::test]
async fn readers_from_outside_take_it() {
    let office = Office::open().await;
    let mut person = office.app.person("i.quell").await;
    let path = make(&mut person).await;
    let text = fetched(&office, &path).await.body;
    let unfolded = icalendar::parser::unfold(&text);
    let read = icalendar::parser::read_calendar(&unfolded).expect("is a calendar");
    assert_eq!(read.components.len(), 6);
    // another library, of another language
    let script = "import sys, icalendar\ncal = icalendar.Calendar.from_ical(sys.stdin.buffer.read())\n\
        for e in cal.walk('VEVENT'): print(e.decoded('dtstart').isoformat(), e['summary'])\n\
        print(len(cal.errors), sum(len(e.errors) for e in cal.walk('VEVENT')))\n";
    let Ok(mut python) = Command::new("python3")
        .args(["-c", script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
    else {
        eprintln!("python3 is not here: its reader was not asked");
        return;
    };
    let mut stdin = python.stdin.take().expect("open");
    std::io::Write::write_all(&mut stdin, text.as_bytes()).expect("written");
    drop(stdin);
    let done = python.wait_with_output().expect("ends");
    let why = String::from_utf8_lossy(&done.stderr).into_owned();
    if why.contains("ModuleNotFoundError") {
        eprintln!("python3-icalendar is not here: it was not asked");
        return;
    }
    assert!(done.status.success(), "{why}");
    let said = String::from_utf8_lossy(&done.stdout).into_owned();
    assert!(
        said.contains("2099-09-14T16:00:00+00:00 Due in A: Acid in a plain solution"),
        "{said}"
    );
    assert!(said.trim_end().ends_with("0 0"), "{said}");
    assert_eq!(said.lines().count(), 7, "{said}");
}
