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
        engine.close().await;
        assert!(alone > 0.0 && together > 0.0);
    }
}
