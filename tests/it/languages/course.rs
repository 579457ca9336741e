//! A German course in a browser, from signing in to the results.

use concordant::changes::Change;
use concordant::course::Course;
use concordant::desk::release;
use concordant::language::Language;

use crate::app::TestApp;
use crate::browser::student::{field, open_part_of, write};
use crate::browser::{Browser, LAPTOP, Look, PHONE, sign_in, with};
use crate::week;

pub async fn in_german(app: &TestApp) {
    let course = app.desk.view().await.expect("a course").term.course.clone();
    let german = Change::Course(Course {
        language: Language::German,
        ..course
    });
    let made = app.desk.apply(vec![german], "i.quell", app.clock.now());
    made.await.expect("is changed");
}

async fn says(browser: &Browser, page: &str, name: &str, texts: &[&str]) {
    let shown = browser.text("body").await;
    for text in texts {
        assert!(shown.contains(text), "{page}: no “{text}” in\n{shown}");
    }
    assert!(browser.overhang().await <= 0, "{page} scrolls sideways");
    browser.screenshot(&format!("german-{page}-{name}")).await;
}

async fn journey(app: TestApp, browser: Browser, name: &str) {
    browser.open(&format!("{}/sign-in", app.address)).await;
    let anmelden = ["Anmelden", "Anmeldename", "Passwort", "Ihre Matrikelnummer"];
    says(&browser, "sign-in", name, &anmelden).await;
    let language = browser.find("html").await.attr("lang").await;
    assert_eq!(language.expect("known").as_deref(), Some("de"));
    browser.open(&format!("{}/claim", app.address)).await;
    says(
        &browser,
        "claim",
        name,
        &["Passwort festlegen", "Mindestens 15 Zeichen"],
    )
    .await;

    sign_in(&app, &browser, "0042").await;
    let start = [
        "Ihre Versuche",
        "Zu erledigen",
        "Ihre Flasche: U-1",
        "Abmelden",
    ];
    says(&browser, "home", name, &start).await;
    browser.submit("a[href='/student/experiments/acid']").await;
    let page = [
        "Ablesungen eintragen",
        "Durchführung",
        "Gefahrenhinweise",
        "Klasse A",
        "auf 2 Nachkommastellen",
    ];
    says(&browser, "experiment", name, &page).await;
    browser
        .submit("a[href='/student/experiments/acid/bench']")
        .await;
    write(&browser, &field("1.burette_start_mL"), "0,00").await;
    write(&browser, &field("1.burette_end_mL"), "20.4O").await;
    write(&browser, &field("2.burette_start_mL"), "0,10").await;
    write(&browser, &field("2.burette_end_mL"), "20.48").await;
    let live = browser
        .find("fieldset[data-trial='2'] [data-delivered]")
        .await;
    assert_eq!(live.text().await.expect("text"), "Verbrauch 20,38 mL");
    says(
        &browser,
        "bench",
        name,
        &["Bürette, Ende (mL)", "Bestimmung 2"],
    )
    .await;
    open_part_of(&browser, "#lot").await;
    browser.click("#lot option:nth-child(2)").await;
    write(&browser, "#reported", "0,2043").await;
    browser.submit("main .bar button").await;
    let fault = [
        "1 Feld bitte noch einmal ansehen",
        "„20.4O“ angegeben, erwartet Ziffern mit höchstens einem Dezimalkomma oder -punkt, etwa 18,40",
    ];
    says(&browser, "bench-fault", name, &fault).await;
    write(&browser, &field("1.burette_end_mL"), "20.4").await;
    browser.submit("main .bar button").await;
    let look = [
        "Vor der Abgabe prüfen",
        "Haben Sie das so abgelesen?",
        "20,4 ist nicht mit 2 Nachkommastellen angegeben, wie sie hier abzulesen sind: Bürette 50 mL",
        "20,38",
        "Spannweite 0,02 mL",
        "Ihr eigenes Ergebnis",
        "0,2043 mol/L",
    ];
    says(&browser, "look", name, &look).await;
    browser.click(".question input").await;
    browser.submit("main .bar button").await;
    let receipt = [
        "Quittung Nr.",
        "ist eingegangen",
        "Ihr eigenes Ergebnis: 0,2043 mol/L.",
    ];
    says(&browser, "receipt", name, &receipt).await;

    release(&app.desk, &crate::key("acid"), ("i.quell", app.clock.now()))
        .await
        .expect("released");
    browser
        .open(&format!("{}/student/experiments/acid", app.address))
        .await;
    let results = [
        "von 22,00 Punkten",
        "Ihre Ablesungen ergeben 0,5",
        "erweiterte Messunsicherheit",
        "Richtigkeit",
        "Ihr Ergebnis weicht um",
        "% vom Sollwert ab",
        "Volle Punktzahl bis",
        "Um erneute Durchsicht bitten",
        "Was Sie abgegeben haben",
        "Was alle Bestimmungen gemeinsam haben",
        "Stoffmengenkonzentration von NaOH, Charge B-1",
        "Anteil an der Varianz",
    ];
    says(&browser, "feedback", name, &results).await;
    browser
        .open(&format!("{}/student/record", app.address))
        .await;
    says(&browser, "record", name, &["Ihre Akte", "Stand:", "Gruppe"]).await;
    browser
        .open(&format!("{}/student/nothing", app.address))
        .await;
    says(
        &browser,
        "nothing",
        name,
        &["Hier ist nichts", "Zur Startseite"],
    )
    .await;
    browser.open(&format!("{}/password", app.address)).await;
    says(
        &browser,
        "password",
        name,
        &["Passwort ändern", "Was mit Ihrem Konto geschah"],
    )
    .await;

    // what staff read stays English
    browser.submit(".account button").await;
    sign_in(&app, &browser, "i.quell").await;
    assert!(browser.text("body").await.contains("Gradebook"));
    let language = browser.find("html").await.attr("lang").await;
    assert_eq!(language.expect("known").as_deref(), Some("en-GB"));
}

