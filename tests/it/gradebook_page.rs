//! The gradebook on screen: who sees whom, finding people, orders.

use concordant::desk::bring_in;
use concordant::files::Folder;

use crate::app::TestApp;
use crate::week;

/// Names with accents; three of four hand in, with 20.33, 21.00 and 22.00 mL for 20.33 mL: 0, 3.3 and 8.2 % high.
async fn class() -> TestApp {
    let app = week::app().await;
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        let text = match path {
            "roster.csv" => {
                b"student_id,family_name,given_name,section,email\n0042,\xc3\x96zt\xc3\xbcrk,Ada,A,ada@lab.example\n0043,Okafor-Lind,Tobias,A,\n0051,Ruhl,S\xc3\xa9raphine,B,\n0052,Ruhl,Anna,B,\n".to_vec()
            }
            "issued.csv" => b"experiment,student_id,unknown\nacid,0042,U-1\nacid,0043,U-1\nacid,0051,U-1\n".to_vec(),
            _ => bytes.to_vec(),
        };
        folder.insert(path, text).expect("room");
    }
    let rows = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n\
        0042,1,N-1,,0.00,21.00\n0042,2,N-1,,0.00,21.00\n\
        0043,1,N-1,,0.00,20.33\n0043,2,N-1,,0.00,20.33\n\
        0051,1,N-1,,0.00,22.00\n0051,2,N-1,,0.00,22.00\n";
    folder
        .insert("readings/acid.csv", rows.as_bytes().to_vec())
        .expect("room");
    bring_in(&app.desk, &folder, "test", app.clock.now())
        .await
        .unwrap_or_else(|why| panic!("{why}: {why:?}"));
    app
}

/// Ids in the order in which they stand on the page.
fn order(page: &str) -> Vec<&str> {
    let ids = ["0042", "0043", "0051", "0052"];
    let place = |id: &&str| page.find(&format!("<small class=\"soft\">{id}"));
    let mut found: Vec<(usize, &str)> = ids
        .iter()
        .filter_map(|id| Some((place(id)?, *id)))
        .collect();
    found.sort_unstable();
    found.into_iter().map(|(_, id)| id).collect()
}

#[tokio::test]
async fn people_stand_in_order_are_found_by_name_and_sorted_by_points() {
    let app = class().await;
    let mut lead = app.person("i.quell").await;
    let page = lead.get("/gradebook").await.body;
    assert_eq!(order(&page), ["0043", "0042", "0052", "0051"], "{page}");
    assert!(page.contains("href=\"/review/acid/0051\""), "{page}");
    // by any part of the name, without its accents, by id, by e-mail
    for (find, ids) in [
        ("ozt", &["0042"][..]),
        ("ruhl", &["0052", "0051"]),
        ("seraphine ruhl", &["0051"]),
        ("lind", &["0043"]),
        ("0043", &["0043"]),
        ("ada@lab", &["0042"]),
        ("nobody", &[]),
    ] {
        let page = lead
            .get(&format!("/gradebook?find={}", find.replace(' ', "+")))
            .await
            .body;
        assert_eq!(order(&page), ids, "{find}: {page}");
    }
    // most points first, who handed in nothing last
    let page = lead.get("/gradebook?sort=acid").await.body;
    assert_eq!(order(&page), ["0043", "0042", "0051", "0052"], "{page}");
    let page = lead.get("/gradebook?section=B").await.body;
    assert_eq!(order(&page), ["0052", "0051"], "{page}");
}

#[tokio::test]
async fn an_assistant_finds_nobody_of_another_section() {
    let app = class().await;
    let mut assistant = app.person("m.sedge").await;
    for address in [
        "/gradebook",
        "/gradebook?find=ada",
        "/gradebook?section=A&sort=total",
    ] {
        let page = assistant.get(address).await.body;
        assert!(
            !page.contains("0042") && !page.contains("Okafor"),
            "{address}: {page}"
        );
    }
    assert_eq!(
        order(&assistant.get("/gradebook").await.body),
        ["0052", "0051"]
    );
}
