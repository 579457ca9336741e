//! A set of readings laid out for comparison: whole numbers, so that equal means equal to the last digit written.

use rust_decimal::Decimal;
use smallvec::SmallVec;

use crate::columns::Column;
use crate::measure::{Glassware, Reading};
use crate::procedure::{Procedure, SampleBy};
use crate::submission::{Delivery, HandIn, Piece, Titration, TrialLabel};

/// Readings are counted in millionths of a mL or g.
const PLACES: u32 = 6;
/// How far two readings of one meniscus may lie apart.
pub(super) const NEAR: i64 = 50_000;
/// Columns of weighings and volumes that a student finds for themselves. An empty crucible may be another's, used again.
const READ: [(Column, Amount); 6] = [
    (Column::SampleVolume, Amount::SampleVolume),
    (Column::SampleMass, Amount::SampleMass),
    (Column::SampleBefore, Amount::SampleBefore),
    (Column::SampleAfter, Amount::SampleAfter),
    (Column::CrucibleFull, Amount::CrucibleFull),
    (Column::CrucibleHeated, Amount::CrucibleHeated),
];

/// How much was taken or found. A byte each: facts are compared more often than anything else here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(super) enum Amount {
    /// Between two weighings of one row: what stays where weighings are made up around it.
    Difference,
    SampleVolume,
    SampleMass,
    SampleBefore,
    SampleAfter,
    CrucibleFull,
    CrucibleHeated,
}

pub(super) const AMOUNTS: [Amount; 7] = [
    Amount::Difference,
    Amount::SampleVolume,
    Amount::SampleMass,
    Amount::SampleBefore,
    Amount::SampleAfter,
    Amount::CrucibleFull,
    Amount::CrucibleHeated,
];

/// The rows of one set of readings that can be compared, in the order they were written down.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Sheet {
    pub rows: Vec<Row>,
    /// The coarsest steps in which its burette readings are written.
    pub step: i64,
}

/// One titration or weighing.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Row {
    pub trial: TrialLabel,
    /// One, or two where another portion is titrated as well.
    pub titres: SmallVec<[Titre; 1]>,
    /// Nominal sample and its own, where the volume delivered to the nominal one can be told.
    sample: Option<(i64, i64)>,
    /// A difference first, then the weighings it is of.
    pub amounts: SmallVec<[(Amount, i64); 3]>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Titre {
    pub start: i64,
    /// Where the burette stood before; none for the first.
    pub stood: Option<i64>,
    pub end: i64,
    pub delivered: i64,
    /// To the first of two endpoints.
    pub first: Option<i64>,
    /// Whether it was one filling, so that start and end tell what was delivered.
    pub whole: bool,
}

impl Titre {
    /// Whether the burette was filled before it.
    pub fn is_filled(&self) -> bool {
        self.stood
            .is_none_or(|stood| self.start.saturating_sub(stood).abs() > NEAR)
    }
}

/// Whether what is read with a procedure can tell one student's work from another's: not where everybody measures the
/// same solutions with one instrument, or fills the same vessels.
pub(super) fn tells_apart(procedure: &Procedure) -> bool {
    procedure.scheme.tells_apart()
}

impl Sheet {
    pub fn of(procedure: &Procedure, hand_in: &HandIn) -> Self {
        let mut stood = None;
        let mut rows = Vec::new();
        for row in &hand_in.titrations {
            let titres = titres(row, &mut stood);
            // a blank takes a few drops, whoever titrates it
            if !matches!(row.trial, TrialLabel::Numbered(_) | TrialLabel::Rough) {
                continue;
            }
            let read = READ
                .iter()
                .filter_map(|(column, amount)| Some((*amount, whole(column.get(row)?))));
            let difference = difference(row).map(|mass| (Amount::Difference, mass));
            rows.push(Row {
                trial: row.trial,
                titres,
                sample: sample(procedure, row),
                amounts: difference.into_iter().chain(read).collect(),
            });
        }
        let step = step(procedure, &hand_in.titrations);
        Self { rows, step }
    }

    pub fn place(&self, trial: TrialLabel) -> Option<usize> {
        self.rows.iter().position(|row| row.trial == trial)
    }

    /// Places of numbered trials.
    pub fn numbered(&self) -> SmallVec<[usize; 4]> {
        let rows = self.rows.iter().enumerate();
        rows.filter(|(_, row)| row.trial.number().is_some())
            .map(|(place, _)| place)
            .collect()
    }

    pub fn titres(&self) -> impl Iterator<Item = &Titre> {
        self.rows.iter().flat_map(|row| &row.titres)
    }

    pub fn amounts(&self, amount: Amount) -> impl Iterator<Item = i64> {
        let amounts = self.rows.iter().flat_map(|row| &row.amounts);
        amounts
            .filter(move |(own, _)| *own == amount)
            .map(|(_, reading)| *reading)
    }

