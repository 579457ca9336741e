//! Slips behind an answer read off a calibration line, where the sample and the standards have flasks of different
//! sizes. Every figure is worked out by hand here.

use concordant::files::{Folder, read_term};
use concordant::judge::{Evaluation, Part, SlipCode};
use concordant::term::Term;

use crate::reference::dec;

const PROCEDURE: &str = r#"
key = "iron"
title = "Iron"
scheme = "calibration-line"
[sample]
by = "volume"
glassware = "pipette-25-a"
nominal = "25"
made_up_in = "flask-100-a"
taken_with = "pipette-25-a"
[calibration]
species = "Fe^2+"
nominal_mol_per_L = "0.000800"
taken_with = "burette-25-a"
made_up_in = "flask-50-a"
stock_mL = ["0.00", "2.00", "4.00", "6.00"]
spectrophotometer = "spectrophotometer-0.001"
[result]
analyte = "Fe^2+"
as = "Fe"
unit = "mg/L"
[trials]
minimum = 3
accept = { rule = "all" }
[marking]
accuracy = { points = "10", steps = [["2", "10"]] }
agreement = { points = "3", ramp = { full_within = "1.5", zero_from = "6.0" } }
recording = { points = "3" }
calculation = { points = "4", within = "0.5", single_slip_share = "0.5" }
late = { grace_hours = 2, share_per_day = "0.10", floor = "0.50" }
[text]
summary = "s"
steps = ["s"]
cautions = ["c"]
waste = "w"
"#;

/// The standards hold v · 0.000800 / 50 mol/L, 0 to 0.000096, and read 10,000 times that. The samples read 0.498, so
/// they hold 0.0000498 mol/L: 0.00249 mmol in their 50 mL, of 25 mL from a flask of 100 mL that holds 4 times that,
/// 0.00996 mmol, from 25 mL of sample: 0.0003984 mol/L. Times 55.845 g/mol: 22.249 mg/L.
fn course(answers: &[&str]) -> Term {
    let mut folder = Folder::default();
    let mut put = |path: &str, text: &str| {
        folder.insert(path, text.as_bytes().to_vec()).expect("room");
    };
    put(
        "course.toml",
        "title = \"T\"\nterm = \"t\"\ntime_zone = \"Europe/Lisbon\"\n[[experiment]]\nkey = \"x\"\n\
         procedure = \"iron\"\nopens = 2026-10-20T09:00:00\ndue = 2026-10-23T17:00:00\n",
    );
    put("procedures/iron.toml", PROCEDURE);
    put(
        "lots.csv",
        "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\nL,Fe^2+,0.000800,0.000001\n",
    );
    put(
        "unknowns.csv",
        "experiment,unknown,true_value,standard_uncertainty\nx,U,22.25,0.05\n",
    );
    let mut roster = "student_id,family_name,given_name,section\n".to_owned();
    let mut issued = "experiment,student_id,unknown\n".to_owned();
    let mut reported = "experiment,student_id,value\n".to_owned();
    let mut readings = "student_id,trial,lot,unknown,absorbance\n".to_owned();
    for (number, answer) in answers.iter().enumerate() {
        let id = format!("s{number}");
        roster.push_str(&format!("{id},Reis,Iva,A\n"));
        issued.push_str(&format!("x,{id},U\n"));
        reported.push_str(&format!("x,{id},{answer}\n"));
        for (trial, absorbance) in [
            ("standard-1", "0.000"),
            ("standard-2", "0.320"),
            ("standard-3", "0.640"),
            ("standard-4", "0.960"),
            ("1", "0.498"),
            ("2", "0.498"),
            ("3", "0.498"),
        ] {
            readings.push_str(&format!("{id},{trial},L,,{absorbance}\n"));
        }
    }
    put("roster.csv", &roster);
    put("issued.csv", &issued);
    put("reported.csv", &reported);
    put("readings/x.csv", &readings);
    read_term(&folder).unwrap_or_else(|faults| panic!("{faults:?}"))
}

fn judged(term: &Term, student: &str) -> Evaluation {
    let judged = term.judge(&crate::slot("x", student));
    std::sync::Arc::unwrap_or_clone(judged.expect("handed in").evaluation)
}

fn calculation(evaluation: &Evaluation) -> String {
    let part = evaluation.marks.part(Part::Calculation);
    part.expect("the part").points.to_string()
}

#[test]
fn the_dilution_left_out_is_the_samples_and_not_the_standards() {
    // right; a quarter of it, the dilution left out; half of it, that 25 mL were made up to 50 mL left out; twice as
    // much, which only the standards' flask of 50 mL in the place of the sample's pipette gives
    let term = course(&["22.25", "5.562", "11.12", "44.50"]);
    let right = judged(&term, "s0");
    let result = right.outcome.as_ref().expect("a result").result;
    assert_eq!(result.round_dp(3), dec("22.249"));
    assert_eq!(calculation(&right), "4.00");

    let omitted = judged(&term, "s1");
    let likely = omitted.calculation_slips.likely().expect("a slip");
    assert_eq!(likely.code, SlipCode::DilutionOmitted);
    assert_eq!(likely.prediction.round_dp(3), dec("5.562"));
    assert_eq!(calculation(&omitted), "2.00");

    let second = judged(&term, "s2");
    let likely = second.calculation_slips.likely().expect("a slip");
    assert_eq!(likely.code, SlipCode::DilutionOmitted);
    assert_eq!(calculation(&second), "2.00");

    let other = judged(&term, "s3");
    assert_eq!(other.calculation_slips.likely(), None);
    let candidates = &other.calculation_slips.candidates;
    let is_dilution = |code| code == SlipCode::DilutionOmitted;
    assert!(!candidates.iter().any(|one| is_dilution(one.code)));
    assert_eq!(calculation(&other), "0.00");
}
