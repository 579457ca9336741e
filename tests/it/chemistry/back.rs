//! Back titrations: a blank that measures the excess, and where the excess went in.

use concordant::columns::Column;
use concordant::files::shipped_glassware;
use concordant::simulate::check_report;
use concordant::submission::TrialLabel;

use super::{lot, read, row, text_of, titre, worked};
use crate::reference::{f, near};

fn aspirin(added_to: &str) -> String {
    text_of("antacid-back")
        .replace(
            "\"Mg(OH)2 + 2 HCl -> MgCl2 + 2 H2O\"",
            "\"C9H8O4 + 2 NaOH -> C2H3O2Na + C7H5O3Na + H2O\"",
        )
        .replace(
            "[titrant]\nspecies = \"NaOH\"\nnominal_mol_per_L = \"0.2000\"",
            "[titrant]\nspecies = \"HCl\"\nnominal_mol_per_L = \"0.1000\"",
        )
        .replace(
            "[excess]\nspecies = \"HCl\"\nnominal_mol_per_L = \"0.2000\"",
            &format!("[excess]\n{added_to}\nspecies = \"NaOH\"\nnominal_mol_per_L = \"1.000\""),
        )
        .replace(
            "nominal = \"0.3000\"",
            "nominal = \"1.5000\"\nmade_up_in = \"flask-250-a\"\ntaken_with = \"pipette-25-a\"",
        )
        .replace("Mg(OH)2", "C9H8O4")
        .replace("pipette-50-a", "pipette-25-a")
}

/// 1.500 g of tablet, 25.00 mL of 1.000 mol/L NaOH, made up to 250 mL, 25.00 mL of it against 0.1000 mol/L HCl: 9.18 mL.
/// By hand: 25.00 − 0.1000 · 9.18 · 10 = 15.82 mmol of NaOH used, half of it aspirin: 7.910 mmol · 180.16 = 1425.1 mg, 95.0 %.
#[test]
fn an_excess_added_to_the_whole_is_no_aliquots() {
    let rows = || {
        let mut trial = titre(TrialLabel::Numbered(1), "9.18");
        let weighed = row(
            TrialLabel::Rough,
            &[
                (Column::SampleBefore, "11.5000"),
                (Column::SampleAfter, "10.0000"),
            ],
        );
        trial.readings.extend(weighed.readings);
        vec![trial]
    };
    let value = |added_to: &str| {
        let procedure = read(&aspirin(added_to)).unwrap_or_else(|why| panic!("{why:?}"));
        let (titrant, excess) = (lot("T", "0.1000"), lot("E", "1.000"));
        f(worked(&procedure, rows(), (&titrant, Some(&excess)))
            .value()
            .expect("a result"))
    };
    near(value("added_to = \"whole\""), 95.003, 1e-4, "whole");
    assert!(value("added_to = \"portion\"") > 1400.0);
    let silent = read(&aspirin("")).expect("as before");
    let report = check_report(&silent, &shipped_glassware()).expect("a report");
    assert!(
        report.contains("say portion or whole with excess.added_to"),
        "{report}"
    );
    let whole = text_of("antacid-back").replace("[excess]", "[excess]\nadded_to = \"whole\"");
    let faults = read(&whole).expect_err("no flask");
    assert!(
        faults
            .iter()
            .any(|f| f.contains("only where the sample is made up")),
        "{faults:?}"
    );
}

