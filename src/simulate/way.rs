//! How a student does the sum: what is put in the place of what.

use crate::chem::Ratio;
use crate::columns::Column;
use crate::measure::{as_f64, from_f64, to_figures};
use crate::submission::{Delivery, Piece, Titration, TrialLabel};

/// How the sum is done.
#[derive(Clone, Copy, Default)]
pub(super) struct Way {
    /// Ends taken for volumes: in every row, or in one.
    pub ends: Option<Option<TrialLabel>>,
    /// Powers of a thousand between millilitres and litres.
    pub thousands: i32,
    /// The ratio, counted from 0, that is upside down (true) or taken as 1 : 1 (false).
    pub ratio: Option<(usize, bool)>,
    pub exchanged: bool,
    pub nominal: bool,
    pub excess_nominal: bool,
    pub no_dilution: bool,
    pub no_blank: bool,
    pub left_over: bool,
    /// Molar mass in place of the right one, g/mol.
    pub molar_mass: Option<f64>,
    pub power: i32,
    /// Figures to which the amount is rounded.
    pub figures: Option<u32>,
}

impl Way {
    pub fn takes_end(&self, trial: TrialLabel) -> bool {
        self.ends
            .is_some_and(|one| one.is_none_or(|one| one == trial))
    }

    pub fn ratio(&self, place: usize, ratio: Ratio) -> f64 {
        match self.ratio {
            Some((at, true)) if at == place => 1.0 / part(ratio),
            Some((at, false)) if at == place => 1.0,
            _ => part(ratio),
        }
    }

    pub fn rounded(&self, amount: f64) -> f64 {
        let rounded =
            |figures| from_f64(amount, 12).map(|exact| as_f64(to_figures(exact, figures)));
        self.figures.and_then(rounded).unwrap_or(amount)
    }
}

/// mL delivered, or the last end where that is taken for it.
pub(super) fn volume(way: &Way, row: &Titration, delivery: Delivery) -> Option<f64> {
    let last = as_f64(row.pieces(delivery).last()?.end.value());
    if way.takes_end(row.trial) {
        return Some(last);
    }
    let delivered = |piece: Piece| as_f64(piece.end.value()) - as_f64(piece.start.value());
    Some(row.pieces(delivery).map(delivered).sum())
}

/// Mass of what is in a crucible or vessel, g.
pub(super) fn content(row: &Titration, empty: Column, full: Column) -> Option<f64> {
    Some(as_f64(full.get(row)?.value()) - as_f64(empty.get(row)?.value()))
}

pub(super) fn part(ratio: Ratio) -> f64 {
    let (over, under) = ratio.parts();
    as_f64(over) / as_f64(under)
}
