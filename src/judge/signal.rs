//! What a scheme measures for a known result: the titre to expect, the mass, the absorbance.

use std::collections::BTreeSet;

use crate::columns::Column;
use crate::measure::{Reading, as_f64};
use crate::procedure::{Method, Portion, Procedure, Scheme};
use crate::submission::{HandIn, OtherReadings, Piece, SampleReadings, Titration, TrialLabel};
use crate::truth::Lot;
use crate::workup::{WorkUpInput, work_up};

/// The bottle and lots somebody works with.
#[derive(Clone, Copy, Debug)]
pub struct Bench<'a> {
    /// True value in the result unit.
    pub truth: f64,
    pub lot: Option<&'a Lot>,
    pub excess_lot: Option<&'a Lot>,
    /// Blank volume, mL, where one is titrated.
    pub blank: f64,
}

/// The one number per trial that a result follows from: a titre, a mass, an absorbance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Signal {
    pub name: &'static str,
    /// Its unit; empty for absorbance.
    pub unit: &'static str,
    /// The most there is.
    pub full: f64,
    /// What that is called, such as “the burette”.
    pub scale: &'static str,
}

impl Signal {
    /// The signal of a procedure. Of two titres it is the larger.
    pub fn of(procedure: &Procedure) -> Self {
        match procedure.method() {
            Method::Gravimetric { precipitate, .. } => Self {
                name: "precipitate",
                unit: "g",
                full: 2.0 * as_f64(precipitate.nominal),
                scale: "twice the mass expected",
            },
            Method::Density(_) => Self {
                name: "liquid",
                unit: "g",
                full: 2.0 * as_f64(procedure.sample.nominal),
                scale: "twice the mass of water",
            },
            Method::CalibrationLine { .. } => Self {
                name: "absorbance",
                unit: "",
                full: TOP_ABSORBANCE,
                scale: "the line",
            },
            _ => Self {
                name: "titre",
                unit: "mL",
                full: procedure.burette().map_or(0.0, |b| as_f64(b.capacity())),
                scale: "the burette",
            },
        }
    }
}

/// Absorbance of the strongest standard where nothing is known of the colour (common practice: below 1).
const TOP_ABSORBANCE: f64 = 0.9;

/// Absorbance of a standard on the line assumed here.
pub(crate) fn absorbance_of(procedure: &Procedure, stock: f64) -> f64 {
    let stocks = procedure.calibration.iter().flat_map(|line| &line.stock);
    let most = stocks.map(|v| as_f64(*v)).fold(0.0, f64::max);
    TOP_ABSORBANCE * stock / most
}

/// The two titres of a two-endpoint titration whose larger one is `signal`, for as much of the other species as of the
/// analyte.
pub(crate) fn two_titres(procedure: &Procedure, signal: f64) -> Option<[f64; 2]> {
    let Method::TwoEndpoint { uses, .. } = procedure.method() else {
        return None;
    };
    let titres = uses.map(|[analyte, other]| {
        let (over, under) = analyte.plus(other).parts();
        as_f64(over) / as_f64(under)
    });
    let most = titres[0].max(titres[1]);
    Some(titres.map(|titre| signal * titre / most))
}

/// The delivered volume, mL, that gives `truth` for a sample of the nominal amount; a mass, g, or an absorbance where
/// nothing is titrated. None if nothing gives it.
pub fn expected_signal(procedure: &Procedure, bench: &Bench) -> Option<f64> {
    let sample = as_f64(procedure.sample.nominal);
    signal_for(procedure, bench, sample)
}

/// The result that a signal gives for a sample of the nominal amount; none if it cannot be computed.
pub fn result_at(procedure: &Procedure, bench: &Bench, signal: f64) -> Option<f64> {
    probe(procedure, bench, as_f64(procedure.sample.nominal), signal)
}

/// The blank, where the procedure has one: mL, or g.
pub(crate) fn blank_of(procedure: &Procedure, bench: &Bench) -> f64 {
    match procedure.scheme {
        _ if !procedure.trials.blank => 0.0,
        // what a filter or a crucible may gain
        Scheme::Gravimetric => 0.000_2,
        _ => bench.blank,
    }
}

