//! Loss on heating, and x in a hydrate.

use concordant::columns::Column;
use concordant::files::shipped_glassware;
use concordant::simulate::check_report;
use concordant::submission::TrialLabel;

use super::{lot, read, row, text_of, worked};
use crate::reference::{f, near};

fn heated(text: &str, readings: [&str; 3]) -> f64 {
    let procedure = read(text).unwrap_or_else(|why| panic!("{why:?}"));
    let [empty, after, sample] = readings;
    let columns = [
        (Column::Crucible, empty),
        (Column::CrucibleHeated, after),
        (Column::SampleMass, sample),
    ];
    let rows = vec![row(TrialLabel::Numbered(1), &columns)];
    let done = worked(&procedure, rows, (&lot("T", "1"), None));
    f(done.value().unwrap_or_else(|| panic!("{:?}", done.trials)))
}

/// Epsom salt is MgSO4 with seven H2O, of which 51.16 % by mass are water (CRC Handbook, from memory); blue vitriol five
/// and 36.08 %.
#[test]
fn pure_hydrates_have_their_water() {
    // 2.4647 g are 10.00 mmol of MgSO4.7H2O (246.47 g/mol) and leave 1.2036 g
    let x = heated(&text_of("epsom-hydrate"), ["20.0000", "21.2036", "2.4647"]);
    near(x, 7.0, 5e-4, "x");
    let share = text_of("epsom-hydrate").replace("\"mol/mol\"", "\"%w/w\"");
    near(
        heated(&share, ["20.0000", "21.2036", "2.4647"]),
        51.16,
        2e-4,
        "water",
    );
    let vitriol = text_of("epsom-hydrate").replace("MgSO4", "CuSO4");
    near(
        heated(&vitriol, ["20.0000", "21.5960", "2.4968"]),
        5.0,
        5e-4,
        "x",
    );
}

/// Pure sodium hydrogencarbonate loses 36.92 % of its mass.
#[test]
fn what_is_lost_tells_what_was_heated() {
    let pure = heated(
        &text_of("baking-soda-heating"),
        ["20.0000", "21.2616", "2.0000"],
    );
    near(pure, 100.0, 1e-3, "NaHCO3");
}

#[test]
fn both_can_be_checked_and_mistakes_are_named() {
    for key in ["epsom-hydrate", "baking-soda-heating"] {
        let procedure = read(&text_of(key)).expect(key);
        let report = check_report(&procedure, &shipped_glassware()).expect(key);
        assert!(
            report.contains("twice the loss expected") || report.contains("loss"),
            "{report}"
        );
    }
    for (key, from, to, expected) in [
        (
            "epsom-hydrate",
            "by = \"mass\"\nglassware = \"balance-0.1mg\"\nnominal = \"2.0000\"",
            "by = \"volume\"\nglassware = \"pipette-25-a\"\nnominal = \"25.00\"",
            "sample.by: found a volume or a flask",
        ),
        (
            "epsom-hydrate",
            "nominal_loss_g = \"1.0000\"",
            "nominal_loss_g = \"3.0\"",
            "expected less than the sample's 2.0000 g",
        ),
        (
            "epsom-hydrate",
            "\"mol/mol\"",
            "\"mg/L\"",
            "expected one of %w/w, mol/mol",
        ),
        (
            "epsom-hydrate",
            "scheme = \"heating\"",
            "scheme = \"heating\"\nreactions = [\"MgSO4.7H2O -> MgSO4 + 7 H2O\"]",
            "reactions: ",
        ),
        (
            "baking-soda-heating",
            "residue = \"Na2CO3\"",
            "residue = \"NaOH\"",
            "reactions: found no reaction",
        ),
    ] {
        let faults = read(&text_of(key).replace(from, to)).expect_err(expected);
        assert!(
            faults.iter().any(|f| f.contains(expected)),
            "{expected}: {faults:?}"
        );
    }
}

/// A residue as heavy as what was heated has lost nothing, a heavier one less than nothing: people are asked.
#[test]
fn a_residue_as_heavy_as_the_sample_is_asked_about() {
    use concordant::judge::questions;
    use concordant::submission::HandIn;
    let procedure = read(&text_of("epsom-hydrate")).expect("shipped");
    let asked = |after: &str| {
        let columns = [
            (Column::Crucible, "20.0000"),
            (Column::CrucibleHeated, after),
            (Column::SampleMass, "2.0000"),
        ];
        let hand_in = HandIn {
            titrations: vec![row(TrialLabel::Numbered(1), &columns)],
            ..HandIn::default()
        };
        let all = questions(&procedure, &hand_in).into_iter();
        let all = all.filter(|question| question.column == Column::CrucibleHeated);
        all.map(|question| question.text.to_string())
            .collect::<Vec<_>>()
    };
    assert_eq!(asked("20.9770"), Vec::<String>::new());
    for (after, why) in [
        ("22.0000", "as nothing was lost"),
        ("22.1000", "less than nothing"),
    ] {
        let found = asked(after);
        assert!(found.len() == 1 && found[0].contains(why), "{found:?}");
    }
}

/// x counts what leaves per what is left: expressed as anything else it would be no x.
#[test]
fn x_is_expressed_as_nothing_else() {
    let other =
        text_of("epsom-hydrate").replace("unit = \"mol/mol\"", "as = \"O\"\nunit = \"mol/mol\"");
    let faults = read(&other).expect_err("refused");
    let why =
        "found O, expected none where x in a hydrate is asked for: it counts what leaves, H2O";
    assert!(
        faults.iter().any(|fault| fault.ends_with(why)),
        "{faults:?}"
    );
}
