//! How soon and how rightly a lot or a bottle is called while a section still stands at its burettes.
//!
//! Weeks of 96 students with the hands of `simulate::hands`: one in seven sloppy, one in twenty with heavy tails, all with
//! habits, and one in sixteen besides who takes another bottle, is careless or misreads. Nothing of that is the model of the
//! test. Everybody takes 6 to 12 minutes for a trial, and the course is looked at after every one. A few weeks are tried
//! every time, more with `CONCORDANT_LONG=1`; the counts are printed.

use std::collections::{BTreeMap, BTreeSet};

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::judge::{LiveCall, LiveResult, LiveSubject, LiveValues, live_calls, live_result};
use concordant::simulate::class::SimulatedClass;
use concordant::simulate::hands::{Population, REALISTIC_SPREAD};
use concordant::simulate::supplies::Wrong;
use concordant::stats::{Scaled, centre_within};
use concordant::submission::HandIn;
use concordant::term::{BySlot, SentReadings, Term};
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;
use rayon::prelude::*;

fn weeks(long: u64, short: u64) -> u64 {
    let wanted = std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1");
    if wanted { long } else { short }
}

fn class(key: &str) -> SimulatedClass {
    let glassware = shipped_glassware();
    let text = shipped_procedure(key).expect("is shipped");
    let procedure = read_procedure("p.toml", &text, &glassware).expect("is sound");
    SimulatedClass {
        population: Population::Realistic {
            spread: REALISTIC_SPREAD,
        },
        slips: 1.0 / 16.0,
        burettes: 0,
        ..SimulatedClass::crossed(procedure, text, glassware)
    }
}

/// What a student's readings say from some minute of the week on.
struct Event {
    minute: f64,
    result: LiveResult,
    section: String,
}

struct Week {
    events: Vec<Event>,
    values: LiveValues,
    /// When the last student of each section finished trial 2.
    second_trials: BTreeMap<String, f64>,
}

/// Readings up to a trial.
fn up_to(hand_in: &HandIn, number: u32) -> HandIn {
    let mut part = hand_in.clone();
    let is_done = |trial: Option<u32>| trial.is_none_or(|own| own <= number);
    part.titrations.retain(|row| is_done(row.trial.number()));
    part
}

fn week(class: &SimulatedClass, seed: u64) -> Week {
    let term: Term = class.rehearse(seed).expect("can be carried out").term;
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let experiment = &term.experiments[0];
    let sections: Vec<String> = term.sections().into_iter().map(str::to_owned).collect();
    let mut events = Vec::new();
    let mut second_trials: BTreeMap<String, f64> = BTreeMap::new();
    for (slot, revisions) in &term.submissions {
        let student = term.student(&slot.student).expect("a student");
        let section = student.section.to_string();
        let place = sections
            .iter()
            .position(|one| *one == section)
            .expect("a section");
        let revision = revisions.last().expect("a revision");
        let at = revision.submitted_at.unwrap_or_else(|| {
            let day = jiff::SignedDuration::from_hours(24 * place as i64);
            "2026-09-14T10:00:00Z"
                .parse::<jiff::Timestamp>()
                .expect("a time")
                + day
        });
        let mut minute = 1440.0 * place as f64;
        let trials: BTreeSet<u32> = revision.hand_in.numbered().map(|(n, _)| n).collect();
        for (done, number) in (1..).zip(trials) {
            minute += rng.random_range(6.0..12.0);
            if done == 2 {
                let last = second_trials.entry(section.clone()).or_default();
                *last = last.max(minute);
            }
            let sent = SentReadings {
                slot: slot.clone(),
                readings: up_to(&revision.hand_in, number),
                at,
            };
            let mut results = term.live_results(experiment, &BySlot::new(), &[sent]);
            let Some(result) = results.pop() else {
                continue;
            };
            events.push(Event {
                minute,
                result,
                section: section.clone(),
            });
            // what counts once stays what it is
            break;
        }
    }
    events.sort_by(|a, b| a.minute.total_cmp(&b.minute));
    Week {
        events,
        values: term.live_values(experiment),
        second_trials,
    }
}

