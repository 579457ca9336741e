//! Mistakes that people make, in the way they happen: readings are altered before they are written down. Answers go
//! wrong in [`super::arithmetic`].

use rand::{Rng, RngExt};
use rust_decimal::Decimal;

use super::copying::put;
use crate::columns::Column;
use crate::judge::{SlipCode, refusals};
use crate::measure::{GlasswareKind, Reading, as_f64, from_f64};
use crate::procedure::{Procedure, SampleBy};
use crate::submission::{Delivery, HandIn};
use crate::words::named;

/// What somebody does wrong: first the mistakes at the bench, then those in the arithmetic.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mistake {
    ReadUpward,
    AllReadUpward,
    TenMillilitres,
    WholeMillilitre,
    Tenth,
    TransposedDigits,
    WrongPipette,
    NotRinsed,
    SampleNominal,
    OtherUnknown,
    OtherLot,
    Overshoot,
    EndNotDifference,
    StartNotZeroIgnored,
    MillilitresAsLitres,
    RatioInverted,
    RatioIgnored,
    VolumesExchanged,
    NominalMolarity,
    /// The labels of titrant and excess reagent.
    BothNominal,
    DilutionOmitted,
    BlankOmitted,
    BackNotSubtracted,
    RoughIncluded,
    OneTrialOnly,
    WrongSpecies,
    UnitSlip,
    RoundedEarly,
}

named! { Mistake, name:
    ReadUpward = "read-upward",
    AllReadUpward = "all-read-upward",
    TenMillilitres = "ten-millilitres",
    WholeMillilitre = "whole-millilitre",
    Tenth = "tenth",
    TransposedDigits = "transposed-digits",
    WrongPipette = "wrong-pipette",
    NotRinsed = "not-rinsed",
    SampleNominal = "sample-nominal",
    OtherUnknown = "other-unknown",
    OtherLot = "other-lot",
    Overshoot = "overshoot",
    EndNotDifference = "end-not-difference",
    StartNotZeroIgnored = "start-not-zero-ignored",
    MillilitresAsLitres = "millilitres-as-litres",
    RatioInverted = "ratio-inverted",
    RatioIgnored = "ratio-ignored",
    VolumesExchanged = "volumes-exchanged",
    NominalMolarity = "nominal-molarity",
    BothNominal = "both-nominal",
    DilutionOmitted = "dilution-omitted",
    BlankOmitted = "blank-omitted",
    BackNotSubtracted = "back-not-subtracted",
    RoughIncluded = "rough-included",
    OneTrialOnly = "one-trial-only",
    WrongSpecies = "wrong-species",
    UnitSlip = "unit-slip",
    RoundedEarly = "rounded-early",
}

impl Mistake {
    /// Whether it happens at the bench, so that the result is off the truth; else the answer is off the readings.
    pub fn is_at_the_bench(self) -> bool {
        self <= Self::Overshoot
    }

    /// The slip that it is called; none where the judgement has no name for it.
    pub fn slip(self) -> Option<SlipCode> {
        let code = match self {
            Self::BothNominal => SlipCode::NominalMolarity.code(),
            _ => self.name(),
        };
        SlipCode::from_code(code)
    }

    /// As a row of the rehearsal says it.
    pub fn words(self) -> String {
        self.name().replace('-', " ")
    }

    /// Makes it in what was written down. None where it cannot be made there, or the entry would refuse it.
    pub fn misread(
        self,
        procedure: &Procedure,
        hand_in: &HandIn,
        rng: &mut impl Rng,
    ) -> Option<HandIn> {
        let mut hand_in = hand_in.clone();
        match self {
            Self::SampleNominal => sample_nominal(procedure, &mut hand_in)?,
            Self::Overshoot => {
                let drops = Decimal::from(rng.random_range(1..=3));
                let further = procedure.uncertainty.drop.checked_mul(drops)?;
                deliver_more(procedure, &mut hand_in, |_, _| Some(further))?;
            }
            Self::NotRinsed => {
                // what is left of the water thins the first filling most
                let first = rng.random_range(0.01..0.03);
                deliver_more(procedure, &mut hand_in, |trial, delivered| {
                    from_f64(first * 0.4_f64.powi(trial) * as_f64(delivered), 4)
                })?;
            }
            Self::AllReadUpward => {
                procedure.burette()?;
                let readings = hand_in
                    .titrations
                    .iter_mut()
                    .flat_map(|row| &mut row.readings);
                for (_, reading) in readings.filter(|(column, _)| column.is_of_burette()) {
                    *reading = written(upward(reading.value())?, reading.decimals())?;
                }
            }
            _ => self.one_reading(procedure, &mut hand_in, rng)?,
        }
        stands(procedure, &hand_in).then_some(hand_in)
    }