/// A blank of a back titration is all of the excess: the same titre less the blank, so a class can be simulated.
#[test]
fn a_blank_that_measures_the_excess_can_be_checked() {
    for text in [
        text_of("antacid-back").replace("blank = false", "blank = true"),
        aspirin("added_to = \"whole\"").replace("blank = false", "blank = true"),
    ] {
        let procedure = read(&text).unwrap_or_else(|why| panic!("{why:?}"));
        let report =
            check_report(&procedure, &shipped_glassware()).unwrap_or_else(|why| panic!("{why}"));
        assert!(
            report.contains("points for accuracy, mean of 1000 careful students"),
            "{report}"
        );
    }
    // 50 mL of the acid takes 48.00 mL of the base: 1.000 mmol less is left over where 43.00 mL are needed
    let text = text_of("antacid-back").replace("blank = false", "blank = true");
    let procedure = read(&text).expect("a procedure");
    let mut trial = titre(TrialLabel::Numbered(1), "43.00");
    let weighed = row(
        TrialLabel::Rough,
        &[
            (Column::SampleBefore, "10.3000"),
            (Column::SampleAfter, "10.0000"),
        ],
    );
    trial.readings.extend(weighed.readings);
    let rows = vec![titre(TrialLabel::Blank, "48.00"), trial];
    let done = worked(&procedure, rows, (&lot("T", "0.2000"), None));
    // n = 0.2000 · 5.00 / 2 = 0.5000 mmol of 58.319 g/mol in 300.0 mg
    near(
        f(done.value().expect("a result")),
        9.7198,
        1e-4,
        "by the blank",
    );
}

fn antacid(excess: &str) -> String {
    text_of("antacid-back").replace("glassware = \"pipette-50-a\"", excess)
}

/// 40.10 mL of 0.2000 mol/L acid from a burette, 15.50 mL of 0.2000 mol/L base back: (8.020 − 3.100) / 2 = 2.460 mmol of
/// Mg(OH)2 (58.319 g/mol) in 0.3000 g, 47.82 %w/w. Its delivery has a calibration of its own and two readings.
#[test]
fn the_excess_comes_from_a_burette() {
    let text = antacid("glassware = \"burette-50-a\"\nnominal_mL = \"40.00\"");
    let procedure = read(&text).unwrap_or_else(|why| panic!("{why:?}"));
    let mut trial = titre(TrialLabel::Numbered(1), "15.50");
    let weighed = row(
        TrialLabel::Rough,
        &[
            (Column::SampleBefore, "10.3000"),
            (Column::SampleAfter, "10.0000"),
            (Column::ExcessStart(1), "0.20"),
            (Column::ExcessEnd(1), "40.30"),
        ],
    );
    trial.readings.extend(weighed.readings);
    let (titrant, excess) = (lot("T", "0.2000"), lot("E", "0.2000"));
    let done = worked(&procedure, vec![trial.clone()], (&titrant, Some(&excess)));
    let by_hand = (0.2000 * 40.10 - 0.2000 * 15.50) / 2.0 * 58.319 / 300.0 * 100.0;
    near(f(done.value().expect("a result")), by_hand, 1e-6, "%w/w");
    // ± 0.05 mL of a burette of 50 mL, triangular, half of its variance shared, on 40.10 of 24.60 mL used
    let budget = done.budget.expect("a budget");
    let of = |name: &str| {
        let mut all = budget.contributions.iter();
        all.find(|c| c.name() == name).map(|c| c.amount)
    };
    let per_ml = by_hand / (40.10 - 15.50);
    let calibration = of("calibration, excess volume").expect("its own");
    near(
        calibration,
        per_ml * 0.05 / 6f64.sqrt() * 0.5f64.sqrt(),
        1e-6,
        "calibration",
    );
    let titrants = of("burette calibration").expect("the titrant's");
    near(titrants, calibration, 1e-9, "as large, and another");
    // four readings, each ± 0.02 mL
    let readings = of("burette reading").expect("read");
    near(
        readings,
        per_ml * 0.02 / 6f64.sqrt() * 2.0,
        1e-6,
        "readings",
    );
    // without its readings nothing is worked up, and said so
    trial.readings.remove(&Column::ExcessEnd(1));
    let none = worked(&procedure, vec![trial], (&titrant, Some(&excess)));
    let why = none.trials[0].why_not.as_ref().map(ToString::to_string);
    let why = why.as_deref();
    assert_eq!(
        why,
        Some("delivered volume, excess reagent, trial 1: found no reading of it")
    );
    let report = check_report(&procedure, &shipped_glassware()).expect("a report");
    assert!(
        report.contains("100 % have all points for accuracy"),
        "{report}"
    );
}

