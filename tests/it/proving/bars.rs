//! How often proving is right: simulated staff titrate bottles that are as they should be, or not.
//!
//! What is in the bottles and what hands do is the simulation's; a few are tried every time, thousands with
//! `CONCORDANT_LONG=1`; the counts are printed.

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::ids::LotCode;
use concordant::judge::{AuditKind, GroupName, KnownValue, ProvingReadings, joined};
use concordant::measure::as_f64;
use concordant::procedure::Procedure;
use concordant::simulate::hands::{Hands, Population};
use concordant::simulate::supplies::{Order, Place, Supplies, Wrong};
use rand::SeedableRng;
use rand_chacha::ChaCha20Rng;

fn runs(long: u64) -> u64 {
    let wanted = std::env::var("CONCORDANT_LONG").is_ok_and(|set| set == "1");
    if wanted { long } else { long / 10 }
}

fn procedure(key: &str) -> Procedure {
    let text = shipped_procedure(key).expect("is shipped");
    read_procedure("p.toml", &text, &shipped_glassware()).expect("is sound")
}

/// One three-trial run on the first bottle, as the prep room reads it.
struct Run {
    supplies: Supplies,
    record: KnownValue,
    /// By one run each of so many people, with the same lot.
    found: Vec<KnownValue>,
    truth: f64,
}

fn prove(procedure: &Procedure, wrong: Wrong, people: usize, seed: u64) -> Run {
    let mut rng = ChaCha20Rng::seed_from_u64(seed);
    let order = Order {
        unknowns: 1,
        wrong,
        ..Order::default()
    };
    let supplies = Supplies::make(procedure, &order, &mut rng).expect("can be made");
    let mut found = Vec::new();
    for _ in 0..people {
        let hands = Hands {
            trials: 3,
            ..Population::CAREFUL.hands(procedure, &mut rng)
        };
        let hand_in = supplies.titrated(procedure, Place::of(0), &hands, &mut rng);
        let hand_in = hand_in.expect("can be titrated");
        let readings = ProvingReadings {
            procedure,
            hand_in: &hand_in,
            lots: &supplies.lots,
        };
        found.push(readings.result().expect("has a result"));
    }
    let unknown = supplies.unknowns.values().next().expect("a bottle");
    let record = KnownValue::recorded(*unknown.truth.open(), None);
    let name = GroupName::new(AuditKind::Unknown, unknown.code.as_str());
    let truth = supplies.really()[&name];
    Run {
        supplies,
        record,
        found,
        truth,
    }
}

/// Share of runs that disagree.
fn disagree(procedure: &Procedure, wrong: Wrong, first: u64, count: u64) -> f64 {
    let found = (first..first + count).filter(|seed| {
        let run = prove(procedure, wrong, 1, *seed);
        let difference = run.record.beside(&run.found[0]).expect("a difference");
        difference.disagrees()
    });
    found.count() as f64 / count as f64
}

const PROCEDURES: [&str; 2] = ["spring-chloride", "vinegar-acidity"];

#[test]
fn a_bottle_one_percent_off_is_caught_and_a_sound_one_is_not() {
    for key in PROCEDURES {
        let procedure = procedure(key);
        let count = runs(4_000);
        let caught = disagree(&procedure, Wrong::Unknown(0, 1.0), 1, count);
        let caught_low = disagree(&procedure, Wrong::Unknown(0, -1.0), 50_000, count);
        let falsely = disagree(&procedure, Wrong::Nothing, 100_000, count);
        println!(
            "{key}: 1 % off caught {:.1} % and {:.1} %, sound ones taken for off {:.1} % of {count}",
            100.0 * caught,
            100.0 * caught_low,
            100.0 * falsely
        );
        let slack = 2.0 * (0.02 / count as f64).sqrt();
        assert!(caught >= 0.95 - slack && caught_low >= 0.95 - slack);
        assert!(falsely <= 0.02 + slack);
    }
}

#[test]
fn a_joined_value_covers_the_truth_as_often_as_it_says() {
    for key in PROCEDURES {
        let procedure = procedure(key);
        let count = runs(4_000);
        for people in [1, 3] {
            let covered = (200_000..200_000 + count).filter(|seed| {
                let run = prove(&procedure, Wrong::Nothing, people, *seed);
                let all: Vec<&KnownValue> =
                    std::iter::once(&run.record).chain(&run.found).collect();
                let value = joined(&all).expect("a value");
                let off = as_f64(value.value) - run.truth;
                off.abs() <= 2.0 * as_f64(value.standard_uncertainty)
            });
            let share = covered.count() as f64 / count as f64;
            println!(
                "{key}: record and {people} runs joined cover the truth in {:.1} %",
                100.0 * share
            );
            let slack = 3.0 * (0.95 * 0.05 / count as f64).sqrt();
            assert!(share >= 0.93 - slack && share <= 0.97 + slack, "{share}");
        }
    }
}

/// Two runs with one lot are not two independent values: what the lot leaves uncertain stays, however many there are.
#[test]
fn a_common_lot_does_not_average_out() {
    let procedure = procedure("vinegar-acidity");
    let run = prove(&procedure, Wrong::Nothing, 12, 7);
    let lot = LotCode::new(run.supplies.code(AuditKind::Lot, 0).expect("a lot"));
    let share = run.found[0].through[&lot];
    // the result is in proportion to the lot, which is good to 0.08 %
    assert!((share - 0.000_8).abs() < 2e-6, "{share}");
    let all: Vec<&KnownValue> = run.found.iter().collect();
    let value = joined(&all).expect("a value");
    let relative = as_f64(value.standard_uncertainty) / as_f64(value.value);
    assert!(relative > 0.000_8, "{relative}");
    let alone: f64 = {
        let u = as_f64(run.found[0].value.standard_uncertainty);
        u / as_f64(run.found[0].value.value)
    };
    assert!(relative < alone, "{relative} of many, {alone} of one");
}
