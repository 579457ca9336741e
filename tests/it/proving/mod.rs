//! What staff titrate before students do: entered, beside the record, asked about before it is issued, in the folder.

mod bars;

use concordant::desk::{Desk, bring_in};
use concordant::files::{Folder, write_term};
use concordant::store::Store;

use crate::app::{Answer, Person, TestApp};
use crate::week;

const PATH: &str = "/proving/acid";

/// A trial on bottle U-1 with lot N-1, from 0.00 to that end.
fn trial<'a>(run: &'a str, trial: &'a str, end: &'a str) -> Vec<(&'a str, &'a str)> {
    vec![
        ("run", run),
        ("proves", "unknown"),
        ("unknown", "U-1"),
        ("lot", "N-1"),
        ("trial", trial),
        ("burette_start_mL", "0.00"),
        ("burette_end_mL", end),
    ]
}

async fn enter(person: &mut Person, fields: &[(&str, &str)]) -> String {
    let answer = person.post_form(PATH, fields).await;
    assert_eq!(answer.status, 303, "{}", answer.body);
    let page = person.get(answer.location()).await;
    assert_eq!(page.status, 200, "{}", page.body);
    page.body
}

async fn run(app: &TestApp, login: &str, ends: [&str; 3]) -> String {
    let mut person = app.person(login).await;
    let mut page = String::new();
    for (number, end) in ["1", "2", "3"].into_iter().zip(ends) {
        page = enter(&mut person, &trial("", number, end)).await;
    }
    page
}

#[tokio::test]
async fn a_bottle_is_proved_and_its_pages_say_so() {
    let app = week::app().await;
    // 0.1002 mol/L · 20.40 mL / 10 mL = 0.20441 mol/L, 0.34 % above the 0.20371 of the record; a burette of class B off by
    // up to 0.1 mL leaves 0.2 % of one standard uncertainty
    let page = run(&app, "f.alder", ["20.40", "20.40", "20.40"]).await;
    assert!(page.contains("The trial is entered."), "{page}");
    assert!(page.contains("by f.alder: +0.3 ± 0."), "{page}");
    assert!(page.contains("%, agrees"), "{page}");
    assert!(page.contains("0.2044"), "{page}");
    assert!(page.contains("20.40"), "{page}");
    let mut prep = app.person("f.alder").await;
    let mut coordinator = app.person("i.quell").await;
    let bottle = prep.get("/prep/experiments/acid/unknown?code=U-1").await;
    assert!(bottle.body.contains("agrees"), "{}", bottle.body);
    let experiment = coordinator.get("/course/experiments/acid").await;
    assert!(
        experiment.body.contains("U-1 proved"),
        "{}",
        experiment.body
    );
    let ready = prep.get("/proving").await.body;
    assert!(ready.contains("U-1 proved"), "{ready}");
    assert!(ready.contains("U-2, Lot B-1, Lot N-1"), "{ready}");
    // the same readings again change nothing
    let seq = app
        .desk
        .view()
        .await
        .expect("a course")
        .term
        .proving
        .clone();
    let again = enter(&mut prep, &trial("1", "3", "20.40")).await;
    assert!(again.contains("as it was entered before"), "{again}");
    assert_eq!(app.desk.view().await.expect("a course").term.proving, seq);
}

#[tokio::test]
async fn nobody_but_staff_with_values_reads_them() {
    let app = week::app().await;
    run(&app, "b.tarn", ["20.40", "20.42", "20.41"]).await;
    let mut assistant = app.person("b.tarn").await;
    for path in [PATH, "/proving", "/proving/acid/demonstration?run=1"] {
        let page = assistant.get(path).await;
        assert_eq!(page.status, 200, "{path}: {}", page.body);
        for secret in week::SECRETS {
            assert!(!page.body.contains(secret), "{path} tells {secret}");
        }
        assert!(!page.body.contains("0.204"), "{path} tells what was found");
    }
    let mut student = app.person("0042").await;
    for path in [PATH, "/proving", "/proving/acid/demonstration"] {
        assert_eq!(student.get(path).await.status, 403, "{path}");
    }
    // nobody is marked by it
    let view = app.desk.view().await.expect("a course");
    assert!(view.judged.is_empty() && view.term.submissions.is_empty());
}

