//! A trial that went wrong is kept and shown as spoiled, with why, and not used.

use concordant::files::{Folder, read_term, write_term};
use concordant::submission::TrialLabel;

use super::{lot, read, text_of, titre, worked};
use crate::reference::near;

#[test]
fn a_spoiled_trial_counts_for_nothing() {
    let procedure = read(&text_of("bleach-iodometric")).expect("shipped");
    let mut rows: Vec<_> = ["25.00", "25.05", "25.04"]
        .into_iter()
        .zip(1..)
        .map(|(end, n)| titre(TrialLabel::Numbered(n), end))
        .collect();
    rows[0].spoiled = Some("overshot".to_owned());
    let done = worked(&procedure, rows, (&lot("T", "0.1000"), None));
    assert_eq!(done.counted(), 2);
    let first = &done.trials[0];
    let why = first.why_not.as_ref().map(ToString::to_string);
    assert_eq!(why.as_deref(), Some("spoiled: overshot"));
    assert!(first.delivered.is_some() && first.result.is_none());
    near(
        crate::reference::f(done.mean_delivered.expect("a mean")),
        25.045,
        1e-12,
        "mean",
    );
}

#[test]
fn why_goes_out_with_the_folder_and_comes_back() {
    let mut folder = Folder::default();
    for (path, text) in [
        (
            "course.toml",
            "title = \"T\"\nterm = \"a\"\ntime_zone = \"Europe/Lisbon\"\n[[experiment]]\nkey = \"bleach\"\nprocedure = \"bleach-iodometric\"\nopens = 2020-01-01T08:00:00\ndue = 2099-01-01T08:00:00\n",
        ),
        (
            "roster.csv",
            "student_id,family_name,given_name,section\n01,Reis,Iva,A\n",
        ),
        (
            "lots.csv",
            "lot,reagent,molarity_mol_per_L,standard_uncertainty_mol_per_L\nT,S2O3^2-,0.1000,0.0001\n",
        ),
        (
            "unknowns.csv",
            "experiment,unknown,true_value,standard_uncertainty\nbleach,U,4.6,0.01\n",
        ),
        ("issued.csv", "experiment,student_id,unknown\nbleach,01,U\n"),
        (
            "readings/bleach.csv",
            "student_id,trial,lot,unknown,burette_start_mL,burette_end_mL,spoiled\n01,1,T,,0.00,27.00,\"overshot, phone rang\"\n01,2,T,,0.00,25.00,\n",
        ),
    ] {
        folder.insert(path, text.as_bytes().to_vec()).expect("room");
    }
    let term = read_term(&folder).unwrap_or_else(|why| panic!("{why:?}"));
    let hand_in = |term: &concordant::term::Term| {
        let of = term
            .hand_in_of(&crate::slot("bleach", "01"))
            .expect("handed in")
            .clone();
        let spoiled: Vec<_> = of.titrations.iter().map(|t| t.spoiled.clone()).collect();
        spoiled
    };
    let expected = vec![Some("overshot, phone rang".to_owned()), None];
    assert_eq!(hand_in(&term), expected);
    let out = write_term(&term);
    assert_eq!(hand_in(&read_term(&out).expect("read again")), expected);
}