/// Results are linear in the signal, or in its inverse for a standardisation: two probes give it.
pub(crate) fn signal_for(procedure: &Procedure, bench: &Bench, sample: f64) -> Option<f64> {
    let (blank, full) = (blank_of(procedure, bench), Signal::of(procedure).full);
    let (low, high) = (blank + 0.2 * full, blank + 0.4 * full);
    let at_low = probe(procedure, bench, sample, low)?;
    let at_high = probe(procedure, bench, sample, high)?;
    let signal = if procedure.scheme == Scheme::Standardisation {
        blank + (low - blank) * at_low / bench.truth
    } else {
        low + (bench.truth - at_low) * (high - low) / (at_high - at_low)
    };
    (signal.is_finite() && signal > 0.0).then_some(signal)
}

fn probe(procedure: &Procedure, bench: &Bench, sample: f64, signal: f64) -> Option<f64> {
    let mut rows = vec![row(
        procedure,
        TrialLabel::Numbered(1),
        signal,
        Some(sample),
    )?];
    if procedure.trials.blank {
        let blank = blank_of(procedure, bench);
        rows.push(row(procedure, TrialLabel::Blank, blank, None)?);
    }
    let stocks = procedure.calibration.iter().flat_map(|line| &line.stock);
    for (number, stock) in (1..).zip(stocks) {
        let absorbance = absorbance_of(procedure, as_f64(*stock));
        rows.push(row(
            procedure,
            TrialLabel::Standard(number),
            absorbance,
            None,
        )?);
    }
    let lots = vec![(bench.lot, bench.excess_lot); rows.len()];
    let hand_in = HandIn {
        titrations: rows,
        ..HandIn::default()
    };
    let none = BTreeSet::new();
    let done = work_up(WorkUpInput {
        procedure,
        hand_in: &hand_in,
        lots: &lots,
        left_out: &none,
    });
    done.value().map(as_f64)
}

/// One row of the given sample and signal, as exactly as readings can be written.
fn row(
    procedure: &Procedure,
    trial: TrialLabel,
    signal: f64,
    sample: Option<f64>,
) -> Option<Titration> {
    const EMPTY: f64 = 20.0;
    let read = |value: f64| Reading::parse(&format!("{value:.6}")).ok();
    let delivered = |volume: f64| {
        Some(vec![Piece {
            start: read(0.0)?,
            end: read(volume)?,
        }])
    };
    let (mut burette, mut other) = (Vec::new(), OtherReadings::default());
    match procedure.method() {
        Method::Direct { .. } | Method::Back { .. } | Method::Standardisation { .. } => {
            burette = delivered(signal)?;
        }
        Method::TwoEndpoint { portion, .. } => {
            let [first, second] = two_titres(procedure, signal)?;
            match portion {
                Portion::Same => {
                    burette = delivered(second)?;
                    other.first_endpoint = read(first);
                }
                Portion::Another => {
                    burette = delivered(first)?;
                    other.second = delivered(second)?;
                }
            }
        }
        Method::Gravimetric { .. } => {
            other.empty = read(EMPTY);
            other.full = read(EMPTY + signal);
        }
        Method::Density(_) => {
            other.empty = read(EMPTY);
            other.full = read(EMPTY + signal);
            let water = water_in(procedure, as_f64(procedure.sample.nominal));
            other.water = water.and_then(|water| read(EMPTY + water));
        }
        Method::CalibrationLine { .. } => other.absorbance = read(signal),
    }
    let mut readings = SampleReadings::default();
    if let Some(sample) = sample {
        for column in Column::of_sample(procedure) {
            match column {
                Column::SampleVolume => readings.volume = Some(read(sample)?),
                Column::SampleMass => readings.mass = Some(read(sample)?),
                Column::SampleBefore => readings.before = Some(read(sample + EMPTY)?),
                _ => readings.after = Some(read(EMPTY)?),
            }
        }
    }
    Some(Titration {
        trial,
        lot: None,
        excess_lot: None,
        unknown: None,
        instrument: None,
        burette,
        other,
        sample: readings,
        submitted_at: None,
    })
}

/// Balance reading, g, of the water that fills so many mL; none where no water is weighed.
pub(crate) fn water_in(procedure: &Procedure, volume: f64) -> Option<f64> {
    let Method::Density(vessel) = procedure.method() else {
        return None;
    };
    let celsius = as_f64(vessel.water?);
    let weighing = crate::measure::Weighing::default();
    Some(volume / weighing.z_factor(celsius)?)
}
