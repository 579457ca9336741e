//! A database that goes away and comes back.

use std::sync::Arc;
use std::time::{Duration, Instant};

use concordant::desk::{HandInError, hand_in, verify};
use concordant::store::first_difference;

use crate::app::Person;
use crate::cluster::Cluster;
use crate::engine::{Engine, course, request};
use crate::servers::{Server, receipt, signed_in};
use crate::slot;
use crate::week::acid_form;

#[tokio::test(flavor = "multi_thread")]
async fn a_database_that_is_started_again_is_found_again() {
    let Some(cluster) = Cluster::start().await else {
        return;
    };
    let engine = Engine::schema(&cluster, "started again").await;
    let desk = Arc::new(course(&engine, 2).await);
    let second = engine.desk().await;
    hand_in(&desk, request("k0", "one", 0, "20.40"))
        .await
        .expect("a receipt");
    cluster.crash();
    // nobody is told that something is kept, and the words say what is the matter
    let why = hand_in(&desk, request("k0", "two", 1, "20.41"))
        .await
        .expect_err("is away");
    assert!(
        matches!(&why, HandInError::Store(why) if why.is_away()),
        "{why}"
    );
    assert!(desk.view().await.is_err_and(|why| why.is_away()));
    // one that comes back while somebody waits is not noticed
    let waiting = tokio::spawn({
        let desk = Arc::clone(&desk);
        async move { hand_in(&desk, request("k0", "three", 1, "20.42")).await }
    });
    cluster.start_again().await;
    let came = waiting.await.expect("ran");
    let seen = usize::from(came.is_ok());
    println!(
        "a hand-in that waited for the database: {}",
        if seen == 1 {
            "kept"
        } else {
            "to be sent again"
        }
    );
    let begun = Instant::now();
    let receipt = loop {
        match hand_in(&desk, request("k1", "four", 0, "20.43")).await {
            Ok(receipt) => break receipt,
            Err(HandInError::Store(why)) if why.is_away() => {
                assert!(begun.elapsed() < Duration::from_secs(20), "{why}")
            }
            Err(why) => panic!("{why}"),
        }
    };
    let view = second.view().await.expect("a course");
    let kept = view
        .term
        .submissions
        .get(&slot("acid", "k1"))
        .expect("kept");
    assert_eq!(kept[0].receipt, Some(receipt.number));
    let others = view.term.submissions.get(&slot("acid", "k0"));
    assert_eq!(others.map_or(0, Vec::len), 1 + seen);
    drop(view);
    // it listens again: what the other writes is taken up without anybody asking for a page
    tokio::time::sleep(Duration::from_secs(1)).await;
    let receipt = hand_in(&desk, request("k1", "five", 1, "20.44"))
        .await
        .expect("a receipt");
    tokio::time::sleep(Duration::from_secs(1)).await;
    assert_eq!(second.as_it_is().newest(), receipt.number);
    let mut reader = desk.store().read().await.expect("a reader");
    assert_eq!(first_difference(&mut reader).await.expect("is read"), None);
    drop(reader);
    assert!(verify(&desk).await.expect("verified").1.is_empty());
    engine.close().await;
}

/// The names and values of the hidden fields of a page.
fn hidden(page: &str) -> Vec<(String, String)> {
    let fields = page.split("<input type=\"hidden\" name=\"").skip(1);
    let fields = fields.filter_map(|field| {
        let (name, rest) = field.split_once("\" value=\"")?;
        let (value, _) = rest.split_once('"')?;
        Some((name.to_owned(), value.to_owned()))
    });
    fields.collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_typed_is_still_there_when_the_database_comes_back() {
    let Some(cluster) = Cluster::start().await else {
        return;
    };
    let engine = Engine::schema(&cluster, "course_typed").await;
    course(&engine, 1).await.close().await;
    let (cookie, token) = signed_in(&engine, 1).await.remove(0);
    let server = Server::start(&format!("{}&course=typed", cluster.url()));
    let mut student = Person::at(&server.address);
    student.set_cookie(Some(cookie));
    let page = "/student/experiments/acid/hand-in";
    let mut fields = acid_form("typed while it was away", "0", "20.37", "20.48");
    fields.push(("csrf", &token));
    cluster.crash();
    let answer = student.try_post(page, &fields).await.expect("an answer");
    assert_eq!(answer.status, 503, "{}", answer.body);
    assert!(answer.body.contains("cannot be reached just now"));
    assert!(answer.body.contains(&format!("action=\"{page}\"")));
    let shown = hidden(&answer.body);
    for (name, value) in fields.iter().filter(|(name, _)| *name != "csrf") {
        let is_it = |field: &&(String, String)| field.0 == *name && field.1 == *value;
        assert_eq!(shown.iter().filter(is_it).count(), 1, "{name}: {shown:?}");
    }
    cluster.start_again().await;
    // the button on that page, as often as somebody presses it
    let begun = Instant::now();
    let number = loop {
        let again: Vec<(&str, &str)> = shown.iter().map(|(a, b)| (&**a, &**b)).collect();
        let answer = student.try_post(page, &again).await.expect("an answer");
        if let Some(number) = receipt(&answer) {
            break number;
        }
        assert_eq!(answer.status, 503, "{}", answer.body);
        assert!(begun.elapsed() < Duration::from_secs(20));
    };
    let desk = engine.desk().await;
    let view = desk.view().await.expect("a course");
    let kept = view
        .term
        .submissions
        .get(&slot("acid", "k0"))
        .expect("kept");
    assert_eq!(kept.len(), 1);
    assert_eq!(kept[0].receipt, Some(number));
    drop(server);
    engine.close().await;
}
