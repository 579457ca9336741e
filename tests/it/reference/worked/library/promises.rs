//! What every procedure that comes with the program promises: it can be titrated, marked fairly, and done safely.

use super::{Example, examples, shipped};
use concordant::files::shipped_procedures;
use concordant::judge::signal::{Bench, Signal, expected_signal};
use concordant::procedure::Procedure;
use concordant::schemes::SchemeKind as Scheme;
use concordant::simulate::fairness;
use rust_decimal::prelude::ToPrimitive;

fn all() -> Vec<Procedure> {
    let keys = shipped_procedures();
    keys.iter().map(|(key, _)| shipped(key)).collect()
}

/// For the content of its worked example, or the label's molarity in a standardisation, and the sample asked for.
#[test]
fn the_titre_to_expect_lies_within_the_burette() {
    for procedure in all() {
        let example: &Example = examples()
            .find(|example| example.key == procedure.key)
            .expect("an example");
        let [titrant, excess] = example.lots();
        let label = procedure.titrant().and_then(|t| t.nominal.to_f64());
        let truth = match procedure.scheme.kind() {
            Scheme::Standardisation => label.expect("a titrant"),
            _ => example.expected,
        };
        let bench = Bench {
            truth,
            lot: titrant.as_ref(),
            excess_lot: excess.as_ref(),
            blank: 0.12,
        };
        let expected = expected_signal(&procedure, &bench).expect(&procedure.key);
        let signal = Signal::of(&procedure);
        let share = (expected - signal.least) / (signal.full - signal.least);
        assert!(
            (0.2..=0.9).contains(&share),
            "{}: {expected}, {share} of the scale",
            procedure.key
        );
    }
}

/// No warning, and a class of careful students keeps nearly all points.
#[test]
fn the_marking_is_fair() {
    for procedure in all() {
        let found = fairness(&procedure, 100, 1).expect(&procedure.key);
        assert!(
            found.warnings.is_empty(),
            "{}: {:?}",
            procedure.key,
            found.warnings
        );
        for (part, mean, most) in found.parts {
            let most = most.to_f64().expect("points");
            assert!(
                mean >= 0.85 * most,
                "{}: {mean} of {most} for {part:?}",
                procedure.key
            );
        }
    }
}

#[test]
fn every_text_is_there() {
    const DEFERRAL: &str = "Your laboratory's chemical hygiene plan, the supplier's safety data sheet for each reagent, the local rules and your supervisor come first, before anything written here.";
    for procedure in all() {
        let (key, text) = (&procedure.key, &procedure.text);
        assert!(!text.summary.is_empty(), "{key}: summary");
        assert!(text.steps.len() >= 3, "{key}: {} steps", text.steps.len());
        assert!(
            text.cautions.len() >= 3,
            "{key}: {} cautions",
            text.cautions.len()
        );
        assert!(text.cautions[0].contains("eye protection"), "{key}: eyes");
        assert_eq!(
            text.cautions.last().map(String::as_str),
            Some(DEFERRAL),
            "{key}"
        );
        assert!(!text.waste.is_empty(), "{key}: waste");
        let told = if procedure.burette().is_some() {
            &text.endpoint
        } else {
            &text.glassware_note
        };
        assert!(!told.is_empty(), "{key}: what to read, or the endpoint");
    }
}

/// Reagents whose hazard every procedure that holds them names.
#[test]
fn the_cautions_name_the_reagents() {
    const REAGENTS: [(&str, &str); 12] = [
        ("permanganate", "ermanganate"),
        ("dichromate", "can cause cancer"),
        ("chromate", "can cause cancer"),
        ("silver nitrate", "Silver nitrate stains"),
        ("iodine", "Iodine"),
        ("ammonia", "mmonia"),
        ("hydrochloric acid", "ydrochloric acid"),
        ("nitric acid", "itric acid"),
        ("sodium hydroxide", "Sodium hydroxide"),
        ("phenolphthalein", "phenolphthalein can cause cancer"),
        ("barium chloride", "Barium chloride is toxic"),
        ("thiocyanate", "hiocyanate harms"),
    ];
    for procedure in all() {
        let text = &procedure.text;
        let used = text.steps.join(" ");
        let cautions = text.cautions.join(" ");
        for (reagent, words) in REAGENTS {
            assert!(
                !used.contains(reagent) || cautions.contains(words),
                "{}: {reagent}",
                procedure.key
            );
        }
    }
}

#[test]
fn the_guide_lists_them() {
    let guide = include_str!("../../../../../seed-data/guide/procedures.md");
    for procedure in all() {
        let listed = guide.matches(&format!("`{}`", procedure.key)).count();
        assert_eq!(listed, 1, "{}", procedure.key);
    }
}

/// What the design's own example promises: a pipette in the cylinder's place more than halves the uncertainty.
#[test]
fn what_would_help_is_said() {
    let procedure = super::shipped("well-water-hardness");
    let found = concordant::simulate::remedies(&procedure, &concordant::files::shipped_glassware());
    assert!(!found.is_empty());
    assert_eq!(
        found[0].words(),
        "a 50 mL pipette, class A instead of the 50 mL cylinder, class B would more than halve it: 0.18 % instead of 0.46 %"
    );
    assert!(
        found
            .iter()
            .all(|remedy| remedy.reachable_percent < remedy.from_percent)
    );
}