impl Week {
    /// Every call that is made at any look, with when and after how many students it was first made.
    fn calls(&self, error: f64) -> Vec<(f64, usize, LiveCall)> {
        let mut results = Vec::new();
        let mut calls: Vec<(f64, usize, LiveCall)> = Vec::new();
        for event in &self.events {
            results.push(event.result.clone());
            for call in live_calls(&results, &self.values, error) {
                if !calls
                    .iter()
                    .any(|(.., known)| known.subject == call.subject)
                {
                    calls.push((event.minute, results.len(), call));
                }
            }
        }
        calls
    }
}

fn each<T: Send>(
    class: &SimulatedClass,
    first: u64,
    count: u64,
    look: impl Fn(Week) -> T + Sync,
) -> Vec<T> {
    let seeds = first..first + count;
    seeds
        .into_par_iter()
        .map(|seed| look(week(class, seed)))
        .collect()
}

const PROCEDURES: [&str; 2] = ["spring-chloride", "vinegar-acidity"];
/// Of a course of ten experiments.
const ERROR: f64 = 0.001;

#[test]
fn clean_weeks_are_left_in_peace() {
    let (mut count, mut falsely) = (0, 0);
    for (at, key) in PROCEDURES.into_iter().enumerate() {
        let class = class(key);
        // the whole error of a course spent on one week
        let called = each(&class, 1_000 * at as u64, weeks(600, 8), |week| {
            week.calls(0.01)
        });
        count += called.len();
        let wrong = called.iter().filter(|calls| !calls.is_empty());
        falsely += wrong.count();
        for (minute, students, call) in called.iter().flatten() {
            println!("{key}: falsely at minute {minute:.0} after {students} students: {call:?}");
        }
    }
    println!("{falsely} of {count} clean weeks have a false call at any look");
    assert!(
        falsely as f64 <= (0.01 * count as f64).max(0.5),
        "{falsely} of {count}"
    );
}

#[test]
fn a_lot_that_is_off_is_called_while_the_first_section_is_at_work() {
    for key in PROCEDURES {
        for (at, percent) in [1.5, -1.5].into_iter().enumerate() {
            let class = class(key).but(Wrong::Lot(0, percent));
            let count = weeks(300, 6);
            let called = each(&class, 50_000 + 1_000 * at as u64, count, |week| {
                let section = week.events[0].section.clone();
                let before = week.second_trials[&section];
                let calls = week.calls(ERROR);
                let lot = calls.into_iter().find(|(minute, _, call)| {
                    *minute < before
                        && matches!(&call.subject, LiveSubject::Lot(lot) if *lot == "L0")
                });
                lot.map(|(_, students, call)| (students, call))
            });
            let in_time: Vec<&(usize, LiveCall)> = called.iter().flatten().collect();
            let mut students: Vec<usize> = in_time.iter().map(|(students, _)| *students).collect();
            students.sort_unstable();
            let share = in_time.len() as f64 / count as f64;
            let plainly = in_time
                .iter()
                .filter(|(_, call)| call.rivals.is_empty())
                .count();
            println!(
                "{key}: a lot {percent} % off is called in time in {:.1} % of {count} weeks, {plainly} as the lot alone, after {:?} students (middle)",
                100.0 * share,
                students.get(students.len() / 2),
            );
            // of a few weeks chance takes some; two standard deviations are left to it
            let few = if count < 100 {
                2.0 * (0.09 / count as f64).sqrt()
            } else {
                0.0
            };
            assert!(share >= 0.90 - few, "{share}");
        }
    }
}

#[test]
fn a_titrant_that_decays_is_no_bottles_fault() {
    for key in PROCEDURES {
        let class = class(key).over_a_week().but(Wrong::Decay(0, 0.6));
        let count = weeks(200, 4);
        let called = each(&class, 70_000, count, |week| week.calls(ERROR));
        let bottles = called.iter().filter(|calls| {
            calls
                .iter()
                .any(|(.., call)| matches!(call.subject, LiveSubject::Bottle(_)))
        });
        let bottles = bottles.count();
        let drifts = called.iter().filter(|calls| {
            calls
                .iter()
                .any(|(.., call)| matches!(call.subject, LiveSubject::Lot(_)))
        });
        println!(
            "{key}: a titrant that loses 0.6 % a day: the lot is called in {} of {count} weeks, a bottle in {bottles}",
            drifts.count()
        );
        assert_eq!(bottles, 0);
    }
}

