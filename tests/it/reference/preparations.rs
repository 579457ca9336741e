//! Values of lots and unknowns from what was weighed.

use super::{dec, f, near};
use concordant::chem::{Formula, Reaction, shared_ratio};
use concordant::files::shipped_glassware;
use concordant::measure::{Glassware, GlasswareKind, Reading};
use concordant::procedure::{Purity, ResultSpec, ResultUnit};
use concordant::truth::Assigned;
use concordant::workup::{
    Conditions, Dilution, Preparation, PreparationFault, Recorded, Stock, Taken, Weighed,
};
use rust_decimal::Decimal;

fn weighing(mass: &str, purity: Decimal) -> Weighed {
    let table = shipped_glassware();
    Weighed {
        mass: Reading::parse(mass).expect(mass),
        balance: table.get("balance-0.1mg").expect("a balance").clone(),
        purity: Purity {
            fraction: purity,
            half_width: Decimal::ZERO,
        },
    }
}

fn weighed(formula: &str, mass: &str) -> Preparation {
    let flask = shipped_glassware().get("flask-1000-a").cloned();
    Preparation {
        conditions: Conditions::default(),
        species: Formula::parse(formula).expect(formula),
        stock: Stock::Solution(weighing(mass, Decimal::ONE), flask.expect("a flask")),
        dilutions: Vec::new(),
    }
}

// id: pharchem-1
/// PHARCHEM 3 practice set, precipitation titrations, no. 1: 8.3018 g of silver nitrate in 1 L is 0.04887 mol/L.
#[test]
fn a_weighed_salt_in_a_flask() {
    let found = weighed("AgNO3", "8.3018").molarity().expect("a value");
    near(f(found.value), 0.048_870_86, 1e-6, "mol/L");
    // (m) two weighings of linearity 0.2 mg and display 0.1 mg, (V) 0.4 mL triangular, (M) 0.00183 g/mol
    let weighing = (2.0 * (0.0002f64.powi(2) / 3.0 + 0.00005f64.powi(2) / 3.0)).sqrt() / 8.3018;
    let flask = 0.4 / 6f64.sqrt() / 1000.0;
    let mass: f64 = 0.00183 / 169.8722;
    let u = (weighing.powi(2) + flask.powi(2) + mass.powi(2)).sqrt();
    near(
        f(found.standard_uncertainty) / f(found.value),
        u,
        1e-3,
        "relative u",
    );
}

/// OpenStax Chemistry 2e, 3.3: 25.0 mL of 2.04 mol/L made up to 500 mL is 0.102 mol/L; 0.850 L of 5.00 mol/L copper(II)
/// nitrate made up to 1.80 L is 2.36 mol/L.
#[test]
fn dilutions() {
    let table = shipped_glassware();
    let shipped = |key: &str| table.get(key).expect(key).clone();
    let piece = |kind, size: &str| {
        let (size, tolerance) = (dec(size), dec("0.5"));
        Glassware::new("large", kind, None, size, None, tolerance, "test").expect("a piece")
    };
    for (salt, mass, pipette, flask, expected) in [
        // id: ost-dilution-2. 2.04 × 58.43976928 g in 1 L
        (
            "NaCl",
            "119.2171",
            shipped("pipette-25-a"),
            shipped("flask-500-a"),
            0.102,
        ),
        // id: ost-dilution-1. 5 × 187.554 g in 1 L
        (
            "Cu(NO3)2",
            "937.7700",
            piece(GlasswareKind::Pipette, "850"),
            piece(GlasswareKind::Flask, "1800"),
            2.361_111,
        ),
    ] {
        let mut stock = weighed(salt, mass);
        let taken = Taken::Pipette(pipette);
        stock.dilutions = vec![Dilution { taken, flask }];
        let found = stock.molarity().expect("a value").value;
        near(f(found), expected, 1e-6, salt);
    }
}

