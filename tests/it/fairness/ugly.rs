//! Readings as sections hand them in, typed by hand, and beside each what an instructor would say. A result is a
//! hundredth of the titre, in mol/L.

use concordant::files::{Folder, read_term};
use concordant::judge::{Evaluation, FlagCode, Part, SlipCode, refusals};
use concordant::term::Term;

use super::{evidence_of_slips, names};

const PROCEDURE: &str = r#"
key = "acid"
title = "Acid"
scheme = "direct"
reactions = ["HCl + NaOH -> NaCl + H2O"]
[titrant]
species = "NaOH"
nominal_mol_per_L = "0.1"
burette = "burette-50-a"
[sample]
by = "volume"
glassware = "pipette-10-a"
nominal = "10"
[result]
analyte = "HCl"
unit = "mol/L"
[trials]
minimum = 2
accept = { rule = "concordant", within_mL = "0.10" }
[marking]
accuracy = { points = "10", steps = [["0.8", "10"], ["2", "7"], ["4", "3"]] }
agreement = { points = "4", ramp = { full_within = "0.8", zero_from = "3.0" } }
recording = { points = "3" }
calculation = { points = "3", within = "0.5", single_slip_share = "0.5" }
[text]
summary = "s"
steps = ["s"]
cautions = ["c"]
waste = "w"
"#;

/// A section of as many students as there are lists of starts and ends; what is in the bottle of all of them.
fn section(truth: &str, students: &[&[(&str, &str)]]) -> Term {
    let mut folder = Folder::default();
    let mut put =
        |path: &str, text: &str| folder.insert(path, text.as_bytes().to_vec()).expect("room");
    put(
        "course.toml",
        "title = \"T\"\nterm = \"t\"\ntime_zone = \"UTC\"\n[[experiment]]\nkey = \"x\"\nprocedure = \"acid\"\n\
         opens = 2026-10-20T09:00:00\ndue = 2026-10-23T17:00:00\n",
    );
    put("procedures/acid.toml", PROCEDURE);
    put(
        "lots.csv",
        "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\nL,NaOH,0.1000,0.0001\n",
    );
    put(
        "unknowns.csv",
        &format!(
            "experiment,unknown,true_value,standard_uncertainty\nx,U,{truth},0.0001\nx,W,0.3100,0.0002\n"
        ),
    );
    let mut roster = "student_id,family_name,given_name,section\n".to_owned();
    let mut issued = "experiment,student_id,unknown\n".to_owned();
    let mut readings = "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL\n".to_owned();
    for (place, titrations) in students.iter().enumerate() {
        roster += &format!("s{place},Family{place},Given,A\n");
        issued += &format!("x,s{place},U\n");
        for (trial, (start, end)) in (1..).zip(titrations.iter()) {
            readings += &format!("s{place},{trial},L,U,{start},{end}\n");
        }
    }
    put("roster.csv", &roster);
    put("issued.csv", &issued);
    put("readings/x.csv", &readings);
    read_term(&folder).unwrap_or_else(|faults| panic!("{faults:?}"))
}

fn judged(truth: &str, titrations: &[(&str, &str)]) -> Evaluation {
    let term = section(truth, &[titrations]);
    std::sync::Arc::unwrap_or_clone(term.judge_all().swap_remove(0).1.evaluation)
}

/// Trials that count.
fn counted(evaluation: &Evaluation) -> Vec<String> {
    let trials = evaluation.trials.iter().filter(|trial| trial.counted);
    trials.map(|trial| trial.trial.to_string()).collect()
}

fn has_all_points(evaluation: &Evaluation, part: Part) -> bool {
    let part = evaluation.marks.part(part).expect("is marked");
    part.points == part.possible
}

fn told(evaluation: &Evaluation) -> String {
    format!("told: {:?}", evidence_of_slips(evaluation))
}