async fn visit(look: Look, name: &'static str) {
    let app = week::app().await;
    in_german(&app).await;
    with(look, move |browser| journey(app, browser, name)).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_german_course_on_a_phone() {
    visit(PHONE, "phone").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_german_course_on_a_laptop_in_the_dark() {
    let look = Look {
        dark: true,
        ..LAPTOP
    };
    visit(look, "laptop-dark").await;
}

/// The coordinator chooses the language of a course that is under way; its folder says so.
#[tokio::test]
async fn the_language_of_a_course_is_chosen_on_its_page() {
    let app = week::app().await;
    let mut coordinator = app.person("i.quell").await;
    let page = coordinator.get("/course/settings").await;
    assert!(page.body.contains("Course settings"), "{}", page.body);
    let title = &app
        .desk
        .view()
        .await
        .expect("a course")
        .term
        .course
        .title
        .clone();
    let fields = [
        ("title", title.as_str()),
        ("term", "Herbst 2026"),
        ("language", "de"),
    ];
    let done = coordinator.post_form("/course/settings", &fields).await;
    assert_eq!(done.status, 303, "{}", done.body);
    let wrong = [
        ("title", title.as_str()),
        ("term", "x"),
        ("language", "tlh"),
    ];
    let refused = coordinator.post_form("/course/settings", &wrong).await;
    assert_eq!(refused.status, 422, "{}", refused.body);
    let mut student = app.person("0042").await;
    let home = student.get("/student").await;
    assert!(home.body.contains("<html lang=\"de\" ") && home.body.contains("Ihre Versuche"));
    let view = app.desk.view().await.expect("a course");
    let folder = concordant::files::write_term(&view.term);
    let course = String::from_utf8_lossy(folder.get("course.toml").expect("is there")).into_owned();
    assert!(course.contains("language = \"de\""), "{course}");
}

/// A procedure that holds a German text is read in it; one whose German text says less is refused, key by key.
#[test]
fn a_procedure_holds_its_text_in_several_languages() {
    let (_, text) = concordant::files::shipped_procedures()
        .into_iter()
        .find(|(key, _)| *key == "naoh-against-khp")
        .expect("is shipped");
    let glassware = concordant::files::shipped_glassware();
    let read = |text: &str| concordant::files::read_procedure("p.toml", text, &glassware);
    let procedure = read(&text).expect("is sound");
    assert_eq!(
        procedure.title_in(Language::German),
        "Natronlauge gegen Kaliumhydrogenphthalat"
    );
    assert_eq!(procedure.title_in(Language::English), procedure.title);
    let german = procedure.text_in(Language::German);
    assert_eq!(german.cautions.len(), procedure.text.cautions.len());
    assert!(german.steps[1].contains("0,1 mg"));
    let less = text.replace(
        "  \"Pipettieren Sie nie mit dem Mund. Benutzen Sie eine Pipettierhilfe.\",\n",
        "",
    );
    let faults = read(&less).expect_err("a caution is missing");
    let said: Vec<String> = faults.iter().map(ToString::to_string).collect();
    assert!(said.join("\n").contains("found 5, expected 6"), "{said:?}");
}

/// A page without its markup.
fn bare(page: &str) -> String {
    let pieces = page.split('<').skip(1);
    let said = pieces.filter_map(|piece| Some(piece.split_once('>')?.1));
    said.collect::<Vec<_>>().join("\n")
}

/// Derivation and budget of a released result, as the page of its student and the print of it have them.
#[tokio::test]
async fn a_released_result_is_german_throughout() {
    let app = week::app().await;
    in_german(&app).await;
    let mut student = app.person("0042").await;
    let key = "0123456789abcdef0123456789abcdef";
    let fields = week::acid_form(key, "0", "20.40", "20.48");
    let sent = student
        .post_form("/student/experiments/acid/hand-in", &fields)
        .await;
    assert_eq!(sent.status, 303, "{}", sent.body);
    release(&app.desk, &crate::key("acid"), ("i.quell", app.clock.now()))
        .await
        .expect("released");
    let page = student.get("/student/experiments/acid").await.body;
    let from = page.find("class=\"worked\"").expect("a derivation");
    let to = page.find("</tfoot>").expect("a budget");
    let said = bare(&page[from..to]);
    for needed in [
        "Stoffmengenkonzentration von NaOH, Charge N-1",
        "0,1002",
        "20,40",
        "exakt",
        "Bestimmung 2",
        "Mittelwert der Bestimmungen, die zählen",
        "Die Standardunsicherheit beträgt",
        "Erweiterungsfaktor",
        "Balken für",
        "Wirkt auf",
        "Anteil an der Varianz",
        "Kalibrierung der Bürette",
        "zusammen",
    ] {
        assert!(said.contains(needed), "no “{needed}” in\n{said}");
    }
    let is_digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
    for (place, _) in said.match_indices('.') {
        let around = (
            said[..place].chars().next_back(),
            said[place + 1..].chars().next(),
        );
        let point = is_digit(around.0) && is_digit(around.1);
        assert!(
            !point,
            "a decimal point in “{}”",
            &said[place - 1..place + 2]
        );
    }
    for english in [
        "trial",
        "delivered",
        "molarity",
        "burette",
        " the ",
        "exact",
        "share",
        "scatter",
    ] {
        assert!(!said.contains(english), "“{english}” in\n{said}");
    }
    // staff read the same in English
    let mut coordinator = app.person("i.quell").await;
    let page = coordinator.get("/review/acid/0042").await.body;
    assert!(
        page.contains("What all trials share") && page.contains("burette calibration"),
        "{page}"
    );
}

/// Without a browser: the sign-in page, refusals and password advice.
#[tokio::test]
async fn refusals_and_advice_are_german() {
    let app = week::app().await;
    in_german(&app).await;
    let code = app.code_for("0042").await;
    let mut person = app.stranger();
    let fields = [
        ("login", "0042"),
        ("code", &code),
        ("password", "passwort"),
        ("repeat", "passwort"),
    ];
    let answer = person.post_open("/claim", &fields).await;
    assert_eq!(answer.status, 422);
    assert!(
        answer
            .body
            .contains("Es hat 8 Zeichen und braucht mindestens 15."),
        "{}",
        answer.body
    );
    let wrong = person
        .post_open("/sign-in", &[("login", "0042"), ("password", "x")])
        .await;
    assert!(
        wrong
            .body
            .contains("Anmeldename und Passwort passen nicht zusammen."),
        "{}",
        wrong.body
    );
    let mut student = app.person("0042").await;
    let page = student.get("/course").await;
    assert_eq!(page.status, 403);
    assert!(
        page.body.contains("Diese Seite ist für die Kursleitung."),
        "{}",
        page.body
    );
    let upload = student
        .post_form("/student/experiments/acid/bench/curve", &[("x", "y")])
        .await;
    assert_eq!(upload.status, 415);
    let no_file = "Das ist kein Formular mit einer Datei";
    assert!(upload.body.contains(no_file), "{}", upload.body);
    let account = student.get("/access").await;
    for needed in [
        "Was mit Ihrem Konto geschah",
        "Überall abmelden",
        "mit einem Einmalcode wurde ein Passwort festgelegt",
        "falsches Passwort oder falscher Code",
        "selbst",
    ] {
        assert!(account.body.contains(needed), "{needed}: {}", account.body);
    }
    let bottle = student.get("/student/bottle/NO-SUCH").await;
    assert!(
        bottle
            .body
            .contains("Kein für Sie offener Versuch hat eine Flasche"),
        "{}",
        bottle.body
    );
}
