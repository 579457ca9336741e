//! The prep room over HTTP: records and batches.

mod printed;

use concordant::files::{Folder, read_term, write_term};

use crate::app::{Person, TestApp};
use crate::week;

/// A lot weighed and made up, as the form sends it.
pub const LOT: [(&str, &str); 12] = [
    ("how", "weighed"),
    ("rows", "0"),
    ("code", "C-7"),
    ("reagent", "Na2CO3"),
    ("made", "2026-10-01"),
    ("expires", "2026-12-24"),
    ("formula", "Na2CO3"),
    ("weighed", "2,6497"),
    ("balance", "balance-0.1mg"),
    ("purity", "0.9995"),
    ("purity_u", "0.0005"),
    ("flask", "flask-250-a"),
];

/// Twelve unknowns from one stock of hydrochloric acid.
pub const VOLUMES: [&str; 12] = [
    "41.00", "42.10", "43.20", "44.30", "45.40", "46.50", "40.10", "39.20", "38.30", "37.40",
    "36.50", "47.60",
];

/// The lines of the batch.
pub fn lines() -> String {
    let line = |(n, volume): (usize, &&str)| format!("R{n:02}, {volume}\n");
    (1_usize..).zip(&VOLUMES).map(line).collect()
}

fn batch(lines: &str) -> Vec<(&'static str, String)> {
    let fields = [
        ("how", "stock"),
        ("rows", "0"),
        ("made", "2026-10-02"),
        ("expires", ""),
        ("formula", "HCl"),
        ("stock", "0.5012"),
        ("stock_u", "0.0004"),
        ("taken", "burette-50-a"),
        ("made_up", "flask-100-a"),
    ];
    let mut fields: Vec<(&str, String)> = fields.map(|(n, v)| (n, v.to_owned())).into();
    fields.push(("many", lines.to_owned()));
    fields
}

/// Enters the batch.
pub async fn enter_batch(person: &mut Person) {
    enter(person, "/prep/experiments/acid/batch", batch(&lines())).await;
}

async fn post(
    person: &mut Person,
    path: &str,
    fields: &[(&str, String)],
    act: &str,
) -> crate::app::Answer {
    let mut all: Vec<(&str, &str)> = fields.iter().map(|(n, v)| (*n, v.as_str())).collect();
    all.push(("do", act));
    person.post_form(path, &all).await
}

fn owned(fields: &[(&'static str, &'static str)]) -> Vec<(&'static str, String)> {
    fields.iter().map(|(n, v)| (*n, (*v).to_owned())).collect()
}

