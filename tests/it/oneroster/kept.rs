//! What a roster's exchange calls everything comes back with the results, with nothing sent along.

use concordant::files::oneroster::{Export, Version, export};
use concordant::files::{Folder, read_term, unpack, write_term};
use concordant::store::first_difference;
use concordant::term::Term;
use sqlx::Row;

use super::results::folder;
use super::{ROSTER, column, roster_with, rows};
use crate::week;

const LINE_ITEMS: &str = "sourcedId,status,dateLastModified,title,description,assignDate,dueDate,classSourcedId,categorySourcedId,gradingPeriodSourcedId,resultValueMin,resultValueMax\r\nli-a,,,ACID,,2026-09-01,2026-09-02,cls-1,cat-lab,gp-1,0,20\r\nli-o,,,acid,,2026-09-01,2026-09-02,cls-9,cat-lab,gp-1,0,20\r\n";

/// The hidden field of that name on a page.
fn hidden(page: &str, name: &str) -> String {
    let from = format!("name=\"{name}\" value=\"");
    let rest = page
        .split(&from)
        .nth(1)
        .unwrap_or_else(|| panic!("no {name}"));
    let value = rest.split("\">").next().expect("an end");
    value.replace("&#34;", "\"").replace("&#38;", "&")
}

fn exported(term: &Term) -> Folder {
    let wanted = Export {
        version: Version::V1p2,
        today: jiff::civil::date(2026, 10, 2),
        roster: None,
        course: String::new(),
        leave_out: false,
    };
    export(term, &term.judge_all(), &wanted).expect("is written")
}

#[tokio::test]
async fn results_go_back_under_the_names_the_roster_came_with() {
    let app = week::app().await;
    concordant::desk::bring_in(&app.desk, &folder(), "test", app.clock.now())
        .await
        .expect("imported");
    let mut person = app.person("i.quell").await;
    let manifest = ROSTER[0].1.replace("lineItems,absent", "lineItems,bulk");
    let mut files: Vec<(&str, &[u8])> = ROSTER[1..]
        .iter()
        .map(|(n, t)| (*n, t.as_bytes()))
        .collect();
    files.push(("manifest.csv", manifest.as_bytes()));
    files.push(("lineItems.csv", LINE_ITEMS.as_bytes()));
    let fields = [("key", "identifier"), ("course", "CHM 210")];
    let page = person
        .post_files("/course/roster/oneroster", &fields, &files)
        .await;
    assert_eq!(page.status, 200, "{}", page.body);
    // two classes, four sessions, the version and the line item of a class that is ours
    assert!(page.body.contains("<li>8 sourcedIds of"), "{}", page.body);
    assert!(page.body.contains("sourcedId u-1"), "{}", page.body);
    let fields = ["text", "exchanged"].map(|name| (name, hidden(&page.body, name)));
    let fields = fields
        .each_ref()
        .map(|(name, value)| (*name, value.as_str()));
    let done = person.post_form("/course/roster/confirm", &fields).await;
    assert_eq!(done.status, 303, "{}", done.body);

    let zip = person.post_files("/course/oneroster.zip", &[], &[]).await;
    assert_eq!(zip.status, 200, "{}", zip.body);
    let out = unpack("oneroster.zip", &zip.bytes).expect("a zip file");
    let cells = |file, name| column(&out, file, name);
    assert_eq!(cells("results.csv", "studentSourcedId"), ["u-1", "u-3"]);
    let classes = ["cls-1", "cls-1", "cls-1", "cls-2", "cls-2", "cls-2"];
    assert_eq!(cells("lineItems.csv", "classSourcedId"), classes);
    let sessions = cells("lineItems.csv", "gradingPeriodSourcedId");
    assert_eq!(sessions[..3], ["gp-1", "gp-2", "gp-2"]);
    assert_eq!(cells("lineItems.csv", "sourcedId")[0], "li-a");
    assert_eq!(cells("results.csv", "lineItemSourcedId")[0], "li-a");
    assert_eq!(cells("lineItems.csv", "categorySourcedId")[0], "cat-lab");
    // the roster's own version; nothing of theirs is sent that would count as all there is
    let manifest = rows(out.get("manifest.csv").expect("a manifest"));
    assert!(manifest.contains(&vec!["oneroster.version".to_owned(), "1.1".to_owned()]));
    let names: Vec<&str> = out.files().map(|(name, _)| name).collect();
    let expected = [
        "categories.csv",
        "lineItems.csv",
        "manifest.csv",
        "results.csv",
    ];
    assert_eq!(names, expected);

    // the same from the folder, and after a roster without sourcedIds
    let term = app.desk.view().await.expect("a course").term.clone();
    let held = exported(&term);
    let folder = write_term(&term);
    let back = read_term(&folder).expect("is sound");
    assert_eq!(exported(&back), held);
    assert_eq!(back.students, term.students);
    let plain = "student_id,family_name,given_name,section\n0042,Fennimore,Ada,\"Monday, bay 2\"\n";
    let done = person
        .post_form("/course/roster/confirm", &[("text", plain)])
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    let term = app.desk.view().await.expect("a course").term.clone();
    assert_eq!(exported(&term), held);

    // who a student is there stands among the people and nowhere in the journal
    let mut reader = app.desk.store().read().await.expect("a reader");
    let count = "SELECT count(*) AS n FROM journal WHERE body GLOB '*u-1*' OR body GLOB '*u-3*'";
    let row = sqlx::query(count)
        .fetch_one(reader.sqlite().expect("a file"))
        .await
        .expect("rows");
    assert_eq!(row.get::<i64, _>("n"), 0);
    let difference = first_difference(&mut reader).await.expect("is read");
    assert_eq!(difference, None);
}

#[tokio::test]
async fn a_student_who_came_another_way_is_named() {
    let app = week::app().await;
    let mut person = app.person("i.quell").await;
    let roster = roster_with(&[]);
    let files: Vec<(&str, &[u8])> = roster.files().collect();
    let fields = [("key", "identifier"), ("course", "CHM 210")];
    let page = person
        .post_files("/course/roster/oneroster", &fields, &files)
        .await;
    let kept = hidden(&page.body, "exchanged");
    let text = "student_id,family_name,given_name,section,sourced_id\n0042,Fennimore,Ada,\"Monday, bay 2\",u-1\n0051,Ruhl,Seraphine,Thursday,\n";
    let fields = [("text", text), ("exchanged", &kept)];
    let done = person.post_form("/course/roster/confirm", &fields).await;
    assert_eq!(done.status, 303, "{}", done.body);
    // 0051 has results now, and no sourcedId
    let mut late = Folder::default();
    let term = app.desk.view().await.expect("a course").term.clone();
    for (path, bytes) in write_term(&term).files() {
        late.insert(path, bytes.to_vec()).expect("room");
    }
    let readings = super::results::READINGS.as_bytes().to_vec();
    late.insert("readings/acid.csv", readings).expect("room");
    concordant::desk::bring_in(&app.desk, &late, "test", app.clock.now())
        .await
        .expect("imported");
    let path = "/course/oneroster.zip";
    let refused = person.post_files(path, &[], &[]).await;
    assert_eq!(refused.status, 422);
    let said = "found no sourcedId of 0051, who has results";
    assert!(refused.body.contains(said), "{}", refused.body);
    let zip = person.post_files(path, &[("leave_out", "yes")], &[]).await;
    let out = unpack("oneroster.zip", &zip.bytes).expect("a zip file");
    assert_eq!(column(&out, "results.csv", "studentSourcedId"), ["u-1"]);
}
