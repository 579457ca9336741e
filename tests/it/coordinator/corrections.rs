//! A value is corrected: looked at first, applied, heard of by students, and taken back.

use concordant::desk::bring_in_term;
use concordant::judge::{AuditKind, GroupName};
use concordant::term::{BySlot, Judged, Slot};

use super::done;
use crate::app::{Person, TestApp};
use concordant::simulate::class::SimulatedClass;
use concordant::simulate::supplies::Wrong;

use crate::audit::rehearsal::{crossed, rehearse};

/// A rehearsed class at a server, with a coordinator who is signed in.
async fn class(class: SimulatedClass) -> (TestApp, Person) {
    let app = TestApp::spawn_new().await;
    let term = rehearse(&class, 42).term;
    bring_in_term(&app.desk, &term, "test", app.clock.now())
        .await
        .expect("is brought in");
    let person = app.person("i.quell").await;
    (app, person)
}

async fn judged(app: &TestApp) -> BySlot<Judged> {
    app.desk.view().await.expect("a course").judged.clone()
}

fn totals(judged: &BySlot<Judged>) -> Vec<String> {
    let one = |(slot, judged): (&Slot, &Judged)| {
        format!("{} {}", slot.student, judged.evaluation.marks.total)
    };
    judged.iter().map(one).collect()
}

/// The fields of the first form on a page that goes to that address.
fn form_of(page: &str, action: &str) -> Vec<(String, String)> {
    let start = page.find(&format!("action=\"{action}\"")).expect("a form");
    let form = page[start..].split("</form>").next().expect("an end");
    let attribute = |tag: &str, name: &str| {
        let after = tag.split(&format!("{name}=\"")).nth(1)?;
        Some(after.split('"').next()?.to_owned())
    };
    let unescape = |text: String| {
        let text = text.replace("&#38;", "&").replace("&#60;", "<");
        text.replace("&#62;", ">").replace("&#39;", "'")
    };
    let fields = form.split("<input ").skip(1).filter_map(|tag| {
        let name = attribute(tag, "name")?;
        Some((name, unescape(attribute(tag, "value").unwrap_or_default())))
    });
    fields.filter(|(name, _)| name != "csrf").collect()
}

async fn post(person: &mut Person, action: &str, fields: &[(String, String)]) -> (u16, String) {
    let fields: Vec<(&str, &str)> = fields
        .iter()
        .map(|(name, value)| (name.as_str(), value.as_str()))
        .collect();
    let answer = person.post_form(action, &fields).await;
    (answer.status, answer.body)
}

#[tokio::test]
async fn a_bad_lot_is_proposed_previewed_corrected_and_taken_back() {
    let wrong = crossed("spring-chloride").but(Wrong::Lot(1, 2.5));
    let (app, mut person) = class(wrong).await;
    let before = judged(&app).await;

    let overview = person.get("/course/audit").await.body;
    assert!(overview.contains("1 of 40 groups looks off"), "{overview}");
    let page = person.get("/course/experiments/e/audit").await;
    assert_eq!(page.status, 200);
    let page = page.body;
    for words in [
        "Titrant lot L1",
        "Assigned 0.02 mol/L, 48 results with a bias of",
        "Standardise the lot again",
        "role=\"img\" aria-label=\"48 results from",
        "section S0",
    ] {
        assert!(page.contains(words), "{words} in {page}");
    }
    // every group has its picture, every result its row
    assert_eq!(page.matches("<svg class=\"strip").count(), 40);
    assert!(
        before
            .keys()
            .all(|slot| page.contains(slot.student.as_str()))
    );
    assert!(!page.contains("style="), "nothing is styled inline");

    let proposed = form_of(&page, "/course/lots/preview");
    let (status, preview) = post(&mut person, "/course/lots/preview", &proposed).await;
    assert_eq!(status, 200, "{preview}");
    assert!(preview.contains("Nothing is changed yet"));
    assert_eq!(judged(&app).await, before, "a look changes nothing");
    let mut apply = form_of(&preview, "/course/lots");
    assert!(
        apply
            .iter()
            .any(|(name, value)| name == "reason" && value.starts_with("consensus of 48 results"))
    );

    // without a reason nothing happens
    let reason = apply
        .iter()
        .position(|(name, _)| name == "reason")
        .expect("asked for");
    let kept = std::mem::take(&mut apply[reason].1);
    let (status, refused) = post(&mut person, "/course/lots", &apply).await;
    assert_eq!(status, 422);
    assert!(refused.contains("expected a sentence that says why"));
    assert_eq!(judged(&app).await, before);

    apply[reason].1 = kept;
    let (status, body) = post(&mut person, "/course/lots", &apply).await;
    assert_eq!(status, 303, "{body}");
    let after = judged(&app).await;
    // what was shown is what came: everybody whose points moved, with both numbers, and nobody else
    let mut moved = 0;
    for (slot, was) in &before {
        let is = after.get(slot).expect("is there");
        let (was, is) = (was.evaluation.marks.total, is.evaluation.marks.total);
        let row = format!("<td data-label=\"Id\">{}</td>", slot.student);
        assert_eq!(preview.contains(&row), was != is, "{}", slot.student);
        if was != is {
            let numbers = format!(
                "data-label=\"Points now\">{was}</td><td class=\"num\" data-label=\"Points then\">{is}</td>"
            );
            let at = preview.find(&row).expect("is there");
            assert!(
                preview[at..]
                    .split("</tr>")
                    .next()
                    .expect("a row")
                    .contains(&numbers)
            );
            moved += 1;
        }
    }
    assert!(moved > 10, "{moved}");
    let overview = person.get("/course/audit").await.body;
    assert!(overview.contains("Nothing looks off"), "{overview}");

    // the value seen is not the value any more: the same form again is refused
    let (status, again) = post(&mut person, "/course/lots", &apply).await;
    assert_eq!(status, 422);
    assert!(again.contains("changed since you looked"), "{again}");

    // back to the earlier value, in a version of its own
    let lots = person.get("/course/lots").await.body;
    let back = form_of(
        &lots[lots.find("Changed values").expect("a history")..],
        "/course/lots/preview",
    );
    assert!(back.contains(&("reason".to_owned(), "back to version 1".to_owned())));
    let (status, preview) = post(&mut person, "/course/lots/preview", &back).await;
    assert_eq!(status, 200, "{preview}");
    let (status, body) = post(
        &mut person,
        "/course/lots",
        &form_of(&preview, "/course/lots"),
    )
    .await;
    assert_eq!(status, 303, "{body}");
    assert_eq!(totals(&judged(&app).await), totals(&before));
    let view = app.desk.view().await.expect("a course");
    assert_eq!(view.term.lots["L1"].version, 3);
}

