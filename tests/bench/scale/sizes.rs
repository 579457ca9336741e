//! What a hand-in and a whole course cost as they grow.

use std::path::Path;
use std::process::Command;
use std::sync::Arc;
use std::time::Duration;

use concordant::columns::Column;
use concordant::desk::{self, HandInRequest};
use concordant::files::{Folder, read_term, write_term};
use concordant::ids::LotCode;
use concordant::measure::Reading;
use concordant::submission::HandIn;
use concordant::term::{Slot, Term};
use concordant::truth::Lot;
use rust_decimal::Decimal;

use crate::courses::{AtDesk, HARDNESS, THREE, now, term};
use crate::{cpu, memory, ms};

const CORRECTIONS: usize = 40;

/// A correction handed in, by the size of a section and of a course.
pub async fn corrections() {
    println!("a correction handed in (hardness by cylinder)");
    let mut first = None;
    for (sections, students) in [(1, 24), (1, 48), (1, 96), (1, 192), (1, 480), (100, 24)] {
        let term = term(sections, students, &[HARDNESS]);
        let at = AtDesk::of(&term).await;
        let slots: Vec<&Slot> = term.submissions.keys().collect();
        let mut used = Vec::new();
        for turn in 0..CORRECTIONS + 5 {
            let slot = slots[turn * 7 % slots.len()];
            let view = at.desk.view().await.expect("a course");
            let revisions = view.term.submissions.get(slot).expect("kept");
            let hand_in = corrected(&revisions[revisions.len() - 1].hand_in, turn);
            let seen_revisions = revisions.len();
            drop(view);
            let before = cpu();
            let request = HandInRequest {
                slot: slot.clone(),
                hand_in: hand_in.into(),
                key: format!("correction-number-{turn:06}"),
                seen_revisions,
                reason: "misread".into(),
                at: now(),
            };
            desk::hand_in(&at.desk, request).await.expect("a receipt");
            used.push(cpu() - before);
        }
        let mut used = used.split_off(5);
        let mean = used.iter().sum::<Duration>() / CORRECTIONS as u32;
        let median = crate::quantile(&mut used, 0.5);
        let first = *first.get_or_insert(mean);
        println!(
            "  {sections} x {students}: {:.2} ms of CPU in the mean, {:.2} in the median; {:.2} x the section of 24",
            ms(mean),
            ms(median),
            mean.as_secs_f64() / first.as_secs_f64()
        );
        at.verify().await;
    }
}

/// One end of a burette read a little otherwise.
pub fn corrected(hand_in: &HandIn, turn: usize) -> HandIn {
    let mut hand_in = hand_in.clone();
    let last = hand_in.titrations.last_mut().expect("a titration");
    if let Some(end) = last.readings.get_mut(&Column::BuretteEnd(1)) {
        let off = Decimal::new(i64::try_from(turn % 5).expect("small") - 2, 2);
        let read = (end.value() + off).round_dp(2).to_string();
        *end = Reading::parse(&read).expect("a reading");
    }
    hand_in
}

/// The same students in many sections or few.
pub fn sections() {
    println!("grade of 960 students");
    let shapes = [(40, 24), (10, 96), (2, 480)];
    let used: Vec<f64> = shapes
        .into_iter()
        .map(|(sections, students)| {
            graded(
                &format!("{sections} x {students}"),
                &term(sections, students, &[HARDNESS]),
            )
            .0
        })
        .collect();
    let (least, most) = used
        .iter()
        .fold((f64::INFINITY, 0.0_f64), |(a, b), x| (a.min(*x), b.max(*x)));
    println!("  most / least = {:.2}", most / least);
}

/// A course ten times as large.
pub fn courses() {
    println!("grade of three experiments");
    let (small, _) = graded("2,400 x 3", &term(100, 24, &THREE));
    let (large, peak) = graded("24,000 x 3", &term(1_000, 24, &THREE));
    println!("  {:.1} x the CPU, {peak:.0} MB", large / small);
}

/// A lot for every student.
pub fn lots() {
    println!("grade with one lot to a student");
    let mut first = None;
    for students in [75, 150, 300, 600, 1_200] {
        let mut term = term(students / 75, 75, &[HARDNESS]);
        one_lot_each(&mut term);
        let (used, _) = graded(&format!("{students} lots"), &term);
        let each = used / students as f64;
        let first = *first.get_or_insert(each);
        println!("    {:.2} x as much for each as with 75", each / first);
    }
}

/// A titrant for every student, standardised the week before.
pub fn titrants() {
    println!("grade with one titrant to a student, from the week before");
    let mut first = None;
    for students in [75, 150, 300, 600, 1_200] {
        let keys = ["naoh-against-khp", "vinegar-own-hydroxide"];
        let term = term(students / 75, 75, &keys);
        let rows = term.submissions.values().flatten();
        let mut rows = rows.flat_map(|revision| &revision.hand_in.titrations);
        assert!(rows.all(|row| row.lot.is_none()), "a lot");
        let (used, _) = graded(&format!("{students} titrants"), &term);
        let each = used / students as f64;
        let first = *first.get_or_insert(each);
        println!("    {:.2} x as much for each as with 75", each / first);
    }
}

fn one_lot_each(term: &mut Term) {
    let lot = term.lots.values().next().expect("a lot").clone();
    for (place, revisions) in term.submissions.values_mut().enumerate() {
        let code = LotCode::new(format!("own-{place}"));
        let own = Lot {
            code: code.clone(),
            ..lot.clone()
        };
        term.lots.insert(code.clone(), own);
        let rows = revisions
            .iter_mut()
            .flat_map(|r| &mut Arc::make_mut(&mut r.hand_in).titrations);
        rows.for_each(|row| row.lot = Some(code.clone()));
    }
}

/// Grades a course in a process of its own: seconds of CPU, and most memory, MB.
fn graded(name: &str, term: &Term) -> (f64, f64) {
    let folder = tempfile::tempdir().expect("a folder");
    write_term(term).write(folder.path()).expect("written");
    let own = std::env::current_exe().expect("a path");
    let grade = Command::new(own).arg("grade").arg(folder.path()).output();
    let said = String::from_utf8(grade.expect("a child").stdout).expect("text");
    let mut numbers = said
        .split_whitespace()
        .filter_map(|word| word.parse::<f64>().ok());
    let (used, peak) = (
        numbers.next().expect("CPU"),
        numbers.next().expect("memory"),
    );
    println!("  {name}: {used:.2} s of CPU, at most {peak:.0} MB");
    (used, peak)
}

/// The other process.
pub fn grade(folder: &Path) {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build();
    runtime.expect("a runtime").block_on(async {
        let folder = Folder::read(folder).expect("a folder");
        let before = cpu();
        let term = read_term(&folder).expect("a course");
        // as the command does
        drop(folder);
        let files = desk::grade_term(term, now()).await.expect("graded");
        assert!(files.files().next().is_some());
        println!("{} {}", (cpu() - before).as_secs_f64(), memory("VmHWM"));
    });
}