#[tokio::test]
async fn a_room_sees_a_trial_while_it_is_still_running() {
    let app = week::app().await;
    let mut person = app.person("b.tarn").await;
    let start = &trial("", "1", "")[..6];
    enter(&mut person, start).await;
    let path = "/proving/acid/demonstration";
    let room = person.get(path).await.body;
    assert!(room.contains("still running"), "{room}");
    assert!(room.contains("Pipette, titrate, read."), "{room}");
    let before_the_drop = [start, &[("before_last_drop_mL", "20.35")][..]].concat();
    enter(&mut person, &before_the_drop).await;
    let room = person.get(path).await.body;
    assert!(
        room.contains("before the last drop") && room.contains("20.35"),
        "{room}"
    );
    assert!(room.contains("still running"), "{room}");
    enter(&mut person, &trial("", "1", "20.40")).await;
    enter(&mut person, &trial("", "2", "20.46")).await;
    let room = person.get(path).await.body;
    assert!(!room.contains("still running"), "{room}");
    assert!(
        room.contains("2 titres that count lie within 0.06 mL, 0.3 %."),
        "{room}"
    );
}

#[tokio::test]
async fn a_bottle_that_disagrees_is_asked_about_before_anybody_gets_it() {
    let app = week::app().await;
    // 20.80 mL gives 0.20842 mol/L, 2.3 % above the record
    let page = run(&app, "f.alder", ["20.80", "20.80", "20.80"]).await;
    assert!(
        page.contains("+2.3 ± 0.") && page.contains("%, disagrees"),
        "{page}"
    );
    assert!(!page.contains("Record and proving joined"), "{page}");
    let mut coordinator = app.person("i.quell").await;
    let change = ("student", "0043");
    let fields = [change, ("unknown", "U-1"), ("reason", "spilled")];
    let path = "/course/experiments/acid/reissue";
    let asked = coordinator.post_form(path, &fields).await;
    assert_eq!(asked.status, 422, "{}", asked.body);
    assert!(
        asked
            .body
            .contains("Bottle U-1 was proved and does not agree"),
        "{}",
        asked.body
    );
    let held = |view: &concordant::desk::Image| {
        view.term
            .issued
            .get(&crate::slot("acid", "0043"))
            .expect("is there")
            .to_string()
    };
    assert_eq!(held(&app.desk.view().await.expect("a course")), "U-2");
    let sure = [&fields[..], &[("seen", "")][..]].concat();
    let done: Answer = coordinator.post_form(path, &sure).await;
    assert_eq!(done.status, 303, "{}", done.body);
    assert_eq!(held(&app.desk.view().await.expect("a course")), "U-1");
}

#[tokio::test]
async fn a_joined_value_becomes_the_next_version_and_is_not_joined_again() {
    let app = week::app().await;
    run(&app, "f.alder", ["20.40", "20.40", "20.40"]).await;
    let mut coordinator = app.person("i.quell").await;
    let page = coordinator.get(PATH).await.body;
    let value = |name: &str| {
        let rest = page.split(&format!("name=\"{name}\" value=\"")).nth(1);
        rest.and_then(|rest| rest.split('"').next())
            .expect(name)
            .to_owned()
    };
    let (joined, u) = (value("true_value"), value("uncertainty"));
    let number = |text: &str| text.parse::<f64>().expect("a number");
    // between record and proving, nearer to the record, whose uncertainty is about half as large
    assert!((0.20371..0.20406).contains(&number(&joined)), "{joined}");
    assert!(number(&u) < 0.0002, "{u}");
    let fields = [
        ("unknown", "U-1"),
        ("true_value", joined.as_str()),
        ("uncertainty", u.as_str()),
        ("reason", "joined"),
    ];
    let looked = coordinator
        .post_form("/course/experiments/acid/unknowns/preview", &fields)
        .await;
    assert_eq!(looked.status, 200, "{}", looked.body);
    let sure = [&fields[..], &[("seen", "1")][..]].concat();
    let done = coordinator
        .post_form("/course/experiments/acid/unknowns", &sure)
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    let page = coordinator.get(PATH).await.body;
    assert!(!page.contains("Record and proving joined"), "{page}");
}

