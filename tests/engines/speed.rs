//! Hand-ins a second, on each engine in the same run: one after the other, and as many at once as a class sends.

use std::sync::Arc;
use std::time::Instant;

use concordant::desk::hand_in;

use crate::engine::{Engine, course, request};

/// Hand-ins a second, one by one and many at once.
async fn measured(engine: &Engine) -> (f64, f64) {
    const STUDENTS: usize = 120;
    let long = std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1");
    let (rounds, singles) = if long { (6, 6) } else { (1, 1) };
    let desk = Arc::new(course(engine, STUDENTS).await);
    let mut seen = vec![0_usize; STUDENTS];
    let begun = Instant::now();
    for _ in 0..singles {
        for (n, seen) in seen.iter_mut().enumerate().take(STUDENTS / 2) {
            one(&desk, n, *seen).await;
            *seen += 1;
        }
    }
    let alone = rate(singles * (STUDENTS / 2), begun);
    let begun = Instant::now();
    for _ in 0..rounds {
        let all: Vec<_> = (0..STUDENTS)
            .map(|n| {
                let (desk, seen) = (Arc::clone(&desk), seen[n]);
                tokio::spawn(async move { one(&desk, n, seen).await })
            })
            .collect();
        for each in all {
            each.await.expect("ran");
        }
        seen.iter_mut().for_each(|seen| *seen += 1);
    }
    (alone, rate(rounds * STUDENTS, begun))
}

/// From a receipt of one server until another has it in memory, without anybody asking it for a page.
#[cfg(feature = "postgres")]
async fn lags(engine: &Engine) -> Vec<std::time::Duration> {
    let (first, second) = (engine.desk().await, engine.desk().await);
    let mut lags = Vec::new();
    for n in 80..120 {
        let (student, key) = (format!("k{n}"), format!("lag of {n}"));
        let view = first.view().await.expect("a course");
        let seen = view
            .term
            .submissions
            .get(&crate::slot("acid", &student))
            .map_or(0, Vec::len);
        drop(view);
        let receipt = hand_in(&first, request(&student, &key, seen, "20.47")).await;
        let (receipt, begun) = (receipt.expect("a receipt"), Instant::now());
        while second.as_it_is().newest() < receipt.number {
            assert!(begun.elapsed().as_secs() < 20, "nothing is heard");
            tokio::time::sleep(std::time::Duration::from_micros(200)).await;
        }
        lags.push(begun.elapsed());
    }
    lags.sort();
    lags
}

async fn one(desk: &concordant::desk::Desk, n: usize, seen: usize) {
    let (key, end) = (
        format!("{n} and {seen}"),
        format!("20.{:02}", (seen * 7 + n) % 90 + 10),
    );
    let receipt = hand_in(desk, request(&format!("k{n}"), &key, seen, &end)).await;
    receipt.expect("a receipt");
}

#[allow(clippy::cast_precision_loss)]
fn rate(many: usize, begun: Instant) -> f64 {
    many as f64 / begun.elapsed().as_secs_f64()
}

#[tokio::test(flavor = "multi_thread")]
async fn hand_ins_a_second() {
    let (alone, together) = measured(&Engine::file()).await;
    println!("SQLite: {alone:.0} hand-ins a second one by one, {together:.0} at once");
    assert!(alone > 0.0 && together > 0.0);
    #[cfg(feature = "postgres")]
    if let Some(cluster) = crate::cluster::Cluster::start().await {
        let engine = Engine::schema(&cluster, "speed").await;
        let (alone, together) = measured(&engine).await;
        println!("PostgreSQL: {alone:.0} hand-ins a second one by one, {together:.0} at once");
        let lags = lags(&engine).await;
        println!(
            "a second server has in memory what the first has said it keeps: middle {:.1?}, longest {:.1?} of {}",
            lags[lags.len() / 2],
            lags[lags.len() - 1],
            lags.len()
        );
        assert!(lags[lags.len() - 1] < std::time::Duration::from_secs(1));
        engine.close().await;
        assert!(alone > 0.0 && together > 0.0);
    }
}
