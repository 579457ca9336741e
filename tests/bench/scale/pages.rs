//! The largest pages of a large course.

use std::time::{Duration, Instant};

use concordant::store::accounts::Kind;

use crate::courses::{HARDNESS, Served, THREE, term};
use crate::{memory, ms};

pub async fn pages() {
    println!("pages of a course of 2,400 x 3");
    let term = term(100, 24, &THREE);
    let served = Served::of(&term).await;
    let coordinator = served.coordinator().await;
    let (slot, _) = term.submissions.iter().next().expect("handed in");
    let student = served.visitor(Kind::Student, &slot.student).await;
    let of_experiment = |path: &str| path.replace("KEY", HARDNESS);
    let staff = [
        "/course",
        "/course/roster",
        "/course/staff",
        "/course/lots",
        "/course/audit",
        "/course/sections",
        "/course/files",
        "/course/experiments/KEY/",
        "/course/experiments/KEY/unknowns",
        "/course/experiments/KEY/audit",
        "/course/experiments/KEY/issue",
        "/course/experiments/KEY/issue/list",
        "/course/experiments/KEY/release",
        "/course/experiments/KEY/extensions",
        "/course/experiments/KEY/marking",
        "/course/experiments/KEY/reissue",
        "/course/roster/student",
        "/prep",
        "/prep/lots",
        "/prep/experiments/KEY/",
        "/prep/experiments/KEY/issue-list",
        "/prep/experiments/KEY/bench-sheets",
        "/prep/experiments/KEY/labels",
        "/sheets/KEY",
        "/review",
        "/points/KEY",
        "/course/results.csv",
        "/course/flags.csv",
        "/course/audit.csv",
        "/course/gradebook.csv",
    ];
    let mut over = 0;
    for path in staff {
        let path = of_experiment(path);
        over += usize::from(page(&coordinator, &path).await);
    }
    let review = format!("/review/{}/{}", slot.experiment, slot.student);
    over += usize::from(page(&coordinator, &review).await);
    let view = served.at.desk.view().await.expect("a course");
    let revisions = view.term.submissions.get(slot).expect("kept");
    let receipt = revisions[revisions.len() - 1].receipt.expect("on disk");
    for path in [
        "/student",
        "/student/experiments/KEY",
        "/student/experiments/KEY/bench",
        &format!("/student/receipts/{receipt}"),
    ] {
        over += usize::from(page(&student, &of_experiment(path)).await);
    }
    println!(
        "  {over} pages over 300 kB or 50 ms; {:.0} MB in memory",
        memory("VmRSS")
    );
}

/// Whether a page is too large or too slow; the least time of five.
async fn page(visitor: &crate::courses::Visitor, path: &str) -> bool {
    let (mut least, mut length, mut status) = (Duration::MAX, 0, 0);
    for _ in 0..5 {
        let clock = Instant::now();
        (status, length) = visitor.get(path).await;
        least = least.min(clock.elapsed());
    }
    let is_page = !path.ends_with(".csv");
    let over = (is_page && length > 300_000) || least > Duration::from_millis(50);
    let mark = if over { " (over)" } else { "" };
    println!(
        "  {path}: {status}, {:.1} kB, {:.1} ms{mark}",
        length as f64 / 1e3,
        ms(least)
    );
    over
}
