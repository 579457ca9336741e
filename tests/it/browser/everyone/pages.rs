//! Every page of the table of access, by somebody who may see it.

use super::Looker;
use crate::access::{Open, pages};
use crate::app::Person;
use crate::demo::Demo;

/// Routes that answer with a file, or with nothing but a word.
const FILES: [&str; 11] = [
    "/board/{experiment}/live",
    "/healthz",
    "/lti/keys",
    "/static/{*path}",
    "/student/record.json",
    "/course/gradebook.csv",
    "/course/gradebook-exact.csv",
    "/course/results.csv",
    "/course/flags.csv",
    "/course/audit.csv",
    "/course/export.zip",
];

/// An experiment that is released, and one that is open to the demo's student.
const RELEASED: &str = "naoh-against-khp";
const OPEN: &str = "eggshell-carbonate";

/// The page of the demo at which a route is looked at. Whoever adds a route with another name in its path says here what
/// stands for it; a file goes into [`FILES`].
fn page_of(route: &str, student: &str, receipt: &str, bottle: &str) -> String {
    let experiment = if ["bench", "board", "bottle", "points"]
        .iter()
        .any(|word| route.contains(word))
    {
        OPEN
    } else {
        RELEASED
    };
    let path = route
        .replace("{key}", experiment)
        .replace("{experiment}", experiment)
        .replace("{student}", student)
        .replace("{number}", receipt)
        .replace("{code}", bottle)
        .replace("{topic}", "analysis");
    assert!(
        !path.contains('{'),
        "{route} has no page here: say which one is looked at"
    );
    path
}

/// What a page is asked for beyond its path.
fn query_of(route: &str, asked: &str, student: &str) -> String {
    match route {
        "/prep/lot" => "?code=E-T1".to_owned(),
        "/review/accept" => "?flag=likely-slip".to_owned(),
        "/prep/experiments/{key}/unknown" => "?code=N-03".to_owned(),
        // the first section of whoever looks
        "/board/{experiment}" | "/board/{experiment}/drafts" => String::new(),
        "/course/roster/student" => format!("?id={student}"),
        _ => {
            assert!(
                !asked.contains('?'),
                "{route}: say here what it is asked for"
            );
            String::new()
        }
    }
}

/// Pages of a route that look otherwise elsewhere.
fn further(student: &str) -> Vec<(Open, String)> {
    vec![
        (Open::Student, format!("/student/experiments/{OPEN}")),
        (Open::Staff, "/review?show=all".to_owned()),
        (
            Open::Staff,
            format!("/review/well-water-hardness/{student}"),
        ),
        (
            Open::Coordinator,
            format!("/course/experiments/{OPEN}/audit"),
        ),
        (
            Open::Coordinator,
            format!("/course/experiments/{OPEN}/release"),
        ),
    ]
}

pub async fn look_at_all(looker: &mut Looker, demo: &Demo) {
    let mut student = demo.person("student").await;
    let assistant = demo.person("assistant").await;
    let coordinator = demo.person("coordinator").await;
    let prep = demo.person("prep").await;
    let stranger = Person::at(&demo.address);
    let id = demo.sign_ins[0][1].clone();
    let released = format!("/student/experiments/{RELEASED}");
    let page = student.get(&released).await.body;
    let receipt = page.split("href=\"/student/receipts/").nth(1);
    let receipt = receipt
        .and_then(|rest| rest.split('"').next())
        .expect("a receipt");
    let issued = include_str!("../../../../seed-data/demo/issued.csv");
    let mine = format!("{OPEN},{id},");
    let bottle = issued
        .lines()
        .find_map(|line| line.strip_prefix(&mine))
        .expect("a bottle");
    let routes = pages().into_iter();
    let mut pages: Vec<(Open, String)> = routes
        // what only a department has is looked at there
        .filter(|(route, _, open)| !FILES.contains(route) && *open != Open::Nobody)
        .map(|(route, asked, open)| {
            let path = page_of(route, &id, receipt, bottle);
            (open, format!("{path}{}", query_of(route, asked, &id)))
        })
        .collect();
    pages.extend(further(&id));
    let people = [
        (&stranger, &[Open::All][..]),
        (&student, &[Open::SignedIn, Open::Student]),
        (&assistant, &[Open::SectionA, Open::Staff, Open::EveryStaff]),
        (&coordinator, &[Open::Coordinator]),
        (&prep, &[Open::Prep]),
    ];
    let mut looked_at = 0;
    for (person, kinds) in people {
        looker.become_somebody(person).await;
        for (_, path) in pages.iter().filter(|(open, _)| kinds.contains(open)) {
            let bench = path.ends_with("/bench") || path.contains("/bottle/");
            let name = if bench {
                format!("bench {path}")
            } else {
                path.clone()
            };
            looker.page(&name, 200, path).await;
            looked_at += 1;
        }
    }
    assert_eq!(looked_at, pages.len(), "a kind of person is missing");
}
