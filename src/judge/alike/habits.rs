//! How often honest students of a section would coincide: from the readings of all the others.

use super::sheet::{NEAR, Sheet, Titre};
use crate::columns::Column;
use crate::measure::as_f64;
use crate::procedure::Procedure;
use crate::stats::mean_and_s;
use crate::workup::titre_scatter;

/// Steps to either side of a reading over which its neighbourhood is smoothed.
const AROUND: i64 = 5;
/// Least chance that two students both fill to a mark, and both to zero.
const AT_A_MARK: f64 = 0.1;
const AT_ZERO: f64 = 0.5;
/// Fewest degrees of freedom from which a section's own scatter is taken.
const FEWEST_FREEDOM: f64 = 10.0;

/// What the titres and digits of a section are like.
#[derive(Clone, Copy, Debug)]
pub(super) struct Titration {
    /// Chance that two delivered volumes of one bottle and lot coincide to one readable step.
    pub coincide: f64,
    /// The readable step, in units.
    pub step: i64,
}

impl Titration {
    /// Two volumes of standard deviation σ, written in steps of h, differ by nothing with probability at most
    /// h / (2 √π σ): the density of their difference at zero. σ is the smaller of what reading and endpoint predict and
    /// what the section shows, rounding included; where the section prefers some last digits, coincidences are as much
    /// more frequent as pairs of like digits are.
    pub fn of(procedure: &Procedure, sheets: &[Sheet]) -> Option<Self> {
        let step = procedure.burette()?.readable_step()?;
        let (h, step) = (as_f64(step), super::sheet::in_units(step));
        let predicted = titre_scatter(procedure)?.hypot(h / 6_f64.sqrt());
        let seen = section_scatter(sheets, 2.0 * predicted);
        let sigma = seen.map_or(predicted, |seen| seen.clamp(h / 2.0, predicted));
        let coincide = h / (2.0 * std::f64::consts::PI.sqrt() * sigma);
        // and by ten steps, which may be a digit altered
        let coincide = coincide * (1.0 + 2.0 * (-(5.0 * h / sigma).powi(2)).exp());
        Some(Self {
            coincide: coincide * digit_preference(sheets, step),
            step,
        })
    }
}

/// Pooled standard deviation of the delivered volumes of each student, mL; who scatters more than `most` counts as that.
fn section_scatter(sheets: &[Sheet], most: f64) -> Option<f64> {
    let (mut squares, mut freedom) = (0.0, 0.0);
    for sheet in sheets {
        let rows = sheet.numbered();
        let volumes: Vec<f64> = rows
            .iter()
            .filter_map(|row| sheet.rows.get(*row)?.titres.first())
            .map(|titre| titre.delivered as f64 / 1e6)
            .collect();
        let Some((_, s)) = mean_and_s(&volumes) else {
            continue;
        };
        let own = volumes.len() as f64 - 1.0;
        squares += own * s.min(most).powi(2);
        freedom += own;
    }
    (freedom >= FEWEST_FREEDOM).then(|| (squares / freedom).sqrt())
}

/// Ten times the chance that two burette readings of the section end in the same digit; 1 where digits are even.
fn digit_preference(sheets: &[Sheet], step: i64) -> f64 {
    let mut counts = [0.0_f64; 10];
    for titre in sheets.iter().flat_map(Sheet::titres) {
        for reading in [titre.start, titre.end] {
            let digit = reading
                .checked_div(step)
                .and_then(|steps| steps.checked_rem(10));
            let digit = usize::try_from(digit.unwrap_or(0)).unwrap_or(0);
            // an exact zero is a filling and not an estimate
            if reading != 0
                && let Some(count) = counts.get_mut(digit)
            {
                *count += 1.0;
            }
        }
    }
    let all: f64 = counts.iter().sum();
    let pairs: f64 = counts.iter().map(|count| count * (count - 1.0)).sum();
    if all < 20.0 {
        return 1.0;
    }
    (10.0 * pairs / (all * (all - 1.0))).max(1.0)
}

