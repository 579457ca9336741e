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
