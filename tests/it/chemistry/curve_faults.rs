//! Curves that cannot be worked up, and procedures that cannot be.

use concordant::columns::Column;
use concordant::files::shipped_glassware;
use concordant::judge::questions;
use concordant::procedure::Procedure;
use concordant::simulate::check_report;
use concordant::submission::{HandIn, Titration};

use super::curves::{curve, grid, procedure, weak_curve};
use super::{lot, read, text_of, worked};

const SHIPPED: [&str; 4] = [
    "vinegar-curve",
    "chloride-silver-electrode",
    "acid-gran",
    "acid-conductance",
];

#[test]
fn bad_curves_give_findings() {
    let vinegar = procedure("vinegar-curve");
    let good = weak_curve(&grid(15.0, 0.1, 0.5), 15.0, 4.76, 2);
    let mut back = good.clone();
    back[5].0 = "0.50".to_owned();
    let flat: Vec<_> = good
        .iter()
        .map(|(v, _)| (v.clone(), "4.00".to_owned()))
        .collect();
    let line: Vec<_> = (0..20)
        .map(|n| (format!("{n}.00"), format!("{:.2}", 0.5 * f64::from(n))))
        .collect();
    let short = good[..4].to_vec();
    let jump = good
        .iter()
        .position(|(_, ph)| ph.parse::<f64>().expect("pH") > 7.5)
        .expect("a jump");
    let cut = good[..=jump].to_vec();
    let coarse = weak_curve(&(0..24).map(f64::from).collect::<Vec<_>>(), 15.0, 4.76, 2);
    for (points, column, words) in [
        (&back, Column::CurveVolume(6), "volumes that do not rise"),
        (&flat, Column::CurvePh(good.len()), "no jump"),
        (&line, Column::CurvePh(20), "no jump"),
        (&short, Column::CurvePh(4), "too few points"),
        (
            &cut,
            Column::CurvePh(cut.len()),
            "the steepest part at an end",
        ),
    ] {
        let rows = vec![curve(1, Column::CurvePh, points)];
        let asked = ask(&vinegar, &rows);
        assert!(
            asked.iter().any(|(c, t)| *c == column && t.contains(words)),
            "{words}: {asked:?}"
        );
        let done = worked(&vinegar, rows, (&lot("T", "0.1"), None));
        let why = done.trials[0].why_not.clone().expect("no result");
        let why = why.to_string();
        assert!(why.contains(words), "{why}");
        assert_eq!(done.result, None);
    }
    let asked = ask(&vinegar, &[curve(1, Column::CurvePh, &coarse)]);
    assert!(
        asked
            .iter()
            .any(|(_, t)| t.contains("no point was read in between")),
        "{asked:?}"
    );
    let asked = ask(&vinegar, &[curve(1, Column::CurvePh, &good)]);
    assert!(asked.is_empty(), "{asked:?}");
    // Gran's line without points, and conductances on one line
    let far_apart = [0.0, 2.0, 4.0, 14.8, 14.9, 15.1, 15.2, 15.3, 16.0, 17.0];
    let few = weak_curve(&far_apart, 15.0, 4.76, 2);
    let asked = ask(&procedure("acid-gran"), &[curve(1, Column::CurvePh, &few)]);
    assert!(
        asked
            .iter()
            .any(|(_, t)| t.contains("fewer than four points")),
        "{asked:?}"
    );
    let straight: Vec<_> = (0..12)
        .map(|n| (format!("{n}.00"), format!("{}.00", 2 * n)))
        .collect();
    let asked = ask(
        &procedure("acid-conductance"),
        &[curve(1, Column::CurveConductance, &straight)],
    );
    assert!(
        asked.iter().any(|(_, t)| t.contains("no bend")),
        "{asked:?}"
    );
}

fn ask(procedure: &Procedure, rows: &[Titration]) -> Vec<(Column, String)> {
    let hand_in = HandIn {
        titrations: rows.to_vec(),
        ..HandIn::default()
    };
    let asked = questions(procedure, &hand_in).into_iter();
    // what a sample can have is another matter, and so is how finely it is written
    let others = |text: &str| text.contains("labels") || text.contains("is not written with");
    asked
        .filter(|q| !others(&q.text.to_string()))
        .map(|q| (q.column, q.text.to_string()))
        .collect()
}

#[test]
fn all_can_be_checked_and_mistakes_are_named() {
    for key in SHIPPED {
        let report = check_report(&procedure(key), &shipped_glassware()).expect(key);
        println!("{report}");
        assert!(report.contains("titre"), "{report}");
    }
    for (from, to, expected) in [
        (
            "signal = \"pH\"",
            "signal = \"colour\"",
            "pH, potential, conductance",
        ),
        (
            "\"second-derivative\"",
            "\"two-lines\"",
            "curve.method: found two-lines",
        ),
        (
            "ph-meter-0.01",
            "millivoltmeter-1",
            "curve.meter: found a millivoltmeter",
        ),
        (
            "start_mL = \"75\"",
            "start_mL = \"0\"",
            "curve.start_mL: found 0",
        ),
        (
            "pK = \"4.76\"",
            "pK = \"40\"",
            "curve.pK: found one outside",
        ),
        ("blank = false", "blank = true", "trials.blank"),
    ] {
        let faults = read(&text_of("vinegar-curve").replace(from, to)).expect_err(expected);
        assert!(
            faults.iter().any(|f| f.contains(expected)),
            "{expected}: {faults:?}"
        );
    }
}