fn set(fields: &mut Vec<(&'static str, String)>, name: &'static str, value: &str) {
    fields.retain(|(n, _)| *n != name);
    fields.push((name, value.to_owned()));
}

/// The versions somebody saw, from the page that says what a record comes to.
fn seen(page: &str) -> String {
    let after = page.split("name=\"seen\" value=\"").nth(1);
    let after = after.unwrap_or_else(|| panic!("no versions on {page}"));
    after.split('"').next().unwrap_or_default().to_owned()
}

async fn enter(person: &mut Person, path: &str, mut fields: Vec<(&'static str, String)>) -> String {
    let looked = post(person, path, &fields, "look").await;
    assert_eq!(looked.status, 200, "{}", looked.body);
    set(&mut fields, "seen", &seen(&looked.body));
    let answer = post(person, path, &fields, "enter").await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let page = person.get(answer.location()).await;
    assert_eq!(page.status, 200, "{}", page.body);
    page.body
}

async fn room() -> (TestApp, Person) {
    let app = week::app().await;
    let person = app.person("f.alder").await;
    (app, person)
}

async fn exported(app: &TestApp) -> Folder {
    write_term(&app.desk.view().await.expect("a course").term)
}

fn text(folder: &Folder, path: &str) -> String {
    let bytes = folder.get(path).unwrap_or_else(|| panic!("no {path}"));
    String::from_utf8(bytes.to_vec()).expect("is text")
}

#[tokio::test]
async fn a_lot_is_recorded_looked_at_entered_and_corrected() {
    let (app, mut person) = room().await;
    let mut fields = owned(&LOT);
    let looked = post(&mut person, "/prep/lots/record", &fields, "look").await;
    assert_eq!(looked.status, 200, "{}", looked.body);
    for words in [
        "Nothing is changed yet",
        "0.09995",
        "What makes it uncertain",
        "calibration, flask",
        "purity",
    ] {
        assert!(looked.body.contains(words), "{words} in {}", looked.body);
    }
    assert!(
        !app.desk
            .view()
            .await
            .expect("a course")
            .term
            .lots
            .contains_key("C-7")
    );
    let page = enter(&mut person, "/prep/lots/record", fields.clone()).await;
    assert!(
        page.contains("The lot is recorded.") && page.contains("molar mass of"),
        "{page}"
    );
    let folder = exported(&app).await;
    let room = text(&folder, "prep-room.toml");
    let written = "[[lot]]\nmade = \"2026-10-01\"\nexpires = \"2026-12-24\"\nlot = \"C-7\"\nreagent = \"Na2CO3\"\n";
    assert!(room.contains(written), "{room}");
    assert!(room.contains("weighed_g = \"2.6497\""), "{room}");
    let again = read_term(&folder).expect("reads");
    assert_eq!(write_term(&again), folder);
    // the same again is nothing
    let same = post(&mut person, "/prep/lots/record", &fields, "look").await;
    assert!(
        same.body.contains("the course has it so already"),
        "{}",
        same.body
    );
    // the form is filled in with the record
    let form = person.get("/prep/lots/record?code=C-7").await.body;
    assert!(
        form.contains("value=\"2.6497\"") && form.contains("value=\"flask-250-a\" selected"),
        "{form}"
    );
    // a correction wants a reason, and keeps both
    set(&mut fields, "weighed", "2.6947");
    let looked = post(&mut person, "/prep/lots/record", &fields, "look").await;
    assert!(
        looked.body.contains("Why the value changes"),
        "{}",
        looked.body
    );
    set(&mut fields, "seen", &seen(&looked.body));
    let silent = post(&mut person, "/prep/lots/record", &fields, "enter").await;
    assert_eq!(silent.status, 422);
    assert!(
        silent.body.contains("expected a sentence that says why"),
        "{}",
        silent.body
    );
    set(&mut fields, "reason", "two digits were exchanged");
    let done = post(&mut person, "/prep/lots/record", &fields, "enter").await;
    assert_eq!(done.status, 303, "{}", done.body);
    // who looked at the older value is told
    set(&mut fields, "weighed", "2.7000");
    let stale = post(&mut person, "/prep/lots/record", &fields, "enter").await;
    assert_eq!(stale.status, 422);
    assert!(
        stale.body.contains("changed since you looked"),
        "{}",
        stale.body
    );
    let page = person.get("/prep/lot?code=C-7").await.body;
    assert!(
        page.contains("two digits were exchanged") && page.contains("<del>0.09995"),
        "{page}"
    );
    assert!(text(&exported(&app).await, "prep-room.toml").contains("version = 2"));
}

#[tokio::test]
async fn what_is_wrong_with_a_record_stands_beside_its_field() {
    let (_app, mut person) = room().await;
    let mut fields = owned(&LOT);
    for (name, value) in [
        ("weighed", "2.6S"),
        ("flask", ""),
        ("expires", "2026-09-01"),
        ("formula", "Na2Co3x"),
    ] {
        set(&mut fields, name, value);
    }
    let answer = post(&mut person, "/prep/lots/record", &fields, "look").await;
    assert_eq!(answer.status, 422);
    for field in ["weighed", "flask", "expires", "formula"] {
        let beside = format!("id=\"{field}-fault\"");
        assert!(answer.body.contains(&beside), "{field}: {}", answer.body);
    }
    assert!(
        answer.body.contains("value=\"2.6S\""),
        "what was typed is kept"
    );
    assert!(answer.body.contains("expected a day from 2026-10-01 on"));
    let mut rows = owned(&LOT);
    set(&mut rows, "rows", "1");
    let row = post(&mut person, "/prep/lots/record", &rows, "row").await;
    assert_eq!(row.status, 200);
    assert!(
        row.body.contains("Dilution 2") && row.body.contains("value=\"2,6497\""),
        "{}",
        row.body
    );
    for (name, value) in [
        ("rows", "2"),
        ("taken.1", "pipette-50-a"),
        ("flask.1", "flask-25-a"),
        ("volume.2", "3"),
    ] {
        rows.retain(|(n, _)| *n != name);
        rows.push((name, value.to_owned()));
    }
    let answer = post(&mut person, "/prep/lots/record", &rows, "look").await;
    assert_eq!(answer.status, 422);
    for field in ["taken.1", "taken.2", "flask.2"] {
        assert!(
            answer.body.contains(&format!("id=\"{field}-fault\"")),
            "{field}: {}",
            answer.body
        );
    }
}

#[tokio::test]
async fn a_lot_is_standardised() {
    let (app, mut person) = room().await;
    let form = person.get("/prep/lots/record?how=standardised").await.body;
    assert!(form.contains("value=\"naoh-against-khp\""), "{form}");
    let mut fields = owned(&[
        ("how", "standardised"),
        ("rows", "3"),
        ("code", "N-9"),
        ("reagent", "NaOH"),
        ("procedure", "naoh-against-khp"),
    ]);
    let shown = post(&mut person, "/prep/lots/record", &fields, "procedure").await;
    assert!(
        shown.body.contains("name=\"burette_end_mL.3\""),
        "{}",
        shown.body
    );
    let readings = [
        ("sample_before_g.1", "12.3456"),
        ("sample_after_g.1", "11.8342"),
        ("burette_start_mL.1", "0.10"),
        ("burette_end_mL.1", "25.14"),
        ("sample_before_g.2", "11.8342"),
        ("sample_after_g.2", "11.3236"),
        ("burette_start_mL.2", "0.05"),
        ("burette_end_mL.2", "25.06"),
    ];
    fields.extend(owned(&readings));
    let page = enter(&mut person, "/prep/lots/record", fields).await;
    assert!(
        page.contains("0.0999") && page.contains("Trial 2"),
        "{page}"
    );
    let room = text(&exported(&app).await, "prep-room.toml");
    assert!(
        room.contains("[lot.standardised]") && room.contains("burette_end_mL = \"25.14\""),
        "{room}"
    );
    let form = person.get("/prep/lots/record?code=N-9").await.body;
    assert!(form.contains("value=\"25.06\""), "{form}");
}

#[tokio::test]
async fn twelve_unknowns_are_made_in_one_go() {
    let (app, mut person) = room().await;
    let path = "/prep/experiments/acid/batch";
    let looked = post(&mut person, path, &batch(&lines()), "look").await;
    assert_eq!(looked.status, 200, "{}", looked.body);
    assert!(looked.body.contains("Enter all 12"), "{}", looked.body);
    // 41.00 mL of 0.5012 mol/L to 100 mL
    assert!(looked.body.contains("0.20549"), "{}", looked.body);
    let page = enter(&mut person, path, batch(&lines())).await;
    assert!(
        page.contains("12 unknowns are recorded.") && page.contains("R12"),
        "{page}"
    );
    let folder = exported(&app).await;
    let room = text(&folder, "prep-room.toml");
    assert_eq!(room.matches("stock_mol_per_L = \"0.5012\"").count(), 12);
    assert!(room.contains("volume_mL = \"47.60\""), "{room}");
    assert_eq!(write_term(&read_term(&folder).expect("reads")), folder);
    let one = person
        .get("/prep/experiments/acid/unknown?code=R01")
        .await
        .body;
    assert!(
        one.contains("volume taken for dilution 1") && one.contains("molarity of the stock"),
        "{one}"
    );
    // lines with slips, each named
    let bad = "R13, 30.5x\nR14\nr01, 30.00\nR15, 60.00\n";
    let answer = post(&mut person, path, &batch(bad), "look").await;
    assert_eq!(answer.status, 422);
    assert!(
        answer.body.contains("line 2: found 1 cells, expected 2"),
        "{}",
        answer.body
    );
    let answer = post(&mut person, path, &batch(&bad.replace("R14\n", "")), "look").await;
    assert_eq!(answer.status, 422);
    for words in ["line 1: ", "line 3: ", "R15, 60.00"] {
        assert!(answer.body.contains(words), "{words} in {}", answer.body);
    }
    let twin = post(&mut person, path, &batch("r01, 30.00\n"), "look").await;
    assert_eq!(twin.status, 422);
    assert!(
        twin.body.contains("differs from \u{201c}R01\u{201d}"),
        "{}",
        twin.body
    );
    let mut pipettes = batch("P1, 25\nP2, 50\nP3, 33\n");
    set(&mut pipettes, "taken", "pipettes-a");
    let answer = post(&mut person, path, &pipettes, "look").await;
    assert_eq!(answer.status, 422, "there is no pipette of 33 mL");
    set(&mut pipettes, "many", "P1, 25\nP2, 50\n");
    let answer = post(&mut person, path, &pipettes, "look").await;
    assert_eq!(answer.status, 200, "{}", answer.body);
}
