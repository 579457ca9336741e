//! Scaling laws: what doubles, halves or stays where readings or molarities are doubled.

use concordant::columns::Column;
use concordant::measure::Reading;
use concordant::procedure::{Accept, Procedure, ResultUnit, TrialRules};
use concordant::schemes::SchemeKind as Scheme;
use concordant::submission::{HandIn, Titration};
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
fn double_content(row: &mut Titration, empty: Column, full: Column) {
    if let (Some(empty), Some(reading)) = (empty.get(row), full.get(row)) {
        let content = reading.value() - empty.value();
        let doubled = read(empty.value() + content * Decimal::TWO);
        row.readings.insert(full, doubled);
    }
}

fn double_all(row: &mut Titration, wanted: impl Fn(Column) -> bool) {
    let readings = row.readings.iter_mut();
    for (_, reading) in readings.filter(|(column, _)| wanted(**column)) {
        double(reading);
    }
}

/// A molar mass is the less, the more a portion takes.
fn in_its_place(procedure: &Procedure, factor: f64) -> f64 {
    if procedure.result.unit == ResultUnit::GPerMol {
        1.0 / factor
    } else {
        factor
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
        let factor = in_its_place(&station.procedure, factor);
        let mut hand_in = station.hand_in(5, 3);
        // a density is linear but for the air that is added at the end
        let air = match station.procedure.scheme.kind() {
            Scheme::Density => 0.0012,
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
    // beside a mass a titre is but one of two signals
    let alone = |station: &&Station| station.procedure.scheme.kind() != Scheme::TwoSignals;
    let stations = stations.filter(alone);
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
            in_its_place(&station.procedure, 2.0) * before,
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
        let of_water = Column::of(procedure, 1).contains(&Column::VesselWater);
        // a sample twice as heavy with the same residue has lost more than twice as much
        let read = read && procedure.scheme.kind() != Scheme::Heating;
        let read = read && procedure.scheme.kind() != Scheme::TwoSignals;
        read.then_some(match procedure.scheme.kind() {
            Scheme::Standardisation => 2.0,
            // the volume is the water's
            Scheme::Density if of_water => 1.0,
            _ => 0.5,
        })
    };
    let found = law("sample", factor, |row: &mut Titration| {
        double_all(row, |column| {
            [Column::SampleVolume, Column::SampleMass].contains(&column)
        });
        double_content(row, Column::SampleAfter, Column::SampleBefore);
    });
    assert!(found > 8, "{found}");
}

#[test]
fn twice_every_titre_is_twice_the_result() {
    let factor = |procedure: &Procedure| match procedure.scheme.kind() {
        Scheme::Standardisation => Some(0.5),
        Scheme::TwoSignals => None,
        // an excess by lot stays what it was
        Scheme::Back if !procedure.trials.blank => None,
        // twice the volume in the vessel is no longer what dilution is reckoned from
        Scheme::Curve if procedure.scheme.facts()[1].1.contains("two straight lines") => None,
        _ => procedure.burette().map(|_| 2.0),
    };
    let found = law("titre", factor, |row: &mut Titration| {
        double_all(row, |column| {
            column.is_of_burette() || matches!(column, Column::CurveVolume(_))
        });
    });
    assert!(found > 10, "{found}");
}

#[test]
fn twice_every_absorbance_changes_nothing() {
    let factor = |procedure: &Procedure| {
        // the reagent blank is another absorbance
        let line = procedure.scheme.kind() == Scheme::CalibrationLine;
        let vessels = procedure.scheme.kind() == Scheme::StandardAddition;
        (line || vessels).then_some(1.0)
    };
    let found = law("absorbance", factor, |row: &mut Titration| {
        double_all(row, |column| {
            matches!(column, Column::Absorbance | Column::Vessels(_))
        });
    });
    assert!(found > 0, "{found}");
}

#[test]
fn twice_the_content_is_twice_the_result() {
    let factor = |procedure: &Procedure| {
        let weighed = matches!(
            procedure.scheme.kind(),
            Scheme::Gravimetric | Scheme::Density
        );
        weighed.then_some(2.0)
    };
    let found = law("content", factor, |row: &mut Titration| {
        double_content(row, Column::Crucible, Column::CrucibleFull);
        double_content(row, Column::Vessel, Column::VesselFull);
    });
    assert!(found > 2, "{found}");
}
