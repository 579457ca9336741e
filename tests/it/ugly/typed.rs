//! Numbers and choices as people type them: answers with powers and units, lots, bottles, procedures.

use concordant::measure::Reading;
use concordant::procedure::ResultUnit;
use rust_decimal::Decimal;

use super::run;
use crate::week::{acid_form, app};

fn decimal(text: &str) -> Decimal {
    text.parse().expect("a number")
}

#[test]
fn answers_are_read_as_they_are_written() {
    // typed, unit of the result, value, decimals, one in the last figure
    let cases = [
        ("1.23e-3", ResultUnit::MolPerL, "0.00123", 5, "0.00001"),
        ("1.23E-03", ResultUnit::MolPerL, "0.00123", 5, "0.00001"),
        ("1.23×10^-3", ResultUnit::MolPerL, "0.00123", 5, "0.00001"),
        ("1.23 x 10-3", ResultUnit::MolPerL, "0.00123", 5, "0.00001"),
        (
            "1,23·10⁻³ mol/l",
            ResultUnit::MolPerL,
            "0.00123",
            5,
            "0.00001",
        ),
        (
            "1.230 × 10⁻³ mol L⁻¹",
            ResultUnit::MolPerL,
            "0.00123",
            6,
            "0.000001",
        ),
        ("0.0980 M", ResultUnit::MolPerL, "0.0980", 4, "0.0001"),
        (
            "0,0980 mol dm-3",
            ResultUnit::MolPerL,
            "0.0980",
            4,
            "0.0001",
        ),
        ("91.2 %", ResultUnit::PercentMass, "91.2", 1, "0.1"),
        ("91,2%", ResultUnit::PercentMass, "91.2", 1, "0.1"),
        ("91.2 % w/w", ResultUnit::PercentMass, "91.2", 1, "0.1"),
        ("4.5e4", ResultUnit::MgPerL, "45000", 0, "1000"),
        ("4.5e1 mg/L", ResultUnit::MgPerL, "45", 0, "1"),
        ("18.40", ResultUnit::MgPerL, "18.40", 2, "0.01"),
    ];
    for (text, unit, value, decimals, last) in cases {
        let read = Reading::parse_answer_in(text, |written| unit.is_written(written));
        let read = read.unwrap_or_else(|why| panic!("{text}: {why}"));
        assert_eq!(read.value(), decimal(value), "{text}");
        assert_eq!(read.decimals(), decimals, "{text}");
        assert_eq!(read.last_unit(), decimal(last), "{text}");
        // as it is kept
        let kept = Reading::try_from(String::from(read.clone())).expect("is read again");
        assert_eq!(kept, read, "{text}");
    }
    for text in [
        "91.2 g/L",
        "1.2e",
        "e3",
        "1.2e999",
        "abc",
        "1.2 x 11-3",
        "",
        "12 mol",
    ] {
        let read = Reading::parse_answer_in(text, |written| ResultUnit::MgPerL.is_written(written));
        assert!(read.is_err(), "{text}");
    }
    // a reading is never a power
    assert!(Reading::parse("1.8e1").is_err());
}

#[tokio::test]
async fn an_answer_with_a_power_and_its_unit_is_handed_in() {
    let app = app().await;
    let mut student = app.person("0042").await;
    let mut form = acid_form("k-0123456789abcdef", "0", "20.40", "20.42");
    form.retain(|(name, _)| *name != "reported");
    form.push(("reported", "2.043e-1 mol/L"));
    let look = student
        .post_form("/student/experiments/acid/bench", &form)
        .await;
    assert!(
        look.body.contains("<dd>2.043e-1 mol/L</dd>"),
        "{}",
        look.body
    );
    let done = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    let receipt = student.get(done.location()).await;
    assert!(
        receipt.body.contains("Your own answer: 2.043e-1 mol/L"),
        "{}",
        receipt.body
    );
    // bottle and lot stand on it
    assert!(
        receipt
            .body
            .contains("Bottle U-1, as issued; titrant lot N-1."),
        "{}",
        receipt.body
    );
    let page = student.get("/student/experiments/acid").await;
    assert!(
        page.body
            .contains("Bottle U-1, as issued; titrant lot N-1."),
        "{}",
        page.body
    );
}

#[tokio::test]
async fn a_bottle_of_somebody_else_is_asked_about() {
    let app = app().await;
    let mut student = app.person("0042").await;
    let scanned = student
        .get("/student/experiments/acid/bench?unknown=U-2")
        .await;
    assert!(
        scanned.body.contains(
            "<strong>U-2</strong> is not the one issued to you, which is <strong>U-1</strong>"
        ),
        "{}",
        scanned.body
    );
    let own = student.get("/student/experiments/acid/bench").await;
    assert!(
        own.body
            .contains("Bottle <strong>U-1</strong>, as issued to you"),
        "{}",
        own.body
    );
    let mut form = acid_form("k-0123456789abcdef", "0", "20.40", "20.42");
    form.retain(|(name, _)| *name != "unknown");
    form.push(("unknown", "U-2"));
    let asked = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(asked.status, 422);
    assert!(
        asked
            .body
            .contains("U-2 is not the bottle issued to you, which is U-1"),
        "{}",
        asked.body
    );
    form.push(("stand[]", "unknown"));
    let done = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    let receipt = student.get(done.location()).await;
    assert!(
        receipt.body.contains("Bottle U-2, not U-1 as issued"),
        "{}",
        receipt.body
    );
}

