//! Who waits while somebody else's arithmetic is done.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use concordant::changes::{Change, LotValue};
use concordant::judge::evaluate;
use concordant::store::accounts::Kind;
use concordant::term::{Slot, Term};
use concordant::truth::Assigned;
use rust_decimal::Decimal;

use crate::courses::{HARDNESS, Served, THREE, Visitor, now, term};
use crate::{memory, ms, quantile};

/// Pages asked for while a lot's value is entered that re-marks 9,600 submissions, and the preview of that.
pub async fn change() {
    println!("a lot's value in a course of 9,600 x 3");
    let term = term(400, 24, &THREE);
    let served = Served::of(&term).await;
    let student = served.visitor(Kind::Student, &term.students[0].id).await;
    let change = higher(&term);
    let (bare, slots) = bare(&term);
    let view = served.at.desk.view().await.expect("a course");
    let tried = async || {
        let clock = Instant::now();
        let preview = served.at.desk.preview(&view, std::slice::from_ref(&change));
        (preview.await.expect("tried"), clock.elapsed())
    };
    let (_, first) = tried().await;
    let (preview, previewed) = tried().await;
    println!(
        "  preview: {:.0} ms ({:.0} the first time) for {} altered; judging the {slots} it touches alone {:.0} ms; ratio {:.2}",
        ms(previewed),
        ms(first),
        preview.altered.len(),
        ms(bare),
        previewed.as_secs_f64() / bare.as_secs_f64()
    );
    drop(preview);
    drop(view);
    let (mut alone, _) = asked(&student, async {
        tokio::time::sleep(Duration::from_secs(1)).await
    })
    .await;
    let desk = Arc::clone(&served.at.desk);
    let changed = async move {
        let clock = Instant::now();
        let made = desk.apply(vec![change], "bench", now()).await;
        made.expect("entered");
        clock.elapsed()
    };
    let (mut waits, took) = asked(&student, tokio::spawn(changed)).await;
    println!(
        "  entered in {:.0} ms, meanwhile {} pages: longest wait {:.1} ms, median {:.1}; alone {:.1} and {:.1}",
        ms(took.expect("done")),
        waits.len(),
        ms(quantile(&mut waits, 1.0)),
        ms(quantile(&mut waits, 0.5)),
        ms(quantile(&mut alone, 1.0)),
        ms(quantile(&mut alone, 0.5)),
    );
    println!("  {:.0} MB in memory", memory("VmRSS"));
}

/// Seconds to judge the submissions of the experiment one after the other on all cores, and how many there are.
fn bare(term: &Term) -> (Duration, usize) {
    use rayon::prelude::*;
    let slots: Vec<&Slot> = term
        .submissions
        .keys()
        .filter(|s| s.experiment == HARDNESS)
        .collect();
    let clock = Instant::now();
    let judged = slots
        .par_iter()
        .filter_map(|slot| term.with_case(slot, evaluate))
        .count();
    assert_eq!(judged, slots.len());
    (clock.elapsed(), slots.len())
}

/// The lot of the hardness a thousandth higher.
fn higher(term: &Term) -> Change {
    let first = term
        .submissions
        .iter()
        .find(|(slot, _)| slot.experiment == HARDNESS);
    let (_, revisions) = first.expect("handed in");
    let code = revisions[0].hand_in.titrations[0]
        .lot
        .clone()
        .expect("a lot");
    let mut lot = term.lots[&code].clone();
    lot.version += 1;
    lot.molarity = Assigned {
        value: lot.molarity.value * Decimal::new(1001, 3),
        ..lot.molarity
    };
    let (source, reason) = (None, "bench".to_owned());
    Change::Lot(LotValue {
        lot,
        source,
        reason,
    })
}

/// How long a student waits for a page, asked for again and again until something is done.
async fn asked<T>(student: &Visitor, done: impl Future<Output = T>) -> (Vec<Duration>, T) {
    let is_done = AtomicBool::new(false);
    let pages = async {
        let mut waits = Vec::new();
        while !is_done.load(Ordering::Relaxed) {
            let clock = Instant::now();
            let (status, _) = student.get("/student").await;
            assert_eq!(status, 200);
            waits.push(clock.elapsed());
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        waits
    };
    let done = async {
        let done = done.await;
        is_done.store(true, Ordering::Relaxed);
        done
    };
    tokio::join!(pages, done)
}

/// Another person's page while two coordinators look at the audit all the time.
pub async fn audit() {
    println!("the audit page in a loop, 2,400 x 3");
    let term = term(100, 24, &THREE);
    let served = Served::of(&term).await;
    let student = served.visitor(Kind::Student, &term.students[0].id).await;
    let wait = async { tokio::time::sleep(Duration::from_secs(3)).await };
    let (mut alone, ()) = asked(&student, wait).await;
    let stop = Arc::new(AtomicBool::new(false));
    let mut audits = Vec::new();
    for _ in 0..2 {
        let coordinator = served.coordinator().await;
        let stop = Arc::clone(&stop);
        audits.push(tokio::spawn(async move {
            let mut times = Vec::new();
            while !stop.load(Ordering::Relaxed) {
                let clock = Instant::now();
                let (status, _) = coordinator.get("/course/audit").await;
                assert_eq!(status, 200);
                times.push(clock.elapsed());
            }
            times
        }));
    }
    let wait = async { tokio::time::sleep(Duration::from_secs(3)).await };
    let (mut beside, ()) = asked(&student, wait).await;
    stop.store(true, Ordering::Relaxed);
    let mut times = Vec::new();
    for audit in audits {
        times.extend(audit.await.expect("looked"));
    }
    let ratio = quantile(&mut beside, 0.5).as_secs_f64() / quantile(&mut alone, 0.5).as_secs_f64();
    println!(
        "  another's page {:.1} ms alone, {:.1} beside (ratio {ratio:.1}), longest {:.1} and {:.1}; {} audits of {:.1} ms, the first {:.1}",
        ms(quantile(&mut alone, 0.5)),
        ms(quantile(&mut beside, 0.5)),
        ms(quantile(&mut alone, 1.0)),
        ms(quantile(&mut beside, 1.0)),
        times.len(),
        ms(quantile(&mut times, 0.5)),
        ms(quantile(&mut times, 1.0)),
    );
}