#[tokio::test]
async fn values_typed_by_hand_can_be_looked_at_first() {
    let (app, mut person) = class(crossed("spring-chloride").in_one_section()).await;
    let before = judged(&app).await;
    let at = "/course/experiments/e/unknowns";
    let page = person.get(at).await.body;
    for form in ["record", "record?code=U1", "batch"] {
        let link = format!("href=\"/prep/experiments/e/{form}\"");
        assert!(page.contains(&link), "{link} in {page}");
    }
    let lots = person.get("/course/lots").await.body;
    assert!(lots.contains("href=\"/prep/lots/record?code=L0\""));

    let preview_at = "/course/experiments/e/unknowns/preview";
    let one = [
        ("unknown", "U1"),
        ("true_value", "12.5"),
        ("uncertainty", "0.1"),
    ];
    let answer = person.post_form(preview_at, &one).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    assert!(answer.body.contains("<strong>12.5</strong>") && answer.body.contains("unknown U1"));
    let many = [("many", "U1,12.5,0.1\nU2,13,0.1"), ("reason", "typed anew")];
    let answer = person.post_form(preview_at, &many).await;
    assert_eq!(answer.status, 200, "{}", answer.body);
    assert!(answer.body.contains("Unknown U2") && answer.body.contains("value=\"typed anew\""));
    assert_eq!(judged(&app).await, before);
    let apply = form_of(&answer.body, "/course/experiments/e/unknowns/many");
    let (status, body) = post(&mut person, "/course/experiments/e/unknowns/many", &apply).await;
    assert_eq!(status, 303, "{body}");
    assert_eq!(
        app.desk.view().await.expect("a course").term.unknowns["e"]["U2"].version,
        2
    );

    // what cannot be is named beside its field, as when it is saved
    let bad = [
        ("unknown", "U1"),
        ("true_value", "x"),
        ("uncertainty", "0.1"),
    ];
    let answer = person.post_form(preview_at, &bad).await;
    assert_eq!(answer.status, 422);
    assert!(answer.body.contains("id=\"true_value-fault\"") && answer.body.contains("value=\"x\""));
    let bad = [("many", "U1,12.5\n")];
    let answer = person.post_form(preview_at, &bad).await;
    assert_eq!(answer.status, 422);
    assert!(answer.body.contains("pasted lines:1"), "{}", answer.body);
    let twin = [("many", "u1,12.5,0.1\n")];
    let answer = person.post_form(preview_at, &twin).await;
    assert_eq!(answer.status, 422);
    assert!(
        answer.body.contains("id=\"many-fault\"") && answer.body.contains("in more than capitals")
    );
    let same = [
        ("unknown", "U1"),
        ("true_value", "12.5"),
        ("uncertainty", "0.1"),
    ];
    let answer = person.post_form(preview_at, &same).await;
    assert!(
        answer.body.contains("the course has it so already"),
        "{}",
        answer.body
    );
    let answer = person
        .post_form("/course/experiments/none/unknowns/preview", &one)
        .await;
    assert_eq!(answer.status, 404);
}

