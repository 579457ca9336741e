//! Slips behind an answer that was worked out of a curve, handed in as a row of a course's folder. Every figure is worked
//! out by hand here.

use concordant::files::{Folder, read_term};
use concordant::judge::{Evaluation, Part, SlipCode};
use concordant::term::Term;

use crate::reference::dec;

/// The steepest step is from 10.000 to 10.100 mL: slopes 4.5, 30.5, 4.8 per mL, second derivatives 260 and −257, zero at
/// 10.000 + 0.100 · 260 / 517 = 10.050290 mL. Times 0.0953 mol/L, times 4 for 25 mL of 100 mL, times 60.052 mg/mmol, in
/// 10 mL: 2.30070 %w/v.
const POINTS: [(&str, &str); 11] = [
    ("0.000", "2.95"),
    ("4.000", "4.58"),
    ("8.000", "5.36"),
    ("9.700", "6.21"),
    ("9.800", "6.38"),
    ("9.900", "6.60"),
    ("10.000", "7.05"),
    ("10.100", "10.10"),
    ("10.200", "10.58"),
    ("11.000", "11.20"),
    ("12.000", "11.48"),
];

fn course(answers: &[&str]) -> Term {
    let mut folder = Folder::default();
    let mut put = |path: &str, text: &str| {
        folder.insert(path, text.as_bytes().to_vec()).expect("room");
    };
    put(
        "course.toml",
        "title = \"T\"\nterm = \"t\"\ntime_zone = \"Europe/Lisbon\"\n[[experiment]]\nkey = \"x\"\n\
         procedure = \"vinegar-curve\"\nopens = 2026-10-20T09:00:00\ndue = 2026-10-23T17:00:00\n",
    );
    put(
        "lots.csv",
        "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\nL,NaOH,0.0953,0.0001\n",
    );
    put(
        "unknowns.csv",
        "experiment,unknown,true_value,standard_uncertainty\nx,U,2.301,0.003\n",
    );
    let place = |n: usize| {
        if n == 1 {
            String::new()
        } else {
            format!("_{n}")
        }
    };
    let heads = (1..=POINTS.len()).map(|n| format!(",volume{}_mL,pH{}", place(n), place(n)));
    let mut readings = format!(
        "student_id,trial,lot,unknown{}\n",
        heads.collect::<String>()
    );
    let points: String = POINTS.iter().map(|(v, ph)| format!(",{v},{ph}")).collect();
    let mut roster = "student_id,family_name,given_name,section\n".to_owned();
    let mut issued = "experiment,student_id,unknown\n".to_owned();
    let mut reported = "experiment,student_id,value\n".to_owned();
    for (number, answer) in answers.iter().enumerate() {
        let id = format!("s{number}");
        roster.push_str(&format!("{id},Reis,Iva,A\n"));
        issued.push_str(&format!("x,{id},U\n"));
        reported.push_str(&format!("x,{id},{answer}\n"));
        for trial in 1..=2 {
            readings.push_str(&format!("{id},{trial},L,{points}\n"));
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

#[test]
fn a_wrong_answer_from_a_curve_is_told_apart() {
    // right; 25 mL of 100 left out; the molarity of the label, 0.1; the mass of acetate, 59.044, in place of the acid's
    let term = course(&["2.301", "0.5752", "2.4142", "2.2621", "2301"]);
    let right = judged(&term, "s0");
    let result = right.outcome.as_ref().expect("a result").result;
    assert_eq!(result.round_dp(4), dec("2.3007"));
    let points = |evaluation: &Evaluation| {
        let part = evaluation.marks.part(Part::Calculation);
        part.expect("the part").points.to_string()
    };
    assert_eq!(points(&right), "4.00");
    for (student, code) in [
        ("s1", SlipCode::DilutionOmitted),
        ("s2", SlipCode::NominalMolarity),
        ("s3", SlipCode::WrongSpecies),
    ] {
        let wrong = judged(&term, student);
        let likely = wrong.calculation_slips.likely();
        let likely = likely.unwrap_or_else(|| panic!("{student}: {:?}", wrong.calculation_slips));
        assert_eq!(likely.code, code, "{student}");
        assert_eq!(points(&wrong), "2.00", "{student}");
    }
    // a thousand times as much is litres for millilitres, or a slip of the unit
    let wrong = judged(&term, "s4");
    let codes: Vec<SlipCode> = wrong
        .calculation_slips
        .candidates
        .iter()
        .map(|c| c.code)
        .collect();
    assert!(codes.contains(&SlipCode::MillilitresAsLitres), "{codes:?}");
}
