//! What pages look like when something is refused, and pages that only a form leads to.

use super::Looker;
use crate::app::Person;
use crate::demo::Demo;

/// Name, path and fields of a form.
type Sent<'a> = (&'a str, &'a str, &'a [(&'a str, &'a str)]);

const OPEN: &str = "eggshell-carbonate";

pub async fn look_at_all(looker: &mut Looker, demo: &Demo) {
    let nobody = Person::at(&demo.address);
    looker.become_somebody(&nobody).await;
    looker.page("sign-in", 200, "/sign-in").await;
    strangers(looker, nobody).await;
    let student = demo.person("student").await;
    looker.become_somebody(&student).await;
    students(looker, student).await;
    let assistant = demo.person("assistant").await;
    looker.become_somebody(&assistant).await;
    assistants(looker, assistant).await;
    let coordinator = demo.person("coordinator").await;
    looker.become_somebody(&coordinator).await;
    uploads(looker, coordinator).await;
    forms(looker, demo.person("coordinator").await).await;
}

async fn strangers(looker: &mut Looker, mut person: Person) {
    let wrong = [("login", "04128"), ("password", "this is not the one")];
    let refused = person.post_open("/sign-in", &wrong).await;
    looker.answer("sign-in refused", 422, &refused).await;
    let wrong = [
        ("login", "04128"),
        ("code", "AAAA-AAAA"),
        ("password", "short"),
        ("repeat", "other"),
    ];
    let refused = person.post_open("/claim", &wrong).await;
    looker.answer("claim refused", 422, &refused).await;
}

async fn students(looker: &mut Looker, mut person: Person) {
    let bench = format!("/student/experiments/{OPEN}/bench");
    looker
        .page("404", 404, "/student/experiments/nowhere")
        .await;
    looker.page("403", 403, "/course").await;
    let fields = [
        ("key", "0123456789abcdef0123456789abcdef"),
        ("seen", "0"),
        ("trials", "3"),
        ("unknown", "X-99"),
        ("reported", "about nine"),
        ("1.burette_start_mL", "0,00"),
        ("1.burette_end_mL", "20.4O"),
        ("2.burette_start_mL", "0.10"),
        ("2.burette_end_mL", "99.99"),
    ];
    let faults = person.post_form(&bench, &fields).await;
    looker.answer("bench with faults", 422, &faults).await;
    let hand_in = format!("/student/experiments/{OPEN}/hand-in");
    let faults = person.post_form(&hand_in, &fields).await;
    looker
        .answer("bench handed in with faults", 422, &faults)
        .await;
    let wrong = [
        ("password", "short"),
        ("repeat", "other"),
        ("current", "no"),
    ];
    let refused = person.post_form("/password", &wrong).await;
    looker.answer("password refused", 422, &refused).await;
    // the session has ended while the form was filled in
    person.form_token().await;
    person.set_cookie(None);
    let ended = person.post_open(&bench, &fields).await;
    looker.answer("session ended", 401, &ended).await;
}

async fn assistants(looker: &mut Looker, mut person: Person) {
    let list = person.get("/review").await.body;
    let next = list.split("href=\"/review/").nth(1);
    let next = next
        .and_then(|rest| rest.split(['"', '?']).next())
        .expect("a submission");
    let decide = format!("/review/{next}/decide");
    let stale = [
        ("seen", "9"),
        ("filter", ""),
        ("action", "adjust"),
        ("points", "1"),
        ("reason", "as agreed"),
    ];
    let refused = person.post_form(&decide, &stale).await;
    looker.answer("409", 409, &refused).await;
    let wrong = [
        ("seen", "1"),
        ("filter", ""),
        ("action", "adjust"),
        ("points", "many"),
        ("reason", ""),
    ];
    let refused = person.post_form(&decide, &wrong).await;
    looker.answer("decision refused", 422, &refused).await;
}

async fn uploads(looker: &mut Looker, mut person: Person) {
    let roster = b"student_id,family_name,given_name,section\n1,A,B\n1,A,B,C\n1,A,B,\n";
    let refused = person
        .post_file("/course/roster/preview", "roster.csv", roster)
        .await;
    looker.answer("roster with faults", 422, &refused).await;
    let roster =
        b"student_id,family_name,given_name,section\n90001,Arden,Flo,A\n04128,Abara,Noor,B\n";
    let plan = person
        .post_file("/course/roster/preview", "roster.csv", roster)
        .await;
    looker.answer("roster preview", 200, &plan).await;
    let refused = person
        .post_file("/course/folder", "course.zip", b"no zip file")
        .await;
    looker.answer("folder with faults", 422, &refused).await;
    let file = b"id;naoh-against-khp;total\n04128;;3,00\n04126;;\n04126;;\n99999;;\n";
    let choose = person.post_file("/course/fill", "mine.csv", file).await;
    looker.answer("fill", 200, &choose).await;
    let packed = choose
        .body
        .split("name=\"packed\" value=\"")
        .nth(1)
        .expect("the file");
    let packed = packed.split('"').next().unwrap_or_default().to_owned();
    let mut fields = vec![
        ("file", "mine.csv"),
        ("packed", packed.as_str()),
        ("id", "0"),
        ("to", "2"),
        ("to.naoh-against-khp", "1"),
    ];
    let preview = person.post_form("/course/fill/preview", &fields).await;
    looker.answer("fill preview", 200, &preview).await;
    fields[3] = ("to", "0");
    let refused = person.post_form("/course/fill/preview", &fields).await;
    looker.answer("fill refused", 422, &refused).await;
    let slips = person.post_form("/course/slips", &[("section", "B")]).await;
    looker.answer("slips", 200, &slips).await;
}

async fn forms(looker: &mut Looker, mut person: Person) {
    let unknowns = format!("/course/experiments/{OPEN}/unknowns");
    let wrong: [Sent<'_>; 4] = [
        (
            "lot refused",
            "/course/lots",
            &[
                ("lot", ""),
                ("reagent", "soup"),
                ("molarity", "x"),
                ("uncertainty", "-1"),
            ],
        ),
        (
            "staff refused",
            "/course/staff",
            &[("login", ""), ("name", ""), ("role", "king")],
        ),
        (
            "experiment refused",
            "/course/experiments",
            &[
                ("key", "A b"),
                ("procedure", "none"),
                ("opens", "soon"),
                ("due", ""),
            ],
        ),
        (
            "unknown refused",
            &unknowns,
            &[("unknown", ""), ("true_value", "x"), ("uncertainty", "y")],
        ),
    ];
    for (name, path, fields) in wrong {
        let refused = person.post_form(path, fields).await;
        looker.answer(name, 422, &refused).await;
    }
    let page = person.get("/course/lots").await.body;
    let lot = page
        .split("<th scope=\"row\" class=\"code\">")
        .nth(1)
        .and_then(|rest| rest.split('<').next());
    let lot = lot.unwrap_or("KHP-1").to_owned();
    let fields = [
        ("lot", lot.as_str()),
        ("reagent", "NaOH"),
        ("molarity", "0.2"),
        ("uncertainty", "0.001"),
        ("reason", "typed wrongly"),
    ];
    let preview = person.post_form("/course/lots/preview", &fields).await;
    looker.answer("preview of a value", 200, &preview).await;
}