    /// One reading of one numbered trial.
    fn one_reading(
        self,
        procedure: &Procedure,
        hand_in: &mut HandIn,
        rng: &mut impl Rng,
    ) -> Option<()> {
        let rows = hand_in.titrations.iter_mut();
        let mut rows: Vec<_> = rows.filter(|row| row.trial.number().is_some()).collect();
        let place = rng.random_range(0..rows.len().max(1));
        let row = rows.get_mut(place)?;
        let columns = Column::of(procedure, row.fillings());
        let fits = |column: &Column| {
            let volume = column.glassware(procedure).kind().unit() == "mL";
            match self {
                Self::ReadUpward | Self::TenMillilitres => column.is_of_burette(),
                Self::WholeMillilitre | Self::Tenth => volume,
                _ => true,
            }
        };
        let columns: Vec<Column> = columns.into_iter().filter(fits).collect();
        let column = *columns.get(rng.random_range(0..columns.len().max(1)))?;
        let reading = column.get(row)?.clone();
        let further = |steps: Decimal, rng: &mut dyn FnMut() -> bool| {
            if rng() {
                reading.value().checked_add(steps)
            } else {
                reading.value().checked_sub(steps)
            }
        };
        let mut coin = || rng.random::<bool>();
        let value = match self {
            Self::ReadUpward => upward(reading.value())?,
            Self::TenMillilitres => further(Decimal::TEN, &mut coin)?,
            Self::WholeMillilitre => further(Decimal::ONE, &mut coin)?,
            Self::Tenth => further(Decimal::new(1, 1), &mut coin)?,
            Self::TransposedDigits => transposed(&reading, rng)?,
            _ => return None,
        };
        let changed = value != reading.value() && value >= Decimal::ZERO;
        let changed = changed.then(|| written(value, reading.decimals()))??;
        put(row, column, changed)
    }

    /// What the wrong single-mark piece takes, over what the right one would: the next size of the shelf.
    pub fn share_taken(self, procedure: &Procedure, rng: &mut impl Rng) -> Option<f64> {
        if self != Self::WrongPipette {
            return Some(1.0);
        }
        let sample = &procedure.sample;
        let (right, over) = match &sample.aliquot {
            Some(aliquot) => (&aliquot.pipette, 1.0),
            None if sample.glassware.kind() == GlasswareKind::Pipette => (&sample.glassware, 1.0),
            None => return None,
        };
        let right = as_f64(right.capacity());
        let shelf = [5.0, 10.0, 20.0, 25.0, 50.0];
        let at = shelf.iter().position(|size| *size == right)?;
        let wrong = if at == 0 || (rng.random() && at < 4) {
            shelf.get(at.saturating_add(1))?
        } else {
            shelf.get(at.saturating_sub(1))?
        };
        Some(over * wrong / right)
    }
}

/// Whether the entry would take it.
pub fn stands(procedure: &Procedure, hand_in: &HandIn) -> bool {
    let mut rows = hand_in.titrations.iter();
    rows.all(|row| refusals(procedure, 0, row).is_empty())
}

/// A number with so many decimals, as it is written.
pub fn written(value: Decimal, decimals: u32) -> Option<Reading> {
    let mut value = value;
    value.rescale(decimals);
    Reading::parse(&value.to_string()).ok()
}

/// The divisions counted from the mark below: 27.64 for 27.36.
fn upward(value: Decimal) -> Option<Decimal> {
    let part = value.fract();
    if part.is_zero() {
        return Some(value);
    }
    value.trunc().checked_add(Decimal::ONE.checked_sub(part)?)
}

/// Two neighbouring digits in each other's place.
fn transposed(reading: &Reading, rng: &mut impl Rng) -> Option<Decimal> {
    let mut digits: Vec<char> = reading.written().chars().collect();
    let digit = |at: &usize| digits.get(*at).is_some_and(char::is_ascii_digit);
    let pairs: Vec<usize> = (1..digits.len())
        .filter(|at| digit(at) && digit(&at.saturating_sub(1)))
        .collect();
    let at = *pairs.get(rng.random_range(0..pairs.len().max(1)))?;
    digits.swap(at.checked_sub(1)?, at);
    let swapped: String = digits.into_iter().collect();
    Reading::parse(&swapped).ok().map(|reading| reading.value())
}

fn sample_nominal(procedure: &Procedure, hand_in: &mut HandIn) -> Option<()> {
    if procedure.sample.by != SampleBy::Volume || !procedure.reads_sample_volume() {
        return None;
    }
    let decimals = procedure.sample.glassware.decimals()?;
    for volume in hand_in
        .titrations
        .iter_mut()
        .filter_map(|row| row.readings.get_mut(&Column::SampleVolume))
    {
        *volume = written(procedure.sample.nominal, decimals)?;
    }
    Some(())
}

/// Numbered trials take more: each end is further down, and where the burette was carried on, so is all that follows.
/// `more` is asked for each trial, from 0, and what it delivered.
fn deliver_more(
    procedure: &Procedure,
    hand_in: &mut HandIn,
    more: impl Fn(i32, Decimal) -> Option<Decimal>,
) -> Option<()> {
    procedure.burette()?;
    let mut lower = Decimal::ZERO;
    let mut stood = Decimal::MAX;
    let mut trial = 0;
    for row in &mut hand_in.titrations {
        let numbered = row.trial.number().is_some();
        for delivery in Delivery::BOTH {
            let last = row.pieces(delivery).count();
            for filling in 1..=last {
                let columns = Column::piece(delivery, filling);
                let (start, end) = (columns.0.get(row)?.clone(), columns.1.get(row)?.clone());
                let delivered = end.value().checked_sub(start.value())?;
                // filled anew, unless it starts where it stood
                if start.value() < stood.checked_sub(Decimal::new(5, 1))? {
                    lower = Decimal::ZERO;
                }
                stood = end.value();
                let moved = written(start.value().checked_add(lower)?, start.decimals())?;
                row.readings.insert(columns.0, moved);
                if numbered && filling == last {
                    lower = lower.checked_add(more(trial, delivered)?)?;
                }
                let moved = written(end.value().checked_add(lower)?, end.decimals())?;
                row.readings.insert(columns.1, moved);
            }
        }
        trial = trial.saturating_add(i32::from(numbered));
    }
    Some(())
}
