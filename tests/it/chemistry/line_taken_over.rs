//! A second sample is read on the line of the first: the standards stand in the earlier experiment alone, and count here
//! with their uncertainty.

use concordant::desk::bring_in;
use concordant::files::{Folder, read_term, write_term};
use concordant::ids::{ExperimentKey, StudentId};
use concordant::judge::{FlagCode, SlipCode};
use concordant::measure::Reading;
use concordant::submission::TrialLabel;
use concordant::term::{Judged, Slot, Term};
use concordant::truth::{Assigned, Sealed};

use super::{read, text_of};
use crate::reference::{dec, f, near};

/// Standards of D. T. Harvey, Analytical Chemistry 2.1, section 5.4: concentrations 0 to 0.500, signals 0.00 to 60.42. The
/// text finds b₁ = 120.706, b₀ = 0.209, s(r) = 0.4035; three signals of a sample, 29.32, 29.16, 29.51, give 0.241 with a
/// standard deviation of 0.0024. Here a concentration of 1 is 0.001 mol/L and a signal of 100 an absorbance of 1.
const STANDARDS: [&str; 6] = ["0.0000", "0.1236", "0.2483", "0.3591", "0.4879", "0.6042"];
const SAMPLES: [&str; 3] = ["0.2932", "0.2916", "0.2951"];
const HARVEY: f64 = (29.33 - 0.209) / 120.706;
/// mg/L of tonic for Harvey's unit: in 100 mL, from 25 of 500 mL, from 5 mL.
const FACTOR: f64 = 0.001 * 100.0 / 25.0 * 500.0 / 5.0 * 55_845.0;

/// The first student has standards and two samples; the second has read none; the third gives both their readings as one
/// bench with the first.
fn folder() -> Folder {
    let ours = |key: &str| {
        text_of(key).replace(
            "nominal_mol_per_L = \"0.000800\"",
            "nominal_mol_per_L = \"0.00500\"",
        )
    };
    let experiment = |key: &str, procedure: &str| {
        format!(
            "[[experiment]]\nkey = \"{key}\"\nprocedure = \"{procedure}\"\nopens = 2020-01-01T08:00:00\ndue = 2099-01-01T08:00:00\n"
        )
    };
    let mut water = "student_id,trial,lot,unknown,absorbance\n".to_owned();
    let mut tonic = water.clone();
    for (number, absorbance) in (1..).zip(STANDARDS) {
        water.push_str(&format!("01,standard-{number},F-1,,{absorbance}\n"));
    }
    for trial in 1..=3 {
        water.push_str(&format!("01,{trial},F-1,,0.4100\n02,{trial},F-1,,0.4100\n"));
    }
    for (trial, absorbance) in (1..).zip(SAMPLES) {
        tonic.push_str(&format!(
            "01,{trial},,,{absorbance}\n02,{trial},,,{absorbance}\n"
        ));
    }
    let truth = HARVEY * FACTOR;
    let mut folder = Folder::default();
    for (path, text) in [
        (
            "course.toml",
            format!(
                "title = \"Quantitative analysis\"\nterm = \"autumn 2026\"\ntime_zone = \"Europe/Lisbon\"\n{}{}",
                experiment("water", "iron-absorbance"),
                experiment("tonic", "iron-tonic-own-line")
            ),
        ),
        ("procedures/iron-absorbance.toml", ours("iron-absorbance")),
        ("procedures/iron-tonic-own-line.toml", ours("iron-tonic-own-line")),
        (
            "roster.csv",
            "student_id,family_name,given_name,section\n01,Reis,Iva,A\n02,Sousa,Rui,A\n03,Melo,Ana,A\n".into(),
        ),
        (
            "lots.csv",
            "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\nF-1,Fe^2+,0.00500,0.000005\nF-2,Fe^2+,0.00535,0.000005\n".into(),
        ),
        (
            "unknowns.csv",
            format!("experiment,unknown,true_value,standard_uncertainty\nwater,W,75.2,0.1\ntonic,T,{truth:.2},2\n"),
        ),
        (
            "issued.csv",
            "experiment,student_id,unknown\nwater,01,W\nwater,02,W\nwater,03,W\ntonic,01,T\ntonic,02,T\ntonic,03,T\n".into(),
        ),
        (
            "groups.csv",
            "experiment,student_id,group\ntonic,01,b1\ntonic,03,b1\n".into(),
        ),
        ("readings/water.csv", water),
        ("readings/tonic.csv", tonic),
    ] {
        folder.insert(path, text.into_bytes()).expect("room");
    }
    folder
}

fn term() -> Term {
    read_term(&folder()).unwrap_or_else(|why| panic!("{why:?}"))
}

fn slot(experiment: &str, student: &str) -> Slot {
    Slot::new(&ExperimentKey::new(experiment), &StudentId::new(student))
}