// id: talbot-18
/// H. P. Talbot, Quantitative Chemical Analysis, 6th ed. (1921), problem 18: sulfuric acid of specific gravity 1.839 with
/// 95 % is 35.61 N by Talbot's weights. A litre weighs 1839 g; a mole has two equivalents, by the reaction with alkali.
#[test]
fn a_concentrated_acid() {
    let mut acid = weighed("H2SO4", "1839");
    if let Stock::Solution(weighed, _) = &mut acid.stock {
        weighed.purity.fraction = dec("0.95");
    }
    let molarity = f(acid.molarity().expect("a value").value);
    let reaction = Reaction::parse("H2SO4 + 2 NaOH -> Na2SO4 + 2 H2O").expect("balanced");
    let [alkali, acid] = ["NaOH", "H2SO4"].map(|text| Formula::parse(text).expect(text));
    let (over, under) = shared_ratio(&[reaction], &alkali, &acid)
        .expect("a ratio")
        .parts();
    near(molarity * f(over) / f(under), 35.627_91, 1e-6, "N");
}

/// Expressed as another species and in another unit: 0.2500 g of calcium carbonate in 1 L is 250 mg/L as CaCO3 and
/// 40.078/100.086 of that as calcium.
#[test]
fn expressed_as_asked() {
    let water = weighed("CaCO3", "0.2500");
    let spec = |expressed: &str, unit| ResultSpec {
        analyte: Some(Formula::parse("Ca^2+").expect("an ion")),
        expressed_as: Some(Formula::parse(expressed).expect(expressed)),
        equivalence: None,
        unit,
    };
    let value = |spec: &ResultSpec| f(water.value_in(spec).expect("a value").value);
    near(
        value(&spec("CaCO3", ResultUnit::MgPerL)),
        250.0,
        1e-12,
        "as CaCO3",
    );
    near(
        value(&spec("Ca", ResultUnit::MgPerL)),
        250.0 * 40.078 / 100.086,
        1e-12,
        "as Ca",
    );
    let solid = water
        .value_in(&spec("Ca", ResultUnit::PercentMass))
        .expect_err("a solution");
    assert!(matches!(solid, PreparationFault::Form { .. }), "{solid}");
    assert_eq!(
        solid.to_string(),
        "found a solution, expected a solid mixture for a result in %w/w"
    );
    let mixture = Preparation {
        stock: Stock::Solid(
            weighing("0.4000", Decimal::ONE),
            Reading::parse("0.5000").expect("a mass"),
        ),
        ..weighed("CaCO3", "0.4000")
    };
    let content = mixture
        .value_in(&spec("CaCO3", ResultUnit::PercentMass))
        .expect("a value");
    assert_eq!(content.value.normalize(), dec("80"));
    // the molar mass stands above and below: what is left is two weighings each of 0.4000 g and 0.5000 g
    let one = (2.0 * (0.0002f64.powi(2) / 3.0 + 0.00005f64.powi(2) / 3.0)).sqrt();
    let u = ((one / 0.4).powi(2) + (one / 0.5).powi(2)).sqrt();
    near(
        f(content.standard_uncertainty) / 80.0,
        u,
        1e-5,
        "relative u",
    );
}

/// A part taken with a burette from a stock of known molarity: 31.20 mL of 0.5012 mol/L made up to 250 mL.
#[test]
fn a_part_of_a_known_stock() {
    let table = shipped_glassware();
    let shipped = |key: &str| table.get(key).expect(key).clone();
    let volume = Reading::parse("31.20").expect("a volume");
    let acid = Preparation {
        conditions: Conditions::default(),
        species: Formula::parse("HCl").expect("an acid"),
        stock: Stock::Known(Assigned {
            value: dec("0.5012"),
            standard_uncertainty: dec("0.0004"),
        }),
        dilutions: vec![Dilution {
            taken: Taken::Burette(shipped("burette-50-a"), volume),
            flask: shipped("flask-250-a"),
        }],
    };
    let found = acid.molarity().expect("a value");
    near(f(found.value), 0.5012 * 31.20 / 250.0, 1e-12, "mol/L");
    // two readings to ± 0.02 mL and the calibrations, 0.05 and 0.15 mL, triangular
    let third = 6f64.sqrt();
    let volume = (2.0 * (0.02 / third).powi(2) + (0.05 / third).powi(2)).sqrt() / 31.20;
    let flask = 0.15 / third / 250.0;
    let u = ((0.0004f64 / 0.5012).powi(2) + volume.powi(2) + flask.powi(2)).sqrt();
    let relative = f(found.standard_uncertainty) / f(found.value);
    near(relative, u, 1e-3, "relative u");
    let recorded = Recorded::Prepared(acid.work_up(&acid.of_itself()).expect("a value"));
    let lines = &recorded.derivation()[0].lines;
    let words: Vec<&str> = lines.iter().map(|line| line.label.as_str()).collect();
    assert_eq!(
        words,
        [
            "molarity of HCl, stock",
            "volume taken for dilution 1, 50 mL burette, class A",
            "flask of dilution 1, 250 mL flask, class A",
            "value"
        ]
    );
    let causes = recorded.causes().expect("a budget");
    assert_eq!(causes.lines[0].name, "molarity of the stock");
    assert_eq!(causes.random, "");
}

