//! Standard atomic weights of the elements 2021.
//!
//! Source: Prohaska et al., Pure Appl. Chem. 94 (2022) 573–600, doi:10.1515/pac-2019-0603; abridged values where
//! the standard atomic weight is an interval.

use std::collections::HashMap;
use std::str::FromStr;
use std::sync::LazyLock;

use rust_decimal::Decimal;

use crate::measure::as_f64;

/// One element's weight as the table prints it.
#[derive(Clone, Debug, PartialEq)]
pub struct AtomicWeight {
    pub symbol: &'static str,
    /// Abridged or standard value, g/mol.
    pub value: Decimal,
    /// Decisional uncertainty U: the value lies within ±U, g/mol.
    pub uncertainty: Decimal,
}

impl AtomicWeight {
    /// Standard uncertainty U/√3, g/mol: the table's U taken as the half-width of a rectangle (QUAM:2012, A2.4).
    pub fn standard_uncertainty(&self) -> f64 {
        as_f64(self.uncertainty) / 3f64.sqrt()
    }
}

/// The weight of an element; none for a symbol that is not an element or has no standard atomic weight.
pub fn atomic_weight(symbol: &str) -> Option<&'static AtomicWeight> {
    TABLE.get(symbol)
}

static TABLE: LazyLock<HashMap<&'static str, AtomicWeight>> = LazyLock::new(|| {
    // the table is part of the program; a test reads every line of it, so a bad line cannot ship
    include_str!("../../seed-data/atomic-weights.csv")
        .lines()
        .filter_map(read_line)
        .map(|w| (w.symbol, w))
        .collect()
});

fn read_line(line: &'static str) -> Option<AtomicWeight> {
    let mut cells = line.split(',');
    let symbol = cells.next()?;
    let value = Decimal::from_str(cells.next()?).ok()?;
    let uncertainty = Decimal::from_str(cells.next()?).ok()?;
    Some(AtomicWeight {
        symbol,
        value,
        uncertainty,
    })
}