/// “You read trial 2 a whole millilitre too high: 23.41. The other two agree, so you lose nothing.”
#[test]
fn a_whole_millilitre_that_is_left_out() {
    let evaluation = judged(
        "0.2341",
        &[("0.00", "23.40"), ("0.00", "24.41"), ("0.00", "23.42")],
    );
    assert_eq!(counted(&evaluation), ["1", "3"]);
    assert!(has_all_points(&evaluation, Part::Accuracy));
    assert!(
        names(&evaluation, SlipCode::WholeMillilitre, 2),
        "{}",
        told(&evaluation)
    );
}

/// “Trial 3 is 13.28 where 12.28 fits the others.”
#[test]
fn a_whole_millilitre_beside_titres_that_differ_a_little() {
    let evaluation = judged(
        "0.1232",
        &[("0.00", "12.30"), ("12.30", "24.65"), ("24.65", "37.93")],
    );
    assert_eq!(counted(&evaluation), ["1", "2"]);
    assert!(
        names(&evaluation, SlipCode::WholeMillilitre, 3),
        "{}",
        told(&evaluation)
    );
}

/// “Two trials that differ by exactly one millilitre: one of them is misread, and what is in the bottle says the second.
/// Do a third.”
#[test]
fn two_trials_a_millilitre_apart() {
    let evaluation = judged("0.1820", &[("0.00", "18.21"), ("1.05", "20.25")]);
    assert!(!has_all_points(&evaluation, Part::Agreement));
    assert!(
        names(&evaluation, SlipCode::WholeMillilitre, 2),
        "{}",
        told(&evaluation)
    );
}

/// “You wrote 32.45 for 23.45.” The burette goes to 50 mL, so the entry has no ground to refuse it.
#[test]
fn tens_and_units_exchanged() {
    let titrations = [("0.00", "23.46"), ("0.00", "23.43"), ("0.00", "32.45")];
    let term = section("0.2345", &[&titrations]);
    let procedure = &term.experiments[0].procedure;
    let hand_in = term.hand_in_of(&crate::slot("x", "s0")).expect("handed in");
    let row = &hand_in.titrations[2];
    assert!(refusals(procedure, 2, row).is_empty());
    let evaluation = judged("0.2345", &titrations);
    assert_eq!(counted(&evaluation), ["1", "2"]);
    assert!(
        names(&evaluation, SlipCode::TransposedDigits, 3),
        "{}",
        told(&evaluation)
    );
}

/// “24.35 for 23.45: four and three have changed places.”
#[test]
fn digits_on_both_sides_of_the_point_exchanged() {
    let evaluation = judged(
        "0.2345",
        &[("0.00", "23.44"), ("0.00", "24.35"), ("0.00", "23.46")],
    );
    assert_eq!(counted(&evaluation), ["1", "3"]);
    assert!(
        names(&evaluation, SlipCode::TransposedDigits, 2),
        "{}",
        told(&evaluation)
    );
}

/// “You counted from the mark below: 23.36, and not 23.64.”
#[test]
fn one_end_read_upward() {
    let evaluation = judged(
        "0.2337",
        &[("0.00", "23.64"), ("0.00", "23.38"), ("0.00", "23.37")],
    );
    assert_eq!(counted(&evaluation), ["2", "3"]);
    assert!(
        names(&evaluation, SlipCode::ReadUpward, 1),
        "{}",
        told(&evaluation)
    );
}

/// “The start of trial 2 is 1.20 and not 1.80: count downward there too.”
#[test]
fn one_start_read_upward() {
    let evaluation = judged(
        "0.2341",
        &[("0.35", "23.76"), ("1.80", "24.62"), ("0.90", "24.30")],
    );
    assert_eq!(counted(&evaluation), ["1", "3"]);
    assert!(
        names(&evaluation, SlipCode::ReadUpward, 2),
        "{}",
        told(&evaluation)
    );
}

