//! A worked example of every procedure that comes with the program, through its own file: readings as a student writes
//! them, and the result as it is worked by hand from the atomic weights of 2021, which stands beside it.

mod acids;
mod complexes;
mod curves;
mod derivations;
mod iodine;
mod other_schemes;
mod promises;
mod redox;
mod silver;
mod two_signals;

use std::collections::{BTreeMap, BTreeSet};

use super::super::{f, near};
use super::lot;
use concordant::columns::{Column, read_cells};
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure, shipped_procedures};
use concordant::procedure::Procedure;
use concordant::submission::{HandIn, Titration, TrialLabel};
use concordant::truth::Lot;
use concordant::workup::{WorkUp, WorkUpInput, work_up};

/// One hand-in of a shipped procedure.
struct Example {
    key: &'static str,
    /// Molarities of the titrant's (or stock's) lot and of the excess reagent's; empty where there is none.
    lots: [&'static str; 2],
    /// Reading columns by their names in files.
    columns: &'static str,
    /// A trial and its cells in the order of the columns; `-` where a cell stays empty.
    rows: &'static [&'static str],
    /// Which trials count.
    counted: usize,
    /// To 1e-7.
    expected: f64,
}

/// Every example. The first of a procedure has an ordinary sample.
fn examples() -> impl Iterator<Item = &'static Example> {
    [
        acids::EXAMPLES,
        redox::EXAMPLES,
        iodine::EXAMPLES,
        complexes::EXAMPLES,
        silver::EXAMPLES,
        other_schemes::EXAMPLES,
        curves::EXAMPLES,
        two_signals::EXAMPLES,
    ]
    .into_iter()
    .flatten()
}

fn shipped(key: &str) -> Procedure {
    let text = shipped_procedure(key).expect(key);
    read_procedure(key, &text, &shipped_glassware()).expect(key)
}

impl Example {
    fn row(&self, procedure: &Procedure, row: &str) -> Titration {
        let mut cells = row.split_whitespace();
        let trial = TrialLabel::parse(cells.next().expect("a trial")).expect(row);
        let names: Vec<&str> = self.columns.split_whitespace().collect();
        let cells: Vec<&str> = cells.collect();
        assert_eq!(cells.len(), names.len(), "{}: {row}", self.key);
        let cells: BTreeMap<Column, String> = names
            .iter()
            .zip(cells)
            .filter(|(_, cell)| *cell != "-")
            .map(|(name, cell)| (Column::from_name(name).expect(name), cell.to_owned()))
            .collect();
        let most = Column::most(procedure);
        let asked_for = Column::of_row(procedure, trial, most);
        assert!(
            cells.keys().all(|column| asked_for.contains(column)),
            "{}: {row}: {cells:?}",
            self.key
        );
        let read = read_cells(procedure, trial, &cells).expect(row);
        Titration {
            trial,
            lot: None,
            excess_lot: None,
            unknown: None,
            instrument: None,
            spoiled: None,
            readings: read,
            submitted_at: None,
        }
    }

    fn lots(&self) -> [Option<Lot>; 2] {
        let [titrant, excess] = self.lots;
        let known = |code, molarity: &str| (!molarity.is_empty()).then(|| lot(code, molarity));
        [known("T", titrant), known("E", excess)]
    }

    fn work_up(&self) -> WorkUp {
        let procedure = shipped(self.key);
        let rows = self.rows.iter().map(|row| self.row(&procedure, row));
        let hand_in = HandIn {
            titrations: rows.collect(),
            ..HandIn::default()
        };
        let [titrant, excess] = self.lots();
        let lots = vec![(titrant.as_ref(), excess.as_ref()); hand_in.titrations.len()];
        let none = BTreeSet::new();
        work_up(WorkUpInput {
            procedure: &procedure,
            hand_in: &hand_in,
            lots: &lots,
            left_out: &none,
        })
    }

    fn check(&self) {
        let done = self.work_up();
        let why = || {
            let not = done.trials.iter().filter_map(|t| t.why_not.clone());
            format!("{}: {:?}", self.key, not.collect::<Vec<_>>())
        };
        let found = done.value().unwrap_or_else(|| panic!("{}", why()));
        assert_eq!(done.counted(), self.counted, "{}", why());
        near(f(found), self.expected, 1e-7, self.key);
    }
}

#[test]
fn every_example_comes_out() {
    examples().for_each(Example::check);
}

#[test]
fn every_shipped_procedure_has_an_example() {
    let worked: BTreeSet<&str> = examples().map(|example| example.key).collect();
    let shipped = shipped_procedures();
    let shipped: BTreeSet<&str> = shipped.iter().map(|(key, _)| key.as_str()).collect();
    assert!(shipped.len() >= 25, "{shipped:?}");
    assert_eq!(worked, shipped);
}