#[tokio::test]
async fn students_hear_of_a_correction_and_not_of_the_value() {
    let (app, mut person) = class(crossed("spring-chloride").in_one_section()).await;
    let at = "/course/experiments/e/unknowns";
    let (own, other) = {
        let view = app.desk.view().await.expect("a course");
        let of = |code: &str| {
            let slot = view.term.issued.iter().find(|(_, given)| *given == code);
            slot.map(|(slot, _)| slot.student.clone())
                .expect("is issued")
        };
        (of("U1"), of("U2"))
    };
    let mut student = app.person(&own).await;
    let mut neighbour = app.person(&other).await;
    let value = |app: &TestApp, factor: &'static str| {
        let desk = app.desk.clone();
        async move {
            let view = desk.view().await.expect("a course");
            let held = view.term.unknowns["e"]["U1"].truth.open().value;
            (held
                * factor
                    .parse::<rust_decimal::Decimal>()
                    .expect("is a number"))
            .round_dp(4)
        }
    };
    // before anything is released a correction is nobody's business
    let early = value(&app, "1.001").await.to_string();
    let fields = [
        ("unknown", "U1"),
        ("true_value", &early),
        ("uncertainty", "0.1"),
        ("reason", "early"),
    ];
    done(&mut person, at, &fields).await;
    done(
        &mut person,
        "/course/experiments/e/release",
        &[("as_they_are", "yes")],
    )
    .await;
    let page = student.get("/student/experiments/e").await.body;
    assert!(
        page.contains(" points</h2>") && !page.contains("corrected on"),
        "{page}"
    );

    let points = |judged: &BySlot<Judged>| {
        let total = judged
            .get(&crate::slot("e", &own))
            .expect("is there")
            .evaluation
            .marks
            .total;
        total.normalize().to_string()
    };
    let was = points(&judged(&app).await);
    let corrected = value(&app, "1.05").await.to_string();
    let reason = format!("misweighed: {corrected}, not {early}");
    let fields = [
        ("unknown", "U1"),
        ("true_value", &corrected),
        ("uncertainty", "0.1"),
        ("reason", &reason),
    ];
    let preview = person
        .post_form("/course/experiments/e/unknowns/preview", &fields)
        .await
        .body;
    assert!(
        preview.contains("are released. Its students will see their new points"),
        "{preview}"
    );
    done(&mut person, at, &fields).await;
    let is = points(&judged(&app).await);
    assert_ne!(was, is);
    let page = student.get("/student/experiments/e").await.body;
    let said = format!(": your points went from {was} to {is}.");
    assert!(
        page.contains("The assigned value of your bottle was corrected on"),
        "{page}"
    );
    assert!(page.contains(&said), "{said} in {page}");
    assert_eq!(page.matches("corrected on").count(), 1);
    for secret in [corrected.as_str(), early.as_str(), "misweighed"] {
        assert!(!page.contains(secret), "{secret} in {page}");
    }
    let page = neighbour.get("/student/experiments/e").await.body;
    assert!(!page.contains("corrected on"), "{page}");

    // a lot is named by what stands on its label
    let lot = [
        ("lot", "L0"),
        ("reagent", "Ag^+"),
        ("molarity", "0.0203711"),
        ("uncertainty", "0.00002"),
        ("reason", "standardised again"),
    ];
    done(&mut person, "/course/lots", &lot).await;
    let page = neighbour.get("/student/experiments/e").await.body;
    assert!(
        page.contains("The assigned molarity of lot L0 was corrected on"),
        "{page}"
    );
    assert!(!page.contains("standardised again"));
    // withdrawn, nothing of it is seen
    done(&mut person, "/course/experiments/e/withdraw", &[]).await;
    let page = neighbour.get("/student/experiments/e").await.body;
    assert!(!page.contains("corrected on"), "{page}");
}