fn judged(term: &Term, experiment: &str, student: &str) -> Judged {
    term.judge(&slot(experiment, student)).expect("handed in")
}

#[test]
fn a_second_sample_is_read_on_the_line_of_the_first() {
    let term = term();
    let evaluation = judged(&term, "tonic", "01").evaluation;
    let outcome = evaluation.outcome.as_ref().expect("a result");
    near(
        f(outcome.result),
        HARVEY * FACTOR,
        2e-5,
        "as the text has it",
    );
    assert_eq!(
        evaluation.trials.len(),
        3,
        "no standard is a row of this one"
    );
    let work_up = term.with_case(&slot("tonic", "01"), |case| case.work_up());
    let budget = work_up.expect("worked up").budget.expect("a budget");
    // what the scatter about the line leaves: standards in common, each sample's own reading
    let of_line = budget.contributions.iter();
    let of_line = of_line.filter(|c| c.name().contains("scatter about the line"));
    let squares: f64 = of_line.map(|c| c.amount.powi(2)).sum();
    near(squares.sqrt() / FACTOR, 0.0024, 0.02, "s of the text");
    let versions: Vec<String> = evaluation
        .versions
        .iter()
        .map(ToString::to_string)
        .collect();
    assert_eq!(
        versions,
        ["lot F-1 v1", "standards of water v1", "unknown T v1"]
    );
    // a mate who shares the samples shares the line they were read on
    let mate = judged(&term, "tonic", "03").evaluation;
    assert_eq!(mate.outcome, evaluation.outcome);
}

/// The same as if the standards had been typed beside the samples; and standards that were read again count instead.
#[test]
fn it_is_what_typing_the_standards_again_would_give() {
    let mut term = term();
    let before = judged(&term, "tonic", "01")
        .evaluation
        .outcome
        .clone()
        .expect("a result");
    let water = term
        .submissions
        .get(&slot("water", "01"))
        .expect("is there")[0]
        .hand_in
        .titrations
        .clone();
    let standards = water.into_iter();
    let standards: Vec<_> = standards
        .filter(|row| matches!(row.trial, TrialLabel::Standard(_)))
        .collect();
    let typed = term
        .submissions
        .get_mut(&slot("tonic", "01"))
        .expect("handed in");
    let hand_in = std::sync::Arc::make_mut(&mut typed[0].hand_in);
    hand_in.titrations.extend(standards);
    let typed = judged(&term, "tonic", "01").evaluation;
    assert_eq!(typed.outcome.as_ref(), Some(&before));
    assert!(
        !typed
            .versions
            .iter()
            .any(|v| v.to_string().contains("standards of"))
    );
    // all read 0.010 higher: a line through them is 0.010 higher, and the samples hold less
    let rows = term
        .submissions
        .get_mut(&slot("tonic", "01"))
        .expect("handed in");
    let hand_in = std::sync::Arc::make_mut(&mut rows[0].hand_in);
    let again = hand_in.titrations.iter_mut();
    for row in again.filter(|row| matches!(row.trial, TrialLabel::Standard(_))) {
        let column = concordant::columns::Column::Absorbance;
        let higher = column.get(row).expect("read").value() + dec("0.0100");
        let reading = Reading::parse(&higher.to_string()).expect("a reading");
        row.readings.insert(column, reading);
    }
    let again = judged(&term, "tonic", "01")
        .evaluation
        .outcome
        .clone()
        .expect("a result");
    let expected = (29.33 - 1.0 - 0.209) / 120.706 * FACTOR;
    near(f(again.result), expected, 2e-5, "the line read again");
}

#[test]
fn standards_that_are_not_there_yet_are_waited_for_and_a_correction_is_followed() {
    let mut term = term();
    let waits = judged(&term, "tonic", "02").evaluation;
    assert!(waits.outcome.is_none());
    let flag = waits
        .flags
        .iter()
        .find(|flag| flag.code == FlagCode::NotStandardised);
    let evidence = &flag.expect("flagged").evidence;
    assert!(evidence.contains("iron-absorbance"), "{evidence}");
    // the second student brings the standards after all: as everybody's are judged
    let rows = term
        .submissions
        .get(&slot("water", "01"))
        .expect("is there")[0]
        .hand_in
        .titrations
        .clone();
    let own = term
        .submissions
        .get_mut(&slot("water", "02"))
        .expect("handed in");
    let hand_in = std::sync::Arc::make_mut(&mut own[0].hand_in);
    hand_in.titrations.extend(rows.into_iter().take(6));
    let result = |term: &Term| {
        let outcome = judged(term, "tonic", "02").evaluation.outcome.clone();
        f(outcome.expect("a result").result)
    };
    near(
        result(&term),
        HARVEY * FACTOR,
        2e-5,
        "as soon as they are there",
    );
    // the stock is corrected: 2 % more of it is 2 % more iron
    let lot = term.lots.get_mut("F-1").expect("the stock");
    lot.molarity = Assigned::new(dec("0.00510"), dec("0.000005")).expect("a molarity");
    near(
        result(&term),
        1.02 * HARVEY * FACTOR,
        2e-5,
        "with the stock corrected",
    );
}

