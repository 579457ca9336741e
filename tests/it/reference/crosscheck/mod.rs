//! Results and uncertainties against an implementation of its own, in another language, on random hand-ins of every
//! scheme. `cases.json` says by which libraries; `tests/tools/crosscheck/generate.py` makes it.

use std::collections::{BTreeMap, BTreeSet};

use concordant::columns::{Cells, Column, read_cells};
use concordant::files::{read_glassware, read_procedure};
use concordant::judge::refusals;
use concordant::measure::GlasswareTable;
use concordant::procedure::Procedure;
use concordant::submission::{HandIn, Titration, TrialLabel};
use concordant::truth::{Assigned, Lot};
use concordant::workup::{WorkUpInput, work_up};
use serde::Deserialize;

use super::{dec, f};

/// How far apart the two may be, relative.
const APART: f64 = 1e-9;

#[derive(Deserialize)]
struct File {
    about: About,
    cases: Vec<Written>,
}

#[derive(Deserialize)]
struct About {
    glassware: String,
}

#[derive(Deserialize)]
struct Written {
    name: String,
    kind: String,
    procedure: String,
    lots: BTreeMap<String, [String; 2]>,
    rows: Vec<Row>,
    expected: Expected,
}

#[derive(Deserialize)]
struct Row {
    trial: String,
    lot: Option<String>,
    excess_lot: Option<String>,
    cells: BTreeMap<String, String>,
}

#[derive(Deserialize)]
struct Expected {
    value: f64,
    systematic: f64,
    predicted_random: f64,
    observed_random: Option<f64>,
    standard: f64,
    freedom: Option<f64>,
    expanded: f64,
}

/// A case with what the program made of its texts.
pub struct Case {
    pub name: String,
    pub kind: String,
    pub procedure: Procedure,
    pub hand_in: HandIn,
    lots: Vec<Lot>,
    expected: Expected,
}

/// Every case, read through the program's own readers.
pub fn cases() -> Vec<Case> {
    let file: File = serde_json::from_str(include_str!("cases.json")).expect("the file of cases");
    let glassware = read_glassware("glassware.toml", &file.about.glassware).expect("glassware");
    let read = |case| Case::read(case, &glassware);
    file.cases.into_iter().map(read).collect()
}

impl Case {
    fn read(case: Written, glassware: &GlasswareTable) -> Self {
        let procedure = read_procedure("case.toml", &case.procedure, glassware)
            .unwrap_or_else(|faults| panic!("{}: {faults:?}", case.name));
        let titrations = case.rows.iter().map(|row| row.read(&case.name, &procedure));
        let hand_in = HandIn {
            titrations: titrations.collect(),
            ..HandIn::default()
        };
        for (number, row) in hand_in.titrations.iter().enumerate() {
            assert_eq!(refusals(&procedure, number, row), [], "{}", case.name);
        }
        let lots = case.lots.iter().map(|(code, [value, standard])| Lot {
            code: concordant::ids::LotCode::new(code.as_str()),
            reagent: String::new(),
            molarity: Assigned::new(dec(value), dec(standard)).expect("a molarity"),
            version: 1,
            standardised: None,
        });
        Self {
            lots: lots.collect(),
            name: case.name,
            kind: case.kind,
            procedure,
            hand_in,
            expected: case.expected,
        }
    }

    /// Lots by row, as they are written.
    pub fn lots(&self) -> Vec<(Option<&Lot>, Option<&Lot>)> {
        let find = |code: &Option<concordant::ids::LotCode>| {
            let code = code.as_deref()?;
            self.lots.iter().find(|lot| lot.code == code)
        };
        let rows = self.hand_in.titrations.iter();
        rows.map(|row| (find(&row.lot), find(&row.excess_lot)))
            .collect()
    }
}

impl Row {
    fn read(&self, case: &str, procedure: &Procedure) -> Titration {
        let trial = TrialLabel::parse(&self.trial).expect("a trial");
        let column = |name: &str| Column::from_name(name).expect("a column");
        let cells: Cells = self
            .cells
            .iter()
            .map(|(name, text)| (column(name), text.clone()))
            .collect();
        let read = read_cells(procedure, trial, &cells);
        let read = read.unwrap_or_else(|faults| panic!("{case}, trial {}: {faults:?}", self.trial));
        Titration {
            trial,
            lot: self.lot.as_deref().map(concordant::ids::LotCode::new),
            excess_lot: self
                .excess_lot
                .as_deref()
                .map(concordant::ids::LotCode::new),
            unknown: None,
            instrument: None,
            spoiled: None,
            readings: read,
            submitted_at: None,
        }
    }
}

#[test]
fn results_and_uncertainties_agree_with_another_implementation() {
    let mut by_kind: BTreeMap<String, usize> = BTreeMap::new();
    let (mut finite, mut wrong) = (0, Vec::new());
    for case in cases() {
        *by_kind.entry(case.kind.clone()).or_default() += 1;
        finite += usize::from(case.expected.freedom.is_some());
        wrong.extend(differences(&case));
    }
    assert!(
        wrong.is_empty(),
        "{} differ:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
    println!("cases by kind: {by_kind:?}; with finite degrees of freedom: {finite}");
    assert_eq!(by_kind.len(), 19, "{by_kind:?}");
    assert!(by_kind.values().all(|n| *n >= 20), "{by_kind:?}");
    assert!(by_kind.values().sum::<usize>() >= 560, "{by_kind:?}");
    assert!(finite >= 60, "{finite}");
}

fn differences(case: &Case) -> Vec<String> {
    let left_out = BTreeSet::new();
    let done = work_up(WorkUpInput {
        procedure: &case.procedure,
        hand_in: &case.hand_in,
        lots: &case.lots(),
        left_out: &left_out,
    });
    let mut found = Vec::new();
    let (Some(value), Some(budget)) = (done.value(), &done.budget) else {
        return vec![format!("{}: no result: {:?}", case.name, done.trials)];
    };
    let expected = &case.expected;
    let mut compare = |what: &str, value: f64, expected: f64, scale: f64| {
        // what is no number agrees with nothing
        let near = (value - expected).abs() <= APART * scale.abs();
        if !near && value != expected {
            let name = &case.name;
            found.push(format!("{name}: {what} {value:e}, expected {expected:e}"));
        }
    };
    let standard = expected.standard;
    compare("value", f(value), expected.value, expected.value);
    compare(
        "systematic",
        budget.systematic,
        expected.systematic,
        standard,
    );
    let random = (budget.predicted_random, expected.predicted_random);
    compare("predicted random", random.0, random.1, standard);
    let none = f64::NEG_INFINITY;
    let observed = expected.observed_random.unwrap_or(none);
    let found_observed = budget.observed_random.unwrap_or(none);
    compare("observed random", found_observed, observed, standard);
    compare("standard", budget.standard, standard, standard);
    let freedom = expected.freedom.unwrap_or(f64::INFINITY);
    compare("freedom", budget.degrees_of_freedom, freedom, freedom);
    let expanded = expected.expanded;
    compare("expanded", budget.expanded, expanded, expanded);
    found
}