#[tokio::test]
async fn a_lot_that_is_also_a_section_is_said_to_be_either() {
    let class_of = SimulatedClass {
        lots_of: vec![vec![0], vec![1], vec![0], vec![0]],
        ..crossed("vinegar-acidity")
    };
    let (app, mut person) = class(class_of.but(Wrong::Lot(1, 1.0))).await;
    let page = person.get("/course/experiments/e/audit").await.body;
    let said = "looks off, unless it is section S1: the same students";
    assert!(page.contains(said), "{page}");
    assert!(page.contains("that has to be found at the bench"), "{page}");
    let view = app.desk.view().await.expect("a course");
    let audits = view.term.audit(view.judged.iter());
    let section = audits[0].group(&GroupName::new(AuditKind::Section, "S1"));
    assert!(section.is_some_and(|group| group.verdict.is_off() && !group.verdict.is_named()));
    let release = person.get("/course/experiments/e/release").await.body;
    assert!(
        release
            .contains("look at titrant lot L1 first; the class does not find what was assigned."),
        "{release}"
    );
}

#[tokio::test]
async fn a_section_that_titrates_too_far_has_no_value_to_correct() {
    let late = crossed("spring-chloride").but(Wrong::Section(2, 0.30));
    let (_app, mut person) = class(late).await;
    let page = person.get("/course/experiments/e/audit").await.body;
    assert!(
        page.contains("<h2>Section S2</h2>") && page.contains("No value is to be corrected"),
        "{page}"
    );
    assert!(!page.contains("/preview"), "{page}");
    let home = person.get("/course").await.body;
    assert!(
        home.contains("look at section S2 first; its results are off"),
        "{home}"
    );
    let release = person.get("/course/experiments/e/release").await.body;
    assert!(
        release.contains("look at section S2 first; its results are off."),
        "{release}"
    );
    assert!(
        !release.contains("does not find what was assigned"),
        "{release}"
    );
}

#[tokio::test]
async fn sections_stand_side_by_side() {
    let (app, mut person) = class(crossed("vinegar-acidity")).await;
    let page = person.get("/course/sections").await.body;
    assert!(
        page.contains("Nothing sets a section or an assistant apart"),
        "{page}"
    );
    assert!(page.contains("Assistant 1 (a1)"), "{page}");
    // one assistant gives everything, the others half
    let mut fields: Vec<(String, String)> = Vec::new();
    for slot in judged(&app).await.keys() {
        let generous = slot.student.starts_with("s2") || slot.student.starts_with("s3");
        let even = slot.student.ends_with(['0', '2', '4', '6', '8']);
        let points = match (generous, even) {
            (true, true) => "2",
            (true, false) => "1.9",
            (false, true) => "1",
            (false, false) => "1.1",
        };
        fields.push((format!("points:{}", slot.student), points.to_owned()));
    }
    {
        let points: Vec<(concordant::ids::StudentId, rust_decimal::Decimal)> = fields
            .iter()
            .map(|(name, points)| {
                let id = concordant::ids::StudentId::new(name.trim_start_matches("points:"));
                (id, points.parse().expect("is a number"))
            })
            .collect();
        let who = ("a1", app.clock.now());
        let refused =
            concordant::desk::give_points_to(&app.desk, &crate::key("e"), &points, who).await;
        assert!(refused.expect("given").is_empty());
    }
    let page = person.get("/course/sections?experiment=e").await.body;
    let said =
        "Assistant 1 (a1): students are given 45.0 % of the points more by hand than the rest";
    assert!(page.contains(said), "{page}");
    assert!(
        page.contains("it looks like the hand, not the work"),
        "{page}"
    );
    assert!(!page.contains("style="));
    assert_eq!(
        person.get("/course/sections?experiment=none").await.status,
        404
    );
}

#[tokio::test]
async fn another_due_date_can_be_looked_at_first() {
    let app = crate::week::app().await;
    let mut person = app.person("i.quell").await;
    let mut student = app.person("0042").await;
    let form = crate::week::acid_form("0123456789abcdef0123456789abcdef", "0", "20.40", "20.48");
    let answer = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(answer.status, 303);
    let before = judged(&app).await;
    let at = "/course/experiments/acid/dates/preview";
    // due five years ago: late by more than the floor allows for
    let dates = [("opens", "2020-09-14T09:00"), ("due", "2020-09-15T09:00")];
    let page = person.post_form(at, &dates).await;
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(
        page.body
            .contains("1 submission is judged anew: 0 gain points, 1 loses points"),
        "{}",
        page.body
    );
    assert!(page.body.contains("Fennimore, Ada") && page.body.contains("Tue 15 Sep 2020, 09:00"));
    assert_eq!(judged(&app).await, before);
    let apply = form_of(&page.body, "/course/experiments/acid/dates");
    let (status, body) = post(&mut person, "/course/experiments/acid/dates", &apply).await;
    assert_eq!(status, 303, "{body}");
    assert_ne!(judged(&app).await, before);
    let wrong = [("opens", "2020-09-14T09:00"), ("due", "soon")];
    let page = person.post_form(at, &wrong).await;
    assert_eq!(page.status, 422);
    assert!(page.body.contains("found “soon”"), "{}", page.body);
}
