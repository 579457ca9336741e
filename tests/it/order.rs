//! One order of people on every list, sheet, grid and file, with accents in their place; the roster keeps its own.

use concordant::desk::bring_in;
use concordant::files::{Folder, read_term, write_term};

use crate::app::TestApp;
use crate::week::folder;

const ROSTER: &str = "student_id,family_name,given_name,section\n\
    0051,Ruhl,Seraphine,B\n\
    0042,Zander,Ada,A\n\
    0043,Öztürk,Tobias,A\n\
    0044,Ågren,Zoë,A\n\
    0045,Albrecht,Nils,A\n\
    0046,Ågren,Åsa,A\n\
    0047,de Witt,Ea,A\n\
    0048,Dahl,Bo,A\n\
    0049,Åkesson,Ove,A\n\
    0050,O'Brien,Lee,A\n\
    0052,Oakes,May,A\n\
    0053,Ågren,Zoë,A\n";

/// Section A by family name, given name and id, worked out by hand.
const IN_ORDER: [&str; 11] = [
    "0046", "0044", "0053", "0049", "0045", "0048", "0047", "0052", "0050", "0043", "0042",
];

/// The students of section A in the order in which a text names their ids.
fn order(text: &str) -> Vec<&'static str> {
    let (_, list) = text.split_once("<tbody").unwrap_or(("", text));
    // digits within a token of a form are no id
    let stands_alone = |at: usize, id: &str| {
        let (before, after) = (&list[..at], &list[at + id.len()..]);
        let is_part = |c: Option<char>| c.is_some_and(|c| c.is_ascii_alphanumeric());
        !is_part(before.chars().next_back()) && !is_part(after.chars().next())
    };
    let place = |id: &&'static str| {
        let mut found = list.match_indices(*id);
        found
            .find(|(at, id)| stands_alone(*at, id))
            .map(|(at, _)| (at, *id))
    };
    let mut places: Vec<(usize, &str)> = IN_ORDER.iter().filter_map(place).collect();
    places.sort_unstable();
    places.into_iter().map(|(_, id)| id).collect()
}

#[tokio::test]
async fn people_stand_in_one_order_everywhere() {
    let mut course = Folder::default();
    for (path, bytes) in folder().files().filter(|(path, _)| *path != "roster.csv") {
        course.insert(path, bytes.to_vec()).expect("room");
    }
    let roster = ROSTER.as_bytes().to_vec();
    course.insert("roster.csv", roster.clone()).expect("room");
    let app = TestApp::spawn().await;
    bring_in(&app.desk, &course, "test", app.clock.now())
        .await
        .unwrap_or_else(|why| panic!("{why}: {why:?}"));
    let pages = [
        ("b.tarn", "/sheets/acid"),
        ("b.tarn", "/points/acid?section=A"),
        ("i.quell", "/course/experiments/acid/issue/list?section=A"),
        ("i.quell", "/course/roster"),
        ("i.quell", "/course/gradebook.csv"),
    ];
    for login in ["b.tarn", "i.quell"] {
        let mut person = app.person(login).await;
        for (_, path) in pages.iter().filter(|(whose, _)| *whose == login) {
            let page = person.get(path).await;
            assert_eq!(page.status, 200, "{path}: {}", page.body);
            assert_eq!(order(&page.body), IN_ORDER, "{path}: {}", page.body);
        }
    }
    let kept = write_term(&read_term(&course).expect("a course"));
    assert_eq!(kept.get("roster.csv"), Some(roster.as_slice()));
}
