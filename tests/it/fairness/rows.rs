//! Every row of the table for one procedure, by scheme.

use std::sync::OnceLock;

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::simulate::Mistake;
use concordant::simulate::class::SimulatedClass;
use concordant::simulate::copying::Copying;
use concordant::simulate::hands::{Population, REALISTIC_SPREAD};
use concordant::simulate::sections::sections;
use concordant::simulate::singles::singles;
use concordant::simulate::table::{Counts, Kind, add};

use super::{many, meets};

pub fn realistic(key: &str) -> SimulatedClass {
    let glassware = shipped_glassware();
    let text = shipped_procedure(key).expect("is shipped");
    let procedure = read_procedure(key, &text, &glassware).expect("is sound");
    SimulatedClass {
        population: Population::Realistic {
            spread: REALISTIC_SPREAD,
        },
        ..SimulatedClass::crossed(procedure, text, glassware)
    }
}

fn counts(key: &str, seed: u64) -> Counts {
    let class = realistic(key);
    let mut counts =
        singles(&class.procedure, class.population, many(30, 1_000), seed).expect("a class");
    let terms = sections(&class, many(6, 200), seed).expect("terms");
    add(&mut counts, &terms);
    counts
}

/// Holds a row to its goal. A row that a procedure has no use for is a mistake of the test.
fn hold(counts: &Counts, kind: Kind) {
    let tally = counts
        .get(&kind)
        .unwrap_or_else(|| panic!("no row: {kind:?}"));
    let goal = kind.goal().expect("has a goal");
    assert!(tally.made > 0, "no row: {kind:?}");
    assert!(
        meets(goal, *tally),
        "goal {}: {} {} of {}",
        goal.words(),
        kind.words(),
        tally.found,
        tally.made
    );
}

macro_rules! rows {
    ($scheme:ident, $key:literal, $seed:literal, $($name:ident: $kind:expr;)*) => {
        mod $scheme {
            use super::*;

            static COUNTS: OnceLock<Counts> = OnceLock::new();

            $(
                #[test]
                fn $name() {
                    hold(COUNTS.get_or_init(|| counts($key, $seed)), $kind);
                }
            )*
        }
    };
}

/// A scheme's rows: those that every procedure has, and its own.
macro_rules! scheme {
    ($scheme:ident, $key:literal, $seed:literal, $($own:tt)*) => {
        rows! {
            $scheme, $key, $seed,
            a_whole_millilitre_in_one_trial_is_named: Kind::InOneTrial(Mistake::WholeMillilitre);
            a_reading_taken_upward_in_one_trial_is_named: Kind::InOneTrial(Mistake::ReadUpward);
            digits_exchanged_in_one_trial_are_named: Kind::InOneTrial(Mistake::TransposedDigits);
            no_slip_is_named_where_there_is_none: Kind::CleanSlip;
            a_factor_of_a_thousand_is_named: Kind::InTheSum(Mistake::MillilitresAsLitres);
            a_factor_of_a_thousand_keeps_its_share: Kind::ShareGiven(Mistake::MillilitresAsLitres);
            readings_all_taken_upward_are_named: Kind::ToldApart(Mistake::AllReadUpward);
            nobody_is_accused_for_a_lot_that_is_off: Kind::AccusedByLot;
            all_points_for_agreement_and_scatter_high_exclude_each_other: Kind::ScatterAtFullPoints;
            careful_students_are_not_flagged_for_scatter: Kind::ScatterHigh;
            few_submissions_need_a_person: Kind::Waiting;
            copies_from_another_section_are_seen: Kind::CopyAcross(Copying::Exact);
            honest_pairs_are_no_copies: Kind::HonestPair;
            a_bottle_that_is_off_is_called: Kind::Bottle;
            no_sound_bottle_is_called: Kind::SoundBottles;
            decay_is_named_as_drift: Kind::Decay;
            no_drift_is_named_without_decay: Kind::NoDecay;
            $($own)*
        }
    };
}

scheme! {
    direct_by_volume, "iron-tablet-edta", 611_001,
    another_pipette_is_named: Kind::ToldApart(Mistake::WrongPipette);
    another_species_is_named: Kind::ToldApart(Mistake::WrongSpecies);
}

scheme! {
    direct_by_mass, "iron-dichromate", 611_002,
    copies_with_weighings_invented_are_seen: Kind::CopyAcross(Copying::Differences);
}

scheme! {
    aliquot, "vinegar-acidity", 611_003,
    dilution_left_out_is_named: Kind::InTheSum(Mistake::DilutionOmitted);
    dilution_left_out_keeps_its_share: Kind::ShareGiven(Mistake::DilutionOmitted);
    another_pipette_is_named: Kind::ToldApart(Mistake::WrongPipette);
}

scheme! {
    back_with_excess, "antacid-back", 611_004,
    another_species_is_named: Kind::ToldApart(Mistake::WrongSpecies);
    both_labels_are_named: Kind::ToldApart(Mistake::BothNominal);
    copies_with_weighings_invented_are_seen: Kind::CopyAcross(Copying::Differences);
}
