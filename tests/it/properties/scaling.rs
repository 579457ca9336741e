//! Scaling laws: what doubles, halves or stays where readings or molarities are doubled.

use concordant::measure::Reading;
use concordant::procedure::{Accept, Method, Procedure, Scheme, TrialRules};
use concordant::submission::{HandIn, Piece, Titration};
use rust_decimal::Decimal;

use super::{Station, read, stations};
use crate::reference::{f, near};

/// The station with all trials counted: doubled titres lie twice as far apart, and the rule is not what is looked at.
fn all_counted(station: &Station) -> Station {
    let rules = TrialRules {
        accept: Accept::All,
        ..station.procedure.trials.clone()
    };
    Station {
        procedure: station.procedure.clone().with(Some(rules), None),
        ..station.clone()
    }
}

fn value(station: &Station, hand_in: &HandIn) -> f64 {
    f(station.work_up(hand_in).value().expect(&station.name))
}

fn double(reading: &mut Reading) {
    *reading = read(reading.value() * Decimal::TWO);
}

/// `full` moved so that the content is twice what it was.
fn double_content(empty: &Option<Reading>, full: &mut Option<Reading>) {
    if let (Some(empty), Some(full)) = (empty, full) {
        *full = read(empty.value() + (full.value() - empty.value()) * Decimal::TWO);
    }
}

fn double_pieces(pieces: &mut [Piece]) {
    for piece in pieces {
        double(&mut piece.start);
        double(&mut piece.end);
    }
}

/// Checks a law on every procedure for which `factor` says what becomes of the result; says how many there were.
fn law(
    what: &str,
    factor: impl Fn(&Procedure) -> Option<f64>,
    change: impl Fn(&mut Titration),
) -> usize {
    let mut checked = 0;
    for station in stations() {
        let station = all_counted(station);
        let Some(factor) = factor(&station.procedure) else {
            continue;
        };
        let mut hand_in = station.hand_in(5, 3);
        // a density is linear but for the air that is added at the end
        let air = match station.procedure.method() {
            Method::Density(_) => 0.0012,
            _ => 0.0,
        };
        let before = value(&station, &hand_in) - air;
        hand_in.titrations.iter_mut().for_each(&change);
        let after = value(&station, &hand_in) - air;
        near(
            after,
            factor * before,
            1e-12,
            &format!("{what}: {}", station.name),
        );
        checked += 1;
    }
    println!("{what}: {checked} procedures");
    checked
}

#[test]
fn twice_the_molarity_is_twice_the_result() {
    let mut found = 0;
    let stations = stations().iter();
    for station in stations.filter(|station| station.procedure.uses_titrant_lot()) {
        let mut station = all_counted(station);
        let hand_in = station.hand_in(5, 3);
        let before = value(&station, &hand_in);
        for lot in [&mut station.lot, &mut station.excess_lot]
            .into_iter()
            .flatten()
        {
            lot.molarity.value *= Decimal::TWO;
        }
        near(
            value(&station, &hand_in),
            2.0 * before,
            1e-12,
            &station.name,
        );
        found += 1;
    }
    assert!(found > 10, "{found}");
}

#[test]
fn twice_the_sample_is_half_the_result() {
    let factor = |procedure: &Procedure| {
        let read = procedure.sample.by.name() != "volume" || procedure.reads_sample_volume();
        read.then_some(match procedure.scheme {
            Scheme::Standardisation => 2.0,
            // the volume is the water's
            Scheme::Density if procedure.vessel.as_ref()?.water.is_some() => 1.0,
            _ => 0.5,
        })
    };
    let found = law("sample", factor, |row: &mut Titration| {
        let sample = &mut row.sample;
        for reading in [&mut sample.volume, &mut sample.mass].into_iter().flatten() {
            double(reading);
        }
        double_content(&sample.after.clone(), &mut sample.before);
    });
    assert!(found > 8, "{found}");
}

#[test]
fn twice_every_titre_is_twice_the_result() {
    let factor = |procedure: &Procedure| match procedure.scheme {
        Scheme::Standardisation => Some(0.5),
        // an excess by lot stays what it was
        Scheme::Back if !procedure.trials.blank => None,
        scheme => scheme.is_titration().then_some(2.0),
    };
    let found = law("titre", factor, |row: &mut Titration| {
        double_pieces(&mut row.burette);
        double_pieces(&mut row.other.second);
        row.other.first_endpoint.iter_mut().for_each(double);
    });
    assert!(found > 10, "{found}");
}

#[test]
fn twice_every_absorbance_changes_nothing() {
    let factor = |procedure: &Procedure| {
        let line = procedure.scheme == Scheme::CalibrationLine;
        line.then_some(1.0)
    };
    let found = law("absorbance", factor, |row: &mut Titration| {
        row.other.absorbance.iter_mut().for_each(double);
    });
    assert!(found > 0, "{found}");
}

#[test]
fn twice_the_content_is_twice_the_result() {
    let factor = |procedure: &Procedure| {
        let weighed = matches!(procedure.scheme, Scheme::Gravimetric | Scheme::Density);
        weighed.then_some(2.0)
    };
    let found = law("content", factor, |row: &mut Titration| {
        double_content(&row.other.empty.clone(), &mut row.other.full);
    });
    assert!(found > 2, "{found}");
}