#[tokio::test]
async fn lots_that_nobody_uses_or_far_off_their_label_are_asked_about() {
    let app = app().await;
    let mut person = app.person("i.quell").await;
    let lot = |reagent: &'static str, molarity: &'static str| {
        vec![
            ("lot", "X-7"),
            ("reagent", reagent),
            ("molarity", molarity),
            ("uncertainty", "0,0001"),
        ]
    };
    for (reagent, molarity, words) in [
        ("AgNO3", "0.1000", "No experiment uses AgNO\u{2083}"),
        ("NaOH", "0,5000", "0.5 mol/L of NaOH is more than 20 % off"),
    ] {
        let fields = lot(reagent, molarity);
        let asked = person.post_form("/course/lots", &fields).await;
        assert_eq!(asked.status, 422, "{}", asked.body);
        assert!(asked.body.contains(words), "{words} in {}", asked.body);
        let known = app
            .desk
            .view()
            .await
            .expect("a course")
            .term
            .lots
            .contains_key("X-7");
        assert!(!known);
        let seen = asked
            .body
            .split("name=\"seen\" value=\"")
            .nth(1)
            .expect("a field");
        let seen = seen.split('"').next().expect("a value").to_owned();
        let mut again = fields.clone();
        again.push(("seen", &seen));
        let done = person.post_form("/course/lots", &again).await;
        assert_eq!(done.status, 303, "{}", done.body);
        // the second case replaces the first, which wants a reason
        if reagent == "AgNO3" {
            break;
        }
    }
    let sound = person
        .post_form(
            "/course/lots",
            &[
                ("lot", "N-7"),
                ("reagent", "NaOH"),
                ("molarity", "0,1002"),
                ("uncertainty", "0,0001"),
            ],
        )
        .await;
    assert_eq!(sound.status, 303, "{}", sound.body);
    let far = [
        ("lot", "N-8"),
        ("reagent", "NaOH"),
        ("molarity", "0,5000"),
        ("uncertainty", "0,0001"),
    ];
    let asked = person.post_form("/course/lots", &far).await;
    assert_eq!(asked.status, 422);
    assert!(
        asked
            .body
            .contains("0.5 mol/L of NaOH is more than 20 % off"),
        "{}",
        asked.body
    );
    // pasted lines with decimal commas
    let many = [("many", "U-8; 0,2037; 0,0002\nU-9\t0,2096\t0,0002\n")];
    let done = person
        .post_form("/course/experiments/acid/unknowns/many", &many)
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
}

#[tokio::test]
async fn procedures_are_seen_and_downloaded() {
    let app = app().await;
    let mut person = app.person("i.quell").await;
    let page = person.get("/course/procedures/vinegar-acidity").await;
    assert_eq!(page.status, 200);
    let printed = run(std::path::Path::new("."), &["check", "vinegar-acidity"]);
    assert_eq!(printed.code, Some(0), "{}", printed.err);
    let reachable = printed
        .out
        .lines()
        .find(|line| line.contains("reachable"))
        .expect("a line");
    assert!(
        page.body.contains(reachable.trim()),
        "{reachable} in {}",
        page.body
    );
    let file = person.get("/course/procedures/vinegar-acidity.toml").await;
    let shipped = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("seed-data/procedures/vinegar-acidity.toml");
    assert_eq!(file.bytes, std::fs::read(shipped).expect("is read"));
    assert_eq!(person.get("/course/procedures/no-such").await.status, 404);
    let list = person.get("/course/experiments").await;
    assert!(
        list.body
            .contains("/course/procedures/vinegar-acidity.toml"),
        "{}",
        list.body
    );
    let mut student = app.person("0042").await;
    assert_ne!(
        student
            .get("/course/procedures/vinegar-acidity")
            .await
            .status,
        200
    );
}

#[test]
fn a_procedure_that_does_not_say_what_is_dangerous_is_warned_about() {
    let place = tempfile::tempdir().expect("a directory");
    let shipped = std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("seed-data/procedures/vinegar-acidity.toml");
    let text = std::fs::read_to_string(shipped).expect("is read");
    let (before, rest) = text.split_once("cautions = [").expect("cautions");
    let (_, after) = rest.split_once("\n]\n").expect("the end of a list");
    let is_waste = |line: &&str| line.starts_with("waste = ");
    let after: Vec<&str> = after.lines().filter(|line| !is_waste(line)).collect();
    let text = format!("{before}{}\n", after.join("\n"));
    std::fs::write(place.path().join("vinegar-acidity.toml"), text).expect("written");
    let said = run(place.path(), &["check", "vinegar-acidity.toml"]);
    assert_eq!(said.code, Some(0), "{}", said.err);
    assert!(
        said.out.contains("warning    there are no cautions"),
        "{}",
        said.out
    );
    assert!(
        said.out.contains("warning    there is no waste"),
        "{}",
        said.out
    );
    let missing = run(place.path(), &["check", "no-such"]);
    assert_eq!(missing.code, Some(1));
    assert!(missing.err.contains("a shipped one"), "{}", missing.err);
}

#[tokio::test]
async fn the_gradebook_leaves_as_a_workbook_with_ids_as_text() {
    use calamine::{Data, Reader as _, open_workbook_auto_from_rs};
    let app = app().await;
    let mut person = app.person("i.quell").await;
    let answer = person.get("/course/gradebook.xlsx").await;
    assert_eq!(answer.status, 200);
    let mut book =
        open_workbook_auto_from_rs(std::io::Cursor::new(answer.bytes)).expect("a workbook");
    let (_, range) = book.worksheets().remove(0);
    let ids: Vec<Data> = range.rows().skip(1).map(|row| row[0].clone()).collect();
    assert!(ids.contains(&Data::String("0042".to_owned())), "{ids:?}");
    let exact = person.get("/course/gradebook-exact.csv").await.body;
    assert_eq!(range.height(), exact.lines().count());
}
