//! Properties of the work-up that hold for every procedure and every scheme, on the readings of simulated students.

mod gradient;
mod hand_ins;
mod order;
mod scaling;
mod units;

use std::collections::{BTreeSet, HashSet};
use std::sync::LazyLock;

use concordant::columns::Column;
use concordant::files::{read_procedure, shipped_glassware, shipped_procedures};
use concordant::judge::signal::{Bench, Signal, result_at};
use concordant::measure::Reading;
use concordant::procedure::Procedure;
use concordant::schemes::SchemeKind as Scheme;
use concordant::simulate::hands::Hands;
use concordant::simulate::simulate;
use concordant::submission::{Delivery, HandIn, Titration};
use concordant::truth::{Assigned, Lot};
use concordant::workup::{WorkUp, WorkUpInput, work_up};
use proptest::prelude::ProptestConfig;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rust_decimal::Decimal;

use crate::reference::crosscheck;

/// A procedure with its bottles.
#[derive(Clone)]
pub struct Station {
    pub name: String,
    pub procedure: Procedure,
    pub lot: Option<Lot>,
    pub excess_lot: Option<Lot>,
}

/// Every shipped procedure, and two of the cross-check's for each of its kinds, so that no scheme is left out.
pub fn stations() -> &'static [Station] {
    static ALL: LazyLock<Vec<Station>> = LazyLock::new(|| {
        let shipped = shipped_procedures().into_iter().map(|(key, text)| {
            let procedure = read_procedure(&key, &text, &shipped_glassware());
            Station::new(key, procedure.expect("a shipped procedure"))
        });
        let mut seen = HashSet::new();
        let others = crosscheck::cases();
        let others = others.into_iter().filter(|case| {
            let kind = (case.kind.clone(), case.procedure.trials.blank);
            seen.insert(kind)
        });
        let others = others.map(|case| Station::new(case.name, case.procedure));
        let all: Vec<Station> = shipped.chain(others).collect();
        let schemes = Scheme::ALL.iter();
        let lacking = schemes.filter(|s| {
            !all.iter()
                .any(|station| station.procedure.scheme.kind() == **s)
        });
        assert_eq!(lacking.count(), 0);
        all
    });
    &ALL
}

impl Station {
    fn new(name: String, procedure: Procedure) -> Self {
        let lot = |code: &str, molarity: Decimal| Lot {
            code: concordant::ids::LotCode::new(code),
            reagent: String::new(),
            molarity: Assigned::new(molarity, molarity * Decimal::new(1, 3)).expect("a molarity"),
            version: 1,
            standardised: None,
        };
        let titrant = procedure
            .lot_reagent()
            .map(|(_, nominal)| lot("L-1", nominal));
        let excess = procedure.excess().map(|excess| lot("E-1", excess.nominal));
        Self {
            name,
            lot: titrant,
            excess_lot: excess,
            procedure,
        }
    }

    /// The bottle that gives a signal in the middle of its scale.
    pub fn bench(&self) -> Bench<'_> {
        let signal = Signal::of(&self.procedure);
        let full = signal.full;
        let blank = match self.procedure.scheme.kind() {
            Scheme::Back => 0.8 * full,
            _ => 0.01 * full,
        };
        let mut bench = Bench {
            truth: 1.0,
            lot: self.lot.as_ref(),
            excess_lot: self.excess_lot.as_ref(),
            blank,
        };
        bench.truth = result_at(&self.procedure, &bench, signal.at(0.5)).expect(&self.name);
        bench
    }

    /// What a student with that seed writes down.
    pub fn hand_in(&self, seed: u64, trials: u32) -> HandIn {
        let hands = Hands {
            trials,
            rough: seed.is_multiple_of(2),
            ..Hands::careful(&self.procedure, 1.0)
        };
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        simulate(&self.procedure, &self.bench(), &hands, &mut rng).expect(&self.name)
    }

    pub fn work_up(&self, hand_in: &HandIn) -> WorkUp {
        let lots = (self.lot.as_ref(), self.excess_lot.as_ref());
        let lots = vec![lots; hand_in.titrations.len()];
        let left_out = BTreeSet::new();
        work_up(WorkUpInput {
            procedure: &self.procedure,
            hand_in,
            lots: &lots,
            left_out: &left_out,
        })
    }
}

/// Runs a longer check where the environment asks for it: `CONCORDANT_LONG=1`.
pub fn long() -> bool {
    std::env::var_os("CONCORDANT_LONG").is_some_and(|value| value == "1")
}

/// How many inputs a property is tried on, by default and in a long run; printed with the test.
pub fn inputs(usual: u32, in_long: u32) -> ProptestConfig {
    let inputs = if long() { in_long } else { usual };
    let test = std::thread::current();
    println!("{}: {inputs} inputs", test.name().unwrap_or("a property"));
    ProptestConfig::with_cases(inputs)
}

pub fn read(value: Decimal) -> Reading {
    Reading::parse_answer(&value.to_string()).expect("a reading")
}

/// The last piece in two: the burette is refilled somewhere on the way.
pub fn refilled(row: &mut Titration, delivery: Delivery, start_again: Decimal) {
    let Some(last) = row.pieces(delivery).last() else {
        return;
    };
    let (start, end) = (last.start.value(), last.end.value());
    let middle = ((start + end) / Decimal::TWO).round_dp(2);
    let filling = row.pieces(delivery).count();
    let (_, old_end) = Column::piece(delivery, filling);
    let (new_start, new_end) = Column::piece(delivery, filling + 1);
    row.readings.insert(old_end, read(middle));
    row.readings.insert(new_start, read(start_again));
    let rest = start_again + (end - middle);
    row.readings.insert(new_end, read(rest));
}