    /// How much more than its first numbered titration another would take if it took so much; none for that itself, and
    /// where that cannot be told.
    pub fn apart(&self, row: &Row, delivered: i64) -> Option<i64> {
        let first = self.first()?;
        let reference = first.to_nominal(first.titres.first()?.delivered)?;
        let wanted = row.to_nominal(delivered)?;
        (row.trial != first.trial).then(|| wanted.saturating_sub(reference))
    }

    pub fn first(&self) -> Option<&Row> {
        self.rows.iter().find(|row| row.trial.number().is_some())
    }
}

impl Row {
    /// What a nominal sample takes where this one takes so much.
    pub fn to_nominal(&self, delivered: i64) -> Option<i64> {
        let (nominal, own) = self.sample?;
        let scaled = i128::from(delivered).checked_mul(i128::from(nominal))?;
        i64::try_from(scaled.checked_div(i128::from(own))?).ok()
    }
}

/// Nominal sample and that of a row, of which titres are in proportion: a volume, read or by pipette.
fn sample(procedure: &Procedure, row: &Titration) -> Option<(i64, i64)> {
    match procedure.sample.by {
        SampleBy::Volume if procedure.reads_sample_volume() => {
            let read = whole(Column::SampleVolume.get(row)?);
            let in_proportion = procedure.excess().is_none();
            in_proportion.then_some((in_units(procedure.sample.nominal), read))
        }
        SampleBy::Volume => Some((1, 1)),
        SampleBy::Mass | SampleBy::MassDifference => None,
    }
}

/// The mass between two weighings of a row.
fn difference(row: &Titration) -> Option<i64> {
    let pairs = [
        (Column::SampleBefore, Column::SampleAfter),
        (Column::CrucibleFull, Column::Crucible),
        (Column::CrucibleHeated, Column::Crucible),
    ];
    let mut masses = pairs.into_iter().filter_map(|(heavy, light)| {
        let (heavy, light) = (heavy.get(row)?, light.get(row)?);
        Some(whole(heavy).saturating_sub(whole(light)))
    });
    masses.next()
}

fn titres(row: &Titration, stood: &mut Option<i64>) -> SmallVec<[Titre; 1]> {
    let mut found = SmallVec::new();
    for delivery in Delivery::BOTH {
        let first = match delivery {
            Delivery::First => Column::FirstEndpoint.get(row),
            Delivery::Second | Delivery::Excess => None,
        };
        let pieces: SmallVec<[Piece; 2]> = row.pieces(delivery).collect();
        if let Some(titre) = titre(&pieces, first, *stood) {
            *stood = Some(titre.end);
            found.push(titre);
        }
    }
    found
}

fn titre(pieces: &[Piece], first: Option<&Reading>, stood: Option<i64>) -> Option<Titre> {
    let start = whole(pieces.first()?.start);
    let parts = pieces
        .iter()
        .map(|piece| whole(piece.end).saturating_sub(whole(piece.start)));
    Some(Titre {
        start,
        stood,
        end: whole(pieces.last()?.end),
        delivered: parts.fold(0, i64::saturating_add),
        first: first.map(|first| whole(first).saturating_sub(start)),
        whole: pieces.len() == 1,
    })
}

/// Ten or five readable steps where every burette reading is a multiple of that: who reads to the mark, or to half of
/// a division, meets others by chance much sooner.
fn step(procedure: &Procedure, rows: &[Titration]) -> i64 {
    let finest = procedure.burette().and_then(Glassware::readable_step);
    let Some(finest) = finest.map(in_units).filter(|step| *step > 0) else {
        return 1;
    };
    let readings = rows.iter().flat_map(|row| &row.readings);
    let of_pieces = readings.filter(|(column, _)| column.is_of_piece());
    let readings: Vec<i64> = of_pieces.map(|(_, reading)| whole(reading)).collect();
    let all_on = |step: &i64| {
        readings
            .iter()
            .all(|reading| reading.checked_rem(*step) == Some(0))
    };
    let coarser = [100, 50, 10, 5].map(|times: i64| finest.saturating_mul(times));
    coarser.into_iter().find(all_on).unwrap_or(finest)
}

fn whole(reading: &Reading) -> i64 {
    in_units(reading.value())
}

pub(super) fn in_units(value: Decimal) -> i64 {
    let (mantissa, scale) = (value.mantissa(), value.scale());
    let power = |places: u32| 10_i128.checked_pow(places).unwrap_or(1);
    let units = if scale <= PLACES {
        mantissa.saturating_mul(power(PLACES.saturating_sub(scale)))
    } else {
        let finer = power(scale.saturating_sub(PLACES));
        mantissa.checked_div(finer).unwrap_or(0)
    };
    i64::try_from(units).unwrap_or(i64::MAX)
}

/// Back from units.
pub(super) fn from_units(units: i64) -> Decimal {
    Decimal::new(units, PLACES).normalize()
}
