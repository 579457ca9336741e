//! What a demanding analyst would ask of a procedure: how a result is expressed, where reagents went, what cannot be.

mod back;
mod beyond;
mod carried;
mod correlated;
mod covered;
mod curve_faults;
mod curves;
mod curves_covered;
mod equivalence;
mod heating;
mod instruments;
mod line_taken_over;
mod reagents;
mod recomputed;
mod spoiled;
mod units;
mod world;
mod written;

use std::collections::BTreeSet;

use concordant::columns::Column;
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::ids::LotCode;
use concordant::measure::Reading;
use concordant::procedure::Procedure;
use concordant::submission::{HandIn, Titration, TrialLabel};
use concordant::truth::{Assigned, Lot};
use concordant::workup::{WorkUp, WorkUpInput, work_up};
use rust_decimal::Decimal;

use crate::reference::dec;

fn text_of(key: &str) -> String {
    shipped_procedure(key).expect(key)
}

fn read(text: &str) -> Result<Procedure, Vec<String>> {
    read_procedure("p.toml", text, &shipped_glassware())
        .map_err(|faults| faults.iter().map(ToString::to_string).collect())
}

fn lot(code: &str, molarity: &str) -> Lot {
    Lot {
        code: LotCode::new(code),
        reagent: String::new(),
        molarity: Assigned::new(dec(molarity), Decimal::ZERO).expect("a molarity"),
        version: 1,
        standardised: None,
    }
}

/// A row of these readings.
fn row(trial: TrialLabel, readings: &[(Column, &str)]) -> Titration {
    let mut row = Titration::new(trial);
    for (column, text) in readings {
        let reading = Reading::parse(text).expect(text);
        row.readings.insert(*column, reading);
    }
    row
}

fn titre(trial: TrialLabel, delivered: &str) -> Titration {
    let ends = [
        (Column::BuretteStart(1), "0.00"),
        (Column::BuretteEnd(1), delivered),
    ];
    row(trial, &ends)
}

fn worked(procedure: &Procedure, rows: Vec<Titration>, lots: (&Lot, Option<&Lot>)) -> WorkUp {
    let lots = vec![(Some(lots.0), lots.1); rows.len()];
    let hand_in = HandIn {
        titrations: rows,
        ..HandIn::default()
    };
    work_up(WorkUpInput {
        procedure,
        hand_in: &hand_in,
        lots: &lots,
        left_out: &BTreeSet::new(),
    })
}
