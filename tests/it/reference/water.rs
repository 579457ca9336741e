//! Water: density, weighing in air, volumes at another temperature.

use concordant::measure::{Weighing, water_density};

#[track_caller]
fn within(found: Option<f64>, expected: f64, tolerance: f64, what: &str) {
    let found = found.expect(what);
    assert!(
        (found - expected).abs() <= tolerance,
        "{what}: found {found}, expected {expected}"
    );
}

/// Kell, J. Chem. Eng. Data 20 (1975) 97–105, kg/m³, with the linear term of the denominator as given.
fn kell(t: f64, denominator: f64) -> f64 {
    let top = 999.83952 + 16.945176 * t - 7.9870401e-3 * t.powi(2) - 46.170461e-6 * t.powi(3)
        + 105.56302e-9 * t.powi(4)
        - 280.54253e-12 * t.powi(5);
    top / (1.0 + denominator * t)
}

// id: water-density
/// Tanaka et al., Metrologia 38 (2001) 301–309; beside it Kell 1975 and IAPWS-95 at 101 325 Pa, both in kg/m³.
#[test]
fn density_of_water() {
    for (celsius, tanaka, kell_1975, iapws) in [
        (15.0, 999.1026, 999.0996, 999.1026),
        (17.0, 998.7778, 998.7749, 998.7780),
        (18.0, 998.5984, 998.5956, 998.5986),
        (20.0, 998.2067, 998.2041, 998.2072),
        (21.0, 997.9950, 997.9925, 997.9955),
        (22.0, 997.7730, 997.7705, 997.7735),
        (23.0, 997.5408, 997.5385, 997.5414),
        (25.0, 997.0470, 997.0449, 997.0476),
        (26.0, 996.7857, 996.7837, 996.7864),
        (27.0, 996.5151, 996.5132, 996.5158),
        (30.0, 995.6488, 995.6473, 995.6495),
    ] {
        let found = water_density(celsius).map(|density| 1000.0 * density);
        within(found, tanaka, 1e-4, "Tanaka");
        within(found, iapws, 1e-3, "IAPWS-95");
        within(found, kell_1975, 4e-3, "Kell: an older scale");
        within(Some(kell(celsius, 16.879850e-3)), kell_1975, 1e-4, "Kell");
    }
}

/// OpenStax Chemistry 2e, Appendix E, g/mL.
#[test]
fn density_of_water_in_a_textbook() {
    for (celsius, density) in [
        (15.0, 0.9991026),
        (20.0, 0.9982071),
        (22.0, 0.9977735),
        (25.0, 0.9970479),
        (30.0, 0.9956502),
    ] {
        within(water_density(celsius), density, 2e-6, "OpenStax");
    }
}

// id: water-kell-typo-trap
/// Kell's formula is often copied with two digits of the denominator exchanged, which costs 0.27 kg/m³ at 20 °C.
#[test]
fn the_density_is_not_that_of_the_miscopied_formula() {
    let found = water_density(20.0).map(|density| 1000.0 * density);
    within(Some(kell(20.0, 16.879850e-3)), 998.2041, 1e-4, "right");
    within(Some(kell(20.0, 16.897850e-3)), 997.9355, 1e-4, "miscopied");
    within(found, 998.2041, 4e-3, "the scales differ by 3 mg/L");
    assert!((found.expect("in range") - 997.9355).abs() > 0.26);
}

/// Two formulae fitted independently stay 4 mg/L apart over the whole range; outside it there is no figure.
#[test]
fn density_follows_an_independent_formula_and_ends_where_it_was_fitted() {
    for step in 0..=400 {
        let celsius = f64::from(step) / 10.0;
        let found = water_density(celsius).map(|density| 1000.0 * density);
        within(found, kell(celsius, 16.879850e-3), 4e-3, "Kell");
    }
    for outside in [-0.001, 40.001, 100.0, f64::NAN, f64::INFINITY] {
        assert_eq!(water_density(outside), None, "{outside}");
        assert_eq!(Weighing::default().z_factor(outside), None, "{outside}");
    }
}

// id: water-buoyancy-Z
/// The Z factor of ISO 4787 and ISO 8655-6 (printed there to four decimals: 1.0029 at 20 °C and 1013 hPa), mL/g.
#[test]
fn z_factors() {
    let weighing = Weighing::default();
    for (celsius, z) in [
        (15.0, 1.001952),
        (18.0, 1.002458),
        (20.0, 1.002852),
        (22.0, 1.003288),
        (25.0, 1.004020),
        (28.0, 1.004839),
        (30.0, 1.005431),
    ] {
        within(weighing.z_factor(celsius), z, 1e-6, "Z");
    }
    let water = water_density(20.0).expect("in range");
    within(Some(weighing.buoyancy(water)), 1.001053, 1e-6, "buoyancy");
    within(Some(weighing.buoyancy(8.0)), 1.0, 1e-15, "the weights");
}

// id: volume-temperature-correction
/// 1000 mL read in glass calibrated for 20 °C, of which borosilicate expands by 1.0e-5 per °C (ISO 4787): the volume at
/// 20 °C follows from the densities.
#[test]
fn volumes_at_another_temperature() {
    let calibrated = water_density(20.0).expect("in range");
    for (celsius, by_density) in [
        (15.0, 1000.8474),
        (18.0, 1000.3723),
        (22.0, 999.5854),
        (25.0, 998.8881),
        (30.0, 997.5372),
    ] {
        let held = 1000.0 * (1.0 + 1.0e-5 * (celsius - 20.0));
        let found = water_density(celsius).map(|density| held * density / calibrated);
        within(found, by_density, 1e-4, "by density");
    }
}