/// “Trial 3 went wrong, and I cannot say how: a drop of indicator, a tap left open. It does not count.”
#[test]
fn one_trial_that_nothing_explains() {
    let evaluation = judged(
        "0.2341",
        &[("0.00", "23.40"), ("0.00", "23.42"), ("0.00", "24.13")],
    );
    assert_eq!(counted(&evaluation), ["1", "2"]);
    assert!(has_all_points(&evaluation, Part::Accuracy));
    assert!(
        evidence_of_slips(&evaluation).is_empty(),
        "{}",
        told(&evaluation)
    );
}

/// “No slip: you titrate too fast at the end.”
#[test]
fn titres_that_merely_scatter() {
    let evaluation = judged(
        "0.2341",
        &[("0.00", "23.28"), ("0.00", "23.43"), ("0.00", "23.57")],
    );
    assert!(
        evidence_of_slips(&evaluation).is_empty(),
        "{}",
        told(&evaluation)
    );
}

/// “Good work.” Everything from 0.00, digits that end in 0 and 5.
#[test]
fn rounded_readings_of_a_careful_person() {
    let evaluation = judged(
        "0.2341",
        &[("0.00", "23.40"), ("0.00", "23.45"), ("0.00", "23.40")],
    );
    assert_eq!(counted(&evaluation), ["1", "2", "3"]);
    for part in [Part::Accuracy, Part::Agreement, Part::Recording] {
        assert!(has_all_points(&evaluation, part), "{part:?}");
    }
    assert!(
        evidence_of_slips(&evaluation).is_empty(),
        "{}",
        told(&evaluation)
    );
}

/// “Six people agree among each other and are all two percent high. It is the bottle of sodium hydroxide, and none of
/// them.”
#[test]
fn a_section_whose_titrant_is_too_weak() {
    let students: [&[(&str, &str)]; 6] = [
        &[("0.00", "23.87"), ("0.00", "23.90"), ("0.00", "23.88")],
        &[("0.12", "24.02"), ("24.02", "47.88"), ("0.40", "24.26")],
        &[("0.55", "24.40"), ("1.03", "24.92"), ("0.71", "24.58")],
        &[("0.00", "23.85"), ("0.00", "23.90"), ("0.00", "23.90")],
        &[("0.30", "24.21"), ("24.21", "48.09"), ("0.05", "23.95")],
        &[("0.00", "23.91"), ("0.00", "23.86"), ("0.00", "23.89")],
    ];
    for (slot, one) in section("0.2341", &students).judge_all() {
        let evaluation = &one.evaluation;
        let off = evaluation.flags.iter();
        let mut off = off.filter(|flag| flag.code == FlagCode::InconsistentTruth);
        assert!(off.next().is_none(), "{slot} is accused");
        let slip = evaluation.reading_slips.likely().map(|slip| slip.code);
        assert_eq!(slip, None, "{slot} is accused");
    }
}

/// “Five agree with the bottle and one is two percent high. That one is to look at, and nobody else.”
#[test]
fn one_student_who_is_off_among_others_who_are_not() {
    let students: [&[(&str, &str)]; 6] = [
        &[("0.00", "23.41"), ("0.00", "23.43"), ("0.00", "23.40")],
        &[("0.12", "23.52"), ("23.52", "46.95"), ("0.40", "23.80")],
        &[("0.55", "23.97"), ("1.03", "24.42"), ("0.71", "24.13")],
        &[("0.00", "23.40"), ("0.00", "23.45"), ("0.00", "23.40")],
        &[("0.30", "23.69"), ("23.69", "47.11"), ("0.05", "23.47")],
        &[("0.00", "23.91"), ("0.00", "23.86"), ("0.00", "23.89")],
    ];
    let judged = section("0.2341", &students).judge_all();
    let off = |(_, one): &&(concordant::term::Slot, concordant::term::Judged)| {
        let mut flags = one.evaluation.flags.iter();
        flags.any(|flag| flag.code == FlagCode::InconsistentTruth)
    };
    let off: Vec<String> = judged
        .iter()
        .filter(off)
        .map(|(slot, _)| slot.student.to_string())
        .collect();
    assert_eq!(off, ["s5"]);
}