/// QUAM:2012, example A1: 100.28 mg of cadmium in 100 mL. Its volume is uncertain by the flask's ± 0.1 mL as a triangle,
/// 0.02 mL of filling and ± 4 °C: 0.07 mL. Its balance is finer than ours; here the mass has two weighings of a 0.1 mg
/// balance and 0.05 mg of repeatability.
#[test]
fn filling_temperature_and_repeatability_count() {
    let flask = shipped_glassware().get("flask-100-a").cloned();
    let flask = flask.expect("a flask");
    assert_eq!(flask.tolerance(), dec("0.1"));
    let purity = Purity {
        fraction: dec("0.9999"),
        half_width: dec("0.0001"),
    };
    let weighed = Weighed {
        purity,
        ..weighing("0.1003", Decimal::ONE)
    };
    let of = |temperature: &str, filling: &str, weighing: &str| {
        let prepared = Preparation {
            species: Formula::parse("Cd").expect("a metal"),
            stock: Stock::Solution(weighed.clone(), flask.clone()),
            dilutions: Vec::new(),
            conditions: Conditions {
                temperature: dec(temperature),
                filling: dec(filling),
                weighing: dec(weighing),
            },
        };
        let asked = ResultSpec {
            unit: ResultUnit::MgPerL,
            ..prepared.of_itself()
        };
        let found = prepared.value_in(&asked);
        let found = found.expect("a value");
        near(f(found.value), 0.1003 * 0.9999 * 1e4, 1e-9, "mg/L");
        f(found.standard_uncertainty) / f(found.value)
    };
    let weighings = 2f64.sqrt() * (0.0002f64 / 3f64.sqrt()).hypot(0.00005 / 3f64.sqrt());
    let expected = |volume: f64, mass: f64| {
        let purity = 0.0001 / 3f64.sqrt() / 0.9999;
        (volume / 100.0).hypot(mass / 0.1003).hypot(purity)
    };
    let mark = 0.1 / 6f64.sqrt();
    near(
        of("0", "0", "0"),
        expected(mark, weighings),
        1e-5,
        "as before",
    );
    let warmth = 100.0 * 2.1e-4 * 4.0 / 3f64.sqrt();
    let volume = mark.hypot(0.02).hypot(warmth);
    near(
        (volume * 100.0).round() / 100.0,
        0.07,
        1e-9,
        "u(V) of the guide",
    );
    let mass = weighings.hypot(0.00005);
    near(
        of("4", "0.02", "0.00005"),
        expected(volume, mass),
        1e-5,
        "all of it",
    );
}

/// A part of a solution diluted at one temperature: the warmth of pipette and flask is one, and leaves the quotient.
#[test]
fn one_temperature_leaves_a_dilution() {
    let table = shipped_glassware();
    let shipped = |key: &str| table.get(key).expect(key).clone();
    let u = |temperature: &str| {
        let acid = Preparation {
            species: Formula::parse("HCl").expect("an acid"),
            stock: Stock::Known(Assigned {
                value: dec("0.5012"),
                standard_uncertainty: dec("0.0004"),
            }),
            dilutions: vec![Dilution {
                taken: Taken::Pipette(shipped("pipette-25-a")),
                flask: shipped("flask-250-a"),
            }],
            conditions: Conditions {
                temperature: dec(temperature),
                ..Conditions::default()
            },
        };
        f(acid.molarity().expect("a value").standard_uncertainty)
    };
    near(u("4"), u("0"), 1e-9, "u");
}