#[tokio::test]
async fn a_lot_is_proved_with_a_bottle_whose_value_is_known() {
    let app = week::app().await;
    let mut person = app.person("f.alder").await;
    for (number, end) in [("1", "20.40"), ("2", "20.42"), ("3", "20.38")] {
        let mut fields = trial("", number, end);
        fields[1] = ("proves", "lot");
        enter(&mut person, &fields).await;
    }
    // 0.20371 mol/L · 10 mL / 20.40 mL = 0.099858 mol/L, 0.34 % below the 0.1002 of the record
    let page = person.get("/prep/lot?code=N-1").await.body;
    assert!(
        page.contains("Lot N-1 proved") && page.contains("\u{2212}0.3 ± 0."),
        "{page}"
    );
    let page = person.get(PATH).await.body;
    assert!(page.contains("0.09986"), "{page}");
}

#[tokio::test]
async fn what_cannot_be_is_refused_beside_its_field() {
    let app = week::app().await;
    let mut person = app.person("f.alder").await;
    let refused: [(&str, &str, &str); 5] = [
        ("unknown", "", "expected the bottle that is titrated"),
        ("lot", "", "expected the lot of the reagent"),
        ("burette_end_mL", "62.40", "past the end of a"),
        ("burette_end_mL", "twenty", "found"),
        ("trial", "blank 2", "found"),
    ];
    for (name, value, words) in refused {
        let mut fields = trial("", "1", "20.40");
        fields.retain(|(field, _)| *field != name);
        fields.push((name, value));
        let answer = person.post_form(PATH, &fields).await;
        assert_eq!(answer.status, 422, "{name}: {}", answer.body);
        assert!(answer.body.contains(words), "{name}: {}", answer.body);
    }
    enter(&mut person, &trial("", "1", "20.40")).await;
    let mut other = trial("1", "2", "20.40");
    other[2] = ("unknown", "U-2");
    let answer = person.post_form(PATH, &other).await;
    assert_eq!(answer.status, 422, "{}", answer.body);
    assert!(answer.body.contains("begin another run"), "{}", answer.body);
}

async fn brought_in(folder: &Folder) -> Desk {
    let desk = Desk::open(Store::passing().await.expect("a store"));
    let desk = desk.await.expect("a desk");
    let now = "2026-10-01T12:00:00Z".parse().expect("an instant");
    let brought = bring_in(&desk, folder, "test", now).await;
    brought.unwrap_or_else(|why| panic!("{why}: {why:?}"));
    desk
}

#[tokio::test]
async fn a_folder_keeps_every_trial_with_its_readings() {
    let mut folder = week::folder();
    let text = "experiment,run,proves,version,trial,unknown,lot,readings,by,at\n\
        acid,1,unknown,1,1,U-1,N-1,burette_start_mL=0.00 burette_end_mL=20.40 before_last_drop_mL=20.35,b.tarn,2026-09-10T09:00:00Z\n\
        acid,1,unknown,1,2,U-1,N-1,burette_start_mL=0.10,b.tarn,2026-09-10T09:10:00Z\n\
        acid,2,lot,1,1,U-2,N-1,burette_start_mL=0.00 burette_end_mL=20.9,f.alder,\n";
    folder
        .insert("proving.csv", text.as_bytes().to_vec())
        .expect("room");
    let desk = brought_in(&folder).await;
    let written = write_term(&desk.view().await.expect("a course").term);
    assert_eq!(written.get("proving.csv"), Some(text.as_bytes()));
    let again = brought_in(&written).await;
    let before = desk.view().await.expect("a course").term.proving.clone();
    assert_eq!(again.view().await.expect("a course").term.proving, before);
    let now = "2026-10-02T12:00:00Z".parse().expect("an instant");
    let nothing = bring_in(&again, &written, "test", now)
        .await
        .expect("brought in");
    assert_eq!(nothing.changes, 0);
    let mut wrong = week::folder();
    let bad = "experiment,run,proves,trial,unknown,lot,readings,by,at\nacid,1,bottle,1,U-9,N-9,burette_end=20.40,b.tarn,\n";
    wrong
        .insert("proving.csv", bad.as_bytes().to_vec())
        .expect("room");
    let faults = concordant::files::read_term(&wrong).expect_err("is refused");
    let said: Vec<String> = faults.iter().map(ToString::to_string).collect();
    let said = said.join("\n");
    for words in ["unknown or lot", "U-9", "N-9", "burette_end_mL=23.45"] {
        assert!(said.contains(words), "{words} in {said}");
    }
}