/// 50.00 mL by pipette; 33.00 mL of base run over the end, 1.50 mL more of the acid bring it back, and 0.90 mL of base end it
/// again at 33.90: 10.000 + 0.300 − 6.780 = 3.520 mmol, half of it Mg(OH)2.
#[test]
fn an_endpoint_run_over_is_brought_back() {
    let text = antacid("glassware = \"pipette-50-a\"\nbrought_back_with = \"burette-25-a\"");
    let procedure = read(&text).unwrap_or_else(|why| panic!("{why:?}"));
    let trial = |more: &[(Column, &str)]| {
        let mut trial = titre(TrialLabel::Numbered(1), "33.90");
        let weighed = [
            (Column::SampleBefore, "10.3000"),
            (Column::SampleAfter, "10.0000"),
        ];
        let read = row(TrialLabel::Rough, &[&weighed, more].concat());
        trial.readings.extend(read.readings);
        trial
    };
    let value = |more: &[(Column, &str)]| {
        let (titrant, excess) = (lot("T", "0.2000"), lot("E", "0.2000"));
        let done = worked(&procedure, vec![trial(more)], (&titrant, Some(&excess)));
        f(done.value().unwrap_or_else(|| panic!("{:?}", done.trials)))
    };
    let by_hand = |used: f64| used / 2.0 * 58.319 / 300.0 * 100.0;
    let more = [
        (Column::ExcessStart(1), "3.20"),
        (Column::ExcessEnd(1), "4.70"),
    ];
    near(
        value(&more),
        by_hand(10.0 + 0.3 - 6.78),
        1e-6,
        "brought back",
    );
    near(value(&[]), by_hand(10.0 - 6.78), 1e-6, "not run over");
    // where the whole was made up with the excess, what comes back counts for the part alone
    let whole = aspirin("added_to = \"whole\"\nbrought_back_with = \"burette-25-a\"");
    let whole = read(&whole).unwrap_or_else(|why| panic!("{why:?}"));
    let mut part = titre(TrialLabel::Numbered(1), "11.18");
    let weighed = row(
        TrialLabel::Rough,
        &[
            (Column::SampleBefore, "11.5000"),
            (Column::SampleAfter, "10.0000"),
            (Column::ExcessStart(1), "0.00"),
            (Column::ExcessEnd(1), "0.20"),
        ],
    );
    part.readings.extend(weighed.readings);
    // 0.1000 · 11.18 − 1.000 · 0.20 = 0.918 mmol in the part, as 9.18 mL would have found
    let (titrant, excess) = (lot("T", "0.1000"), lot("E", "1.000"));
    let done = worked(&whole, vec![part], (&titrant, Some(&excess)));
    near(f(done.value().expect("a result")), 95.003, 1e-4, "whole");
}

#[test]
fn what_an_excess_by_burette_needs_is_said() {
    let said = |excess: &str| read(&antacid(excess)).expect_err("refused").join("; ");
    assert!(said("glassware = \"burette-50-a\"").contains("how much the burette is to deliver"));
    let past = "glassware = \"burette-50-a\"\nnominal_mL = \"60\"";
    assert!(said(past).contains("no more than the burette holds"));
    let both =
        "glassware = \"burette-50-a\"\nnominal_mL = \"40\"\nbrought_back_with = \"burette-25-a\"";
    assert!(said(both).contains("another filling"));
    let blank = antacid("glassware = \"burette-50-a\"\nnominal_mL = \"40\"")
        .replace("blank = false", "blank = true");
    let said = read(&blank).expect_err("refused").join("; ");
    assert!(
        said.contains("a blank holds another volume of it"),
        "{said}"
    );
}
