//! A department in a database: a course of a file taken in, served, checked, and copied out again, by the commands.

use std::path::Path;
use std::process::Command;

use concordant::desk::{hand_in, verify};
use concordant::store::{head, newest_event};

use crate::cluster::Cluster;
use crate::engine::{Engine, course, request};

fn concordant(arguments: &[&str]) -> (bool, String) {
    let done = Command::new(env!("CARGO_BIN_EXE_concordant"))
        .args(arguments)
        .output();
    let done = done.expect("runs");
    let said = [done.stdout, done.stderr].concat();
    (
        done.status.success(),
        String::from_utf8_lossy(&said).into_owned(),
    )
}

async fn heads(engine: &Engine) -> (Option<String>, Option<String>) {
    let store = engine.store().await;
    let mut reader = store.read().await.expect("a reader");
    let of_course = head(&mut reader, None).await.expect("read");
    (
        of_course,
        newest_event(&mut reader, None).await.expect("read"),
    )
}

#[tokio::test(flavor = "multi_thread")]
async fn a_course_goes_in_and_comes_out_as_it_was() {
    let Some(cluster) = Cluster::start().await else {
        return;
    };
    let file = Engine::file();
    let desk = course(&file, 3).await;
    for n in 0..3 {
        let one = request(&format!("k{n}"), &format!("key {n}"), 0, "20.40");
        hand_in(&desk, one).await.expect("a receipt");
    }
    let now = jiff::Timestamp::now();
    let set = concordant::desk::accounts::set_password(&desk, "k1", crate::app::PASSWORD, now);
    set.await.expect("a password");
    desk.close().await;
    let path = file.path();
    let path = path.to_str().expect("a path");
    let url = cluster.url();
    let (done, said) = concordant(&["take-in", path, "--into", &url, "--as", "week"]);
    assert!(!done && said.contains("--new makes one"), "{said}");
    let shelf = concordant::store::Shelf::at(Path::new(&url))
        .await
        .expect("a place");
    let named = concordant::course::Course {
        title: "Quell College".to_owned(),
        term: String::new(),
        zone: concordant::course::Zone::new("UTC").expect("a zone"),
        language: concordant::language::Language::default(),
    };
    concordant::desk::department::Department::found(shelf, named, now)
        .await
        .expect("founded");
    let (done, said) = concordant(&["take-in", path, "--into", &url, "--as", "week"]);
    assert!(
        done && said.contains("checked before and after; 1 person came"),
        "{said}"
    );
    let of_course = format!("{url}&course=week");
    let (done, said) = concordant(&["verify", "--db", &of_course]);
    assert!(
        done && said.contains("sound, 3 submissions verified"),
        "{said}"
    );
    // the people as well, whose schema is called like a view in it
    let (done, said) = concordant(&["verify", "--db", &url]);
    assert!(done && said.contains("sound"), "{said}");
    let taken_out = ["--student", "k2", "--before", "2100-01-01", "--yes"];
    let (done, said) = concordant(&[&["retire", "--db", &url], &taken_out[..]].concat());
    assert!(done && said.contains("the record is whole"), "{said}");
    assert!(
        !said.contains(".step-") && said.contains("log of the server"),
        "{said}"
    );
    for key in ["Week", "people_", &"k".repeat(56)] {
        let (done, said) = concordant(&["verify", "--db", &format!("{url}&course={key}")]);
        assert!(!done && said.contains("expected a key of"), "{said}");
    }
    // the same chain: number and hash of the newest row, of the course and of the record of access
    let engine = Engine::found(&cluster, "course_week").await;
    assert_eq!(heads(&engine).await, heads(&file).await);
    let desk = engine.desk().await;
    hand_in(&desk, request("k0", "a later key", 1, "20.44"))
        .await
        .expect("a receipt");
    assert!(verify(&desk).await.expect("verified").1.is_empty());
    // who lets go of a course leaves nothing running for it
    let running = || {
        tokio::runtime::Handle::current()
            .metrics()
            .num_alive_tasks()
    };
    let before = running();
    for _ in 0..20 {
        engine.desk().await.close().await;
    }
    tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    assert!(running() < before + 10, "{before}, then {}", running());
    let out = tempfile::tempdir().expect("a directory");
    let copy = out.path().join("course.db");
    let copy = copy.to_str().expect("a path");
    let (done, said) = concordant(&["backup", "--db", &of_course, "--to", copy]);
    assert!(
        done && said.contains("sound, 3 submissions verified"),
        "{said}"
    );
    let (done, said) = concordant(&["verify", "--db", copy]);
    assert!(done, "{said}");
    let (done, said) = concordant(&["take-in", path, "--into", &url, "--as", "week"]);
    assert!(
        !done && said.contains("expected a key that no course"),
        "{said}"
    );
    let (done, said) = concordant(&["verify", "--db", &format!("{url}&course=none")]);
    assert!(
        !done && said.contains("found no such course in that database"),
        "{said}"
    );
    engine.close().await;
}