#[test]
fn a_bottle_that_is_off_is_told_from_its_lot() {
    for key in PROCEDURES {
        let class = class(key).but(Wrong::Unknown(0, 3.0));
        let count = weeks(200, 4);
        let called = each(&class, 80_000, count, |week| week.calls(ERROR));
        let is_bottle =
            |call: &LiveCall| matches!(&call.subject, LiveSubject::Bottle(b) if *b == "U0");
        let found = called
            .iter()
            .filter(|calls| calls.iter().any(|(.., call)| is_bottle(call)));
        let found = found.count();
        let others = called
            .iter()
            .flatten()
            .filter(|(.., call)| !is_bottle(call));
        let others = others.count();
        println!(
            "{key}: a bottle 3 % off with twelve students is called in {found} of {count} weeks, something else {others} times"
        );
        assert!(found as f64 >= 0.7 * count as f64, "{found}");
        assert!(others as f64 <= (0.02 * count as f64).max(0.5), "{others}");
    }
}

/// One result, in standard deviations from where it should be.
type Draw = fn(&mut ChaCha20Rng) -> f64;

/// The error holds over all looks together for noise that is nothing like normal: the bound of a centre that is zero is
/// crossed in few of many long runs, whatever the tails.
#[test]
fn bounds_hold_at_every_look_whatever_the_tails() {
    let runs = weeks(20_000, 300);
    let tails: [(&str, Draw); 3] = [
        // Student's t with 2 degrees of freedom, its middle as wide as a normal's
        ("t", |rng| {
            let normal = concordant::simulate::hands::normal;
            let chi: f64 = (0..2).map(|_| normal(rng).powi(2)).sum();
            0.8 * normal(rng) / (chi / 2.0).sqrt().max(1e-9)
        }),
        // one in ten is off by ten scales, always upward
        ("strays", |rng| match rng.random_range(0..10) {
            0 => 10.0,
            _ => concordant::simulate::hands::normal(rng),
        }),
        // two values and nothing between
        (
            "coin",
            |rng| if rng.random::<bool>() { 0.67 } else { -0.67 },
        ),
    ];
    for (name, draw) in tails {
        let crossed: u64 = (0..runs)
            .into_par_iter()
            .map(|seed| {
                let mut rng = ChaCha20Rng::seed_from_u64(seed);
                let mut results: Vec<Scaled> = Vec::new();
                let crosses = (0..120).any(|_| {
                    results.push(Scaled {
                        value: draw(&mut rng),
                        scale: 1.0,
                    });
                    let bounds = centre_within(&results, 0.05);
                    bounds.is_some_and(|(low, high)| low > 0.0 || high < 0.0)
                });
                u64::from(crosses)
            })
            .sum();
        let share = crossed as f64 / runs as f64;
        println!(
            "{name}: bounds for 5 % are crossed at any of 120 looks in {:.2} %",
            100.0 * share
        );
        assert!(share <= 0.05, "{name}: {share}");
    }
}

#[test]
fn the_first_two_trials_that_agree_count_and_stay() {
    // 0.3 % apart are alike where one scatters by 0.1 %, a misread millilitre of 25 is not
    assert_eq!(live_result(&[0.1], 0.1, false), None);
    assert_eq!(live_result(&[0.1, 0.4], 0.1, false), Some(0.25));
    assert_eq!(live_result(&[4.0, 0.1], 0.1, false), None);
    assert_eq!(live_result(&[4.0, 0.1, 0.3], 0.1, false), Some(0.2));
    assert_eq!(live_result(&[4.0, 0.1, 0.3, 0.1], 0.1, true), Some(0.2));
    assert_eq!(live_result(&[4.0, 0.1], 0.1, true), Some(2.05));
}

#[test]
fn a_call_is_said_without_a_true_value() {
    let lot = LiveCall {
        subject: LiveSubject::Lot(concordant::ids::LotCode::new("E-T1")),
        students: 7,
        percent: (1.44, 0.41),
        rivals: Vec::new(),
        section: None,
        drift: None,
    };
    assert_eq!(
        lot.finding(),
        "After 7 students lot E-T1 reads 1.4 ± 0.4 % high"
    );
    assert!(
        lot.remedy()
            .contains("Students at work keep their lot and lose nothing.")
    );
    let bottle = LiveCall {
        subject: LiveSubject::Bottle(concordant::ids::UnknownCode::new("E-03")),
        percent: (-2.0, 0.5),
        ..lot
    };
    assert_eq!(
        bottle.finding(),
        "After 7 students bottle E-03 reads 2.0 ± 0.5 % low"
    );
}
