//! Trials that agree too well.

use concordant::columns::Column;
use concordant::files::shipped_glassware;
use concordant::judge::FlagCode;
use concordant::measure::Reading;
use concordant::procedure::{Accept, Procedure, TrialRules};
use concordant::stats::{DixonCritical, DixonLevel};
use rand::SeedableRng;
use rand_chacha::ChaCha20Rng;

use super::class::{Class, Work, shipped};
use super::many;

fn with_rule(key: &str, rule: &str) -> Procedure {
    let procedure = shipped(key, &shipped_glassware());
    let accept = match rule {
        "all" => Accept::All,
        "concordant" => Accept::Concordant {
            within: rust_decimal::Decimal::new(10, 2),
        },
        _ => Accept::Dixon {
            level: DixonLevel::P90,
            from: 3,
            critical: DixonCritical::default(),
        },
    };
    let rules = TrialRules {
        accept,
        ..procedure.trials.clone()
    };
    procedure.with(Some(rules), None)
}

fn flagged(class: &Class, work: &Work) -> bool {
    let flags = class.judge(work, &[]).flags;
    flags.iter().any(|flag| flag.code == FlagCode::ScatterLow)
}

/// The level holds for each rule that chooses trials, though whose titres do not agree titrates again; and for a hand
/// twice as steady as the procedure states.
#[test]
fn the_level_holds_whatever_rule_chooses() {
    let students = many(200, 4_000);
    let mut rng = ChaCha20Rng::seed_from_u64(2_450);
    let (mut all, mut low) = (0, 0);
    for key in [
        "peroxide-permanganate",
        "well-water-hardness",
        "naoh-against-khp",
        "antacid-back",
    ] {
        for rule in ["all", "concordant", "dixon"] {
            for care in [1.0, 0.5] {
                let class = Class::of(with_rule(key, rule), 1, &mut rng);
                let mut count = 0;
                for _ in 0..students {
                    let work = class.work(0, Some(care), &mut rng);
                    count += usize::from(flagged(&class, &work));
                }
                println!("{key}, {rule}, care {care}: {count} of {students}");
                assert!(
                    count as f64 <= 0.01 * students as f64,
                    "{key} {rule} {care}: {count}"
                );
                if care == 1.0 {
                    (all, low) = (all + students, low + count);
                }
            }
        }
    }
    assert!(low as f64 <= 0.005 * all as f64, "{low} of {all}");
}

/// Three titres all the same are chance; five are not.
#[test]
fn equal_titres() {
    let mut rng = ChaCha20Rng::seed_from_u64(2_451);
    let class = Class::of(
        shipped("peroxide-permanganate", &shipped_glassware()),
        1,
        &mut rng,
    );
    let mut work = class.work(0, None, &mut rng);
    let rows = work.hand_in.titrations.iter();
    let first = rows
        .clone()
        .find(|row| row.trial.number() == Some(1))
        .cloned()
        .expect("a trial");
    for (trials, expected) in [(3, false), (5, true)] {
        let row = |n: u32| {
            let mut row = first.clone();
            row.trial = concordant::submission::TrialLabel::Numbered(n);
            let read = |text: String| Reading::parse(&text).expect("a reading");
            let start = read(format!("0.{n}3"));
            let end = read(format!("24.{n}8"));
            let piece = [
                (Column::BuretteStart(1), start),
                (Column::BuretteEnd(1), end),
            ];
            row.readings.extend(piece);
            row
        };
        work.hand_in.titrations = (1..=trials).map(row).collect();
        assert_eq!(flagged(&class, &work), expected, "{trials}");
    }
}