/// The sheets of a section without those of the pair that is compared.
#[derive(Clone, Copy)]
pub(super) struct Others<'a> {
    pub sheets: &'a [Sheet],
    pub pair: (usize, usize),
    pub step: i64,
}

impl<'a> Others<'a> {
    fn all(self) -> impl Iterator<Item = &'a Sheet> {
        let (one, other) = self.pair;
        let kept = move |(place, _): &(usize, &Sheet)| *place != one && *place != other;
        self.sheets
            .iter()
            .enumerate()
            .filter(kept)
            .map(|(_, sheet)| sheet)
    }

    fn starts(self, first: bool) -> impl Iterator<Item = i64> {
        let titres = self.all().flat_map(Sheet::titres);
        let wanted = move |titre: &&Titre| titre.is_filled() && titre.stood.is_none() == first;
        titres.filter(wanted).map(|titre| titre.start)
    }

    /// Chance that a burette is filled to that reading, before the first titration or before a later one.
    pub fn filling(self, reading: i64, first: bool) -> f64 {
        let chance = self.frequency(self.starts(first), reading);
        let ten = self.step.saturating_mul(10);
        match reading.checked_rem(ten) {
            _ if reading == 0 => chance.max(AT_ZERO),
            Some(0) => chance.max(AT_A_MARK),
            _ => chance,
        }
    }

    /// Chance that a meniscus is read again so far from where it was read before.
    pub fn read_again(self, apart: i64) -> f64 {
        let again = self.all().flat_map(Sheet::titres).filter_map(|titre| {
            let apart = titre.start.saturating_sub(titre.stood?);
            (apart.saturating_abs() <= NEAR).then_some(apart)
        });
        share(again.map(|seen| seen == apart))
    }

    /// Chance of that weighing or volume.
    pub fn amount(self, column: Column, reading: i64) -> f64 {
        share(self.amounts(column).map(|seen| seen == reading))
    }

    /// Chance that a student finds the same weighing or volume in two rows: who keeps to one mark will again.
    pub fn repeated(self, column: Column) -> f64 {
        let pairs = self.all().flat_map(|sheet| {
            let own: Vec<i64> = amounts_of(sheet, column).collect();
            let next = own.clone().into_iter().skip(1);
            let pairs: Vec<bool> = own.into_iter().zip(next).map(|(a, b)| a == b).collect();
            pairs
        });
        share(pairs)
    }

    fn amounts(self, column: Column) -> impl Iterator<Item = i64> {
        self.all().flat_map(move |sheet| amounts_of(sheet, column))
    }

    /// The larger of how often exactly that was read, counting it half a time more than it was, and how often it or
    /// one of its neighbours was, shared out among them.
    fn frequency(self, seen: impl Iterator<Item = i64>, reading: i64) -> f64 {
        let (mut all, mut same, mut around) = (0.0, 0.0, 0.0);
        let width = self.step.saturating_mul(AROUND);
        for other in seen {
            all += 1.0;
            same += f64::from(u8::from(other == reading));
            let near = other.saturating_sub(reading).saturating_abs() <= width;
            around += f64::from(u8::from(near));
        }
        let exactly: f64 = (same + 0.5) / (all + 0.5);
        if all == 0.0 {
            return 1.0;
        }
        exactly.max(around / (all * (2 * AROUND + 1) as f64))
    }
}

fn amounts_of(sheet: &Sheet, column: Column) -> impl Iterator<Item = i64> {
    let amounts = sheet.rows.iter().flat_map(|row| &row.amounts);
    amounts
        .filter(move |(own, _)| *own == column)
        .map(|(_, reading)| *reading)
}

/// The share of those that are so, one more counted than there were.
fn share(those: impl IntoIterator<Item = bool>) -> f64 {
    let (mut all, mut so) = (0.0, 0.0);
    for one in those {
        all += 1.0;
        so += f64::from(u8::from(one));
    }
    (so + 1.0) / (all + 1.0)
}
