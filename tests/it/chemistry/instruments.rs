//! Lines, additions and pairs of signals: published figures, and what is refused.

use concordant::submission::{Titration, TrialLabel};

use super::{lot, read, worked};
use crate::reference::{f, near};
use concordant::columns::Column;
use concordant::files::shipped_procedure;
use concordant::measure::Reading;

fn changed(key: &str, from: &str, to: &str) -> String {
    let text = shipped_procedure(key).expect(key);
    assert!(text.contains(from), "{from}");
    text.replace(from, to)
}

fn row(trial: u32, cells: &[(&str, &str)]) -> Titration {
    let mut row = Titration::new(TrialLabel::Numbered(trial));
    for (name, text) in cells {
        let column = Column::from_name(name).expect(name);
        row.readings
            .insert(column, Reading::parse(text).expect("a reading"));
    }
    row
}

const VESSELS: [&str; 4] = [
    "vessel_absorbance",
    "vessel_absorbance_2",
    "vessel_absorbance_3",
    "vessel_absorbance_4",
];

/// Aluminium of a chewing gum by multiple standard additions, as a tutorial works it (“Tutorial SAM-2”,
/// scribd.com/doc/228626738): 0, 0.1, 0.2 and 0.3 mL of 300.0 ppm show 0.214, 0.386, 0.554 and 0.728; b₁ = 1.7100, the line is
/// zero at 0.1251 mL with a standard error, as the tutorial has it, of 1.6840 × 10⁻³ from s = 1.7321 × 10⁻³; 1.5018 ppm in 25 mL.
#[test]
fn additions_of_a_tutorial() {
    // 300.0 ppm is 300.0 / 26982 = 0.011118524 mol/L; a lot without uncertainty and glassware that is next to exact
    let text = changed(
        "copper-addition-flame",
        r#"stock_mL = ["0.00", "2.00", "4.00", "6.00", "8.00"]"#,
        r#"stock_mL = ["0.00", "0.10", "0.20", "0.30"]"#,
    );
    let text = text
        .replace(r#"species = "Cu^2+""#, r#"species = "Al^3+""#)
        .replace(r#"analyte = "Cu^2+""#, r#"analyte = "Al^3+""#)
        .replace(r#"as = "Cu""#, r#"as = "Al""#)
        .replace(
            "[marking]",
            "[uncertainty]\nburette_reading_mL = \"0.0000001\"\n[marking]",
        );
    let procedure = read(&text).expect("a procedure");
    let cells: Vec<(&str, &str)> = VESSELS
        .into_iter()
        .zip(["0.214", "0.386", "0.554", "0.728"])
        .collect();
    let stock = lot("S", "0.011118527");
    let done = worked(&procedure, vec![row(1, &cells)], (&stock, None));
    // mL of stock per mL of sample: 10 mL of it here, where the tutorial has 25
    let stock_mg_per_l = 0.011_118_527 * 26_981.538_4;
    let per_stock = 10.0 / stock_mg_per_l;
    let volume = f(done.value().expect("a result")) * per_stock;
    assert_eq!(format!("{volume:.4}"), "0.1251");
    let budget = done.budget.expect("a budget");
    let scatter = budget.contributions.iter();
    let scatter = scatter.filter(|c| c.name().starts_with("scatter about the line"));
    let scatter: f64 = scatter.map(|c| c.amount * c.amount).sum();
    // the tutorial counts one reading more, as of a sample read off a line; where a line is zero nothing is read
    let one_reading: f64 = 1.7321e-3 / 1.7100;
    let expected = (1.6840e-3_f64.powi(2) - one_reading.powi(2)).sqrt();
    let standard = scatter.sqrt() * per_stock;
    near(standard, expected, 1e-3, "s(V)");
    // the formula of Miller and Miller, with the mean of the signals, 0.4705, and Sxx = 0.05
    let formula = one_reading * (0.25_f64 + (0.4705_f64 / 1.7100).powi(2) / 0.05).sqrt();
    near(standard, formula, 1e-3, "s(V) by the formula");
    near(volume * 300.0 / 25.0, 1.5018, 1e-4, "ppm in the solution");
}

/// Of a mixture the titre goes with the mass, so that three portions that differ agree: 152.62 mL per gram.
#[test]
fn portions_of_a_mixture_agree_by_their_mass() {
    let procedure =
        read(&shipped_procedure("low-sodium-salt").expect("shipped")).expect("a procedure");
    let silver = lot("T", "0.1000");
    let rows = [
        ("14.8160", "28.08"),
        ("14.8000", "30.52"),
        ("14.7840", "32.97"),
    ];
    let rows = (1..).zip(rows).map(|(number, (after, end))| {
        let cells = [
            ("sample_before_g", "15.0000"),
            ("sample_after_g", after),
            ("burette_start_mL", "0.00"),
            ("burette_end_mL", end),
        ];
        row(number, &cells)
    });
    let done = worked(&procedure, rows.collect(), (&silver, None));
    assert_eq!(done.counted(), 3, "{:?}", done.trials);
}

fn refused(text: &str, key: &str) -> bool {
    match read(text) {
        Ok(_) => false,
        Err(faults) => faults.iter().any(|fault| fault.to_string().contains(key)),
    }
}

#[test]
fn what_cannot_be_solved_is_refused() {
    // the same proportion at both wavelengths
    let text = changed(
        "food-colours",
        r#"["60", "128000"]"#,
        r#"["53000", "22400"]"#,
    );
    assert!(refused(&text, "mixture"));
    let text = changed("food-colours", r#"["60", "128000"]"#, r#"["60"]"#);
    assert!(refused(&text, "mixture.second"));
    // additions begin with none, to portions that are alike
    let text = changed(
        "copper-addition-flame",
        r#"["0.00", "2.00", "#,
        r#"["1.00", "2.00", "#,
    );
    assert!(refused(&text, "addition.stock_mL"));
    let text = changed("copper-addition-flame", "pipette-10-a", "cylinder-25-a");
    assert!(refused(&text, "sample.glassware"));
    // a weight without end, and standard deviations too few
    let text = changed(
        "nitrite-griess",
        r#"["1.00", "2.00", "#,
        r#"["0.00", "2.00", "#,
    );
    assert!(refused(&text, "calibration.weights"));
    let text = changed(
        "nitrite-griess",
        r#""1/c""#,
        "\"1/s^2\"\nstandard_deviations = [\"0.001\"]",
    );
    assert!(refused(&text, "calibration.standard_deviations"));
    let text = changed("low-sodium-salt", r#"other = "KCl""#, r#"other = "NaCl""#);
    assert!(refused(&text, "mixture.other"));
}

/// A mixture of equal masses of sodium chloride (58.44 g/mol) and potassium chloride (74.55 g/mol): 1.000 g takes
/// 0.5/58.44 + 0.5/74.55 mol of silver, so that 0.2000 g takes 30.524 mL of 0.1000 mol/L.
#[test]
fn a_mixture_made_up_is_found_again() {
    let procedure =
        read(&shipped_procedure("low-sodium-salt").expect("shipped")).expect("a procedure");
    let silver = lot("T", "0.1000");
    let titre: f64 = 0.1000 / 58.439_769_28 + 0.1000 / 74.5483;
    let end = format!("{:.6}", titre / 0.1000 * 1000.0);
    let cells = [
        ("sample_before_g", "15.0000"),
        ("sample_after_g", "14.8000"),
        ("burette_start_mL", "0.00"),
        ("burette_end_mL", end.as_str()),
    ];
    let done = worked(&procedure, vec![row(1, &cells)], (&silver, None));
    near(f(done.value().expect("a result")), 50.0, 1e-6, "half of it");
    // ten times the relative error of the titre, and of the mass: 74.55·30.52·0.1/(100)
    let budget = done.budget.expect("a budget");
    assert!(
        budget.standard > 0.3 && budget.standard < 3.0,
        "{}",
        budget.standard
    );
}