/// An experiment with other standards is none to take a line from, nor one that comes later.
#[test]
fn only_an_earlier_line_through_the_same_standards_is_taken_over() {
    let mut term = term();
    let tonic = term.experiments[1].clone();
    let from = |term: &Term| term.standardised_in(&tonic).map(|one| one.key.to_string());
    assert_eq!(from(&term).as_deref(), Some("water"));
    let others = text_of("iron-absorbance").replace("\"8.00\", \"10.00\"]", "\"8.00\", \"9.00\"]");
    let same = term.experiments[0].procedure.clone();
    term.experiments[0].procedure = read(&others).expect("other standards");
    assert_eq!(from(&term), None);
    term.experiments[0].procedure = same;
    term.experiments.swap(0, 1);
    assert_eq!(from(&term), None);
    let said = |from: &str| {
        let text = text_of("iron-tonic-own-line");
        let text = text.replace("from = \"iron-absorbance\"", from);
        read(&text).expect_err("a fault").join("; ")
    };
    let fault = said("from = \"Iron water\"");
    assert!(
        fault.contains("the key of an experiment or of a procedure"),
        "{fault}"
    );
    let addition = text_of("copper-addition-flame");
    let addition = addition.replace("[addition]\n", "[addition]\nfrom = \"other\"\n");
    let fault = read(&addition).expect_err("a fault").join("; ");
    assert!(fault.contains("from"), "{fault}");
}

/// Whoever took the wrong stock for the standards is off in both samples, and both say so.
#[test]
fn a_stock_taken_for_another_is_named_in_the_second_sample_too() {
    let mut term = term();
    let bottles = term.unknowns.get_mut("tonic").expect("bottles");
    let bottle = bottles.get_mut("T").expect("a bottle");
    let with_the_other = HARVEY * FACTOR * 0.00535 / 0.00500;
    let value = Assigned::new(dec(&format!("{with_the_other:.2}")), dec("2"));
    bottle.truth = Sealed::new(value.expect("a value"));
    let evaluation = judged(&term, "tonic", "01").evaluation;
    let candidates = &evaluation.reading_slips.candidates;
    let other = candidates.iter().find(|one| one.code == SlipCode::OtherLot);
    assert_eq!(other.expect("named").place, "F-2");
}

#[test]
fn weights_from_replicates_of_the_day_are_refused_in_words() {
    let with = |weights: &str| {
        let text = text_of("nitrite-griess").replace("weights = \"1/c\"", weights);
        read(&text).expect_err("a fault").join("; ")
    };
    let fault = with("weights = \"replicates\"");
    assert!(
        fault.contains("key calibration.weights: found \u{201c}replicates\u{201d}, expected equal, 1/c, 1/c^2, or 1/s^2")
            && fault.contains("a few replicates of the day say too little to weigh by"),
        "{fault}"
    );
    let fault = with("weights = \"1/s^2\"");
    assert!(
        fault.contains("key calibration.standard_deviations: found 0, expected 6")
            && fault.contains("not from replicates of the day"),
        "{fault}"
    );
}

#[tokio::test]
async fn form_and_folder_ask_for_no_standards() {
    let graded = read_term(&write_term(&term())).unwrap_or_else(|why| panic!("{why:?}"));
    assert_eq!(
        judged(&graded, "tonic", "01").evaluation.outcome,
        judged(&term(), "tonic", "01").evaluation.outcome
    );
    let app = crate::app::TestApp::spawn().await;
    bring_in(&app.desk, &folder(), "test", app.clock.now())
        .await
        .unwrap_or_else(|why| panic!("{why}: {why:?}"));
    let path = "/student/experiments/tonic/bench";
    let page = app.person("01").await.get(path).await.body;
    assert!(
        page.contains("through the 6 standards that you read in Iron in a spring water"),
        "{page}"
    );
    assert!(
        page.contains("name=\"1.absorbance\"") && !page.contains("name=\"standard-1.absorbance\"")
    );
    assert!(!page.contains("name=\"lot\""));
    let page = app.person("02").await.get(path).await.body;
    assert!(page.contains("you have read no standards yet"), "{page}");
    let water = app
        .person("01")
        .await
        .get("/student/experiments/water/bench")
        .await
        .body;
    assert!(water.contains("name=\"standard-1.absorbance\""));
}
