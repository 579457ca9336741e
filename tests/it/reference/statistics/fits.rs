//! Parabolas and weighted lines as a work-up fits them, with what the law of propagation makes of their points.

use crate::reference::{dec, near};
use concordant::measure::as_f64;
use concordant::workup::{Component, Fit, Graph, Of, Operation, StepId, budget};
use rust_decimal::Decimal;
use std::sync::Arc;

use super::digits;

// id: strd-pontius
/// NIST StRD, linear regression, Pontius (lower difficulty): calibration of load cells, y = b0 + b1·x + b2·x². x is 150000
/// to 3000000 in steps of 150000, twice. The covariances for unit variance are those of the test suite of the GNU Scientific
/// Library (multifit/test_pontius.c).
#[test]
fn pontius() {
    let y = "0.11019 0.21956 0.32949 0.43899 0.54803 0.65694 0.76562 0.87487 0.98292 1.09146 1.20001 1.30822 1.41599 1.52399 \
             1.63194 1.73947 1.84646 1.95392 2.06128 2.16844 0.11052 0.22018 0.32939 0.43886 0.54798 0.65739 0.76596 0.87474 \
             0.98300 1.09150 1.20004 1.30818 1.41613 1.52408 1.63159 1.73965 1.84696 1.95445 2.06177 2.16829";
    let y: Vec<Decimal> = y.split_whitespace().map(dec).collect();
    let x: Vec<Decimal> = (1..=20)
        .chain(1..=20)
        .map(|n| Decimal::from(n * 150_000))
        .collect();
    let (mut graph, fit) = points(&x, &y, &vec![Decimal::ONE; 40], 2);
    let certified = [
        (
            0.673_565_789_473_684e-3,
            0.107_938_612_033_077e-3,
            2.767_543_859_649_16e-1,
        ),
        (
            0.732_059_160_401_003e-6,
            0.157_817_399_981_659e-9,
            5.916_305_916_306_03e-13,
        ),
        (
            -0.316_081_871_345_029e-14,
            0.486_652_849_992_036e-16,
            5.625_736_619_888_78e-26,
        ),
    ];
    // the certified residual standard deviation
    let residual = 0.205_177_424_076_185e-3;
    for (power, (estimate, error, variance)) in certified.into_iter().enumerate() {
        let step = graph.step(("b", "b"), "", Operation::Coefficient(power, fit.clone()));
        let step = step.expect("a value");
        let reached = digits(as_f64(graph.value(step)), estimate);
        println!("b{power}: {reached:.1} digits");
        assert!(reached >= 13.0, "b{power}: {reached}");
        let by = graph.sensitivities(step);
        let sum: f64 = fit.y.iter().map(|id| by[id.place()].powi(2)).sum();
        near(sum, variance, 1e-9, "variance");
        near(sum.sqrt() * residual, error, 1e-9, "standard error");
    }
}

/// Miller and Miller, Statistics and Chemometrics for Analytical Chemistry, section 5.10 (from memory): weights 1/s², a = 0.0091,
/// b = 0.0738; 0.100 is found at 1.23 and 0.600 at 8.01.
#[test]
fn a_weighted_line_of_a_textbook() {
    let list = |text: &str| text.split_whitespace().map(dec).collect::<Vec<_>>();
    let x = list("0 2 4 6 8 10");
    let y = list("0.009 0.158 0.301 0.472 0.577 0.739");
    let s = list("0.001 0.004 0.010 0.013 0.017 0.022");
    let weights: Vec<Decimal> = s.iter().map(|s| Decimal::ONE / (s * s)).collect();
    let (mut graph, fit) = points(&x, &y, &weights, 1);
    let [a, b] = [0, 1].map(|power| {
        let step = graph.step(("b", "b"), "", Operation::Coefficient(power, fit.clone()));
        as_f64(graph.value(step.expect("a value")))
    });
    assert_eq!(format!("{a:.4}"), "0.0091");
    assert_eq!(format!("{b:.4}"), "0.0738");
    assert_eq!(format!("{:.2}", (0.1 - a) / b), "1.23");
    assert_eq!(format!("{:.2}", (0.6 - a) / b), "8.01");
}

/// What is read off a weighted line is as uncertain as the closed formula has it (Massart et al., Handbook of Chemometrics and
/// Qualimetrics A, 8.28, as the vignette of the R package chemCal 0.2.3 has it), and off a parabola as the finite differences
/// of the whole calculation have it.
#[test]
fn what_is_read_off_is_as_uncertain_as_the_formula_says() {
    let list = |text: &str| text.split_whitespace().map(dec).collect::<Vec<_>>();
    let x = list("1 2 4 6 8 10");
    let y = list("0.094 0.185 0.368 0.549 0.735 0.912");
    let weights: Vec<Decimal> = x.iter().map(|x| Decimal::ONE / x).collect();
    let (s, w0) = (0.002_f64, 0.25_f64);
    let (mut graph, fit) = points(&x, &y, &weights, 1);
    let (found, above) = read_off(&mut graph, &fit, "0.430");
    for (id, weight) in fit.y.iter().zip(&weights) {
        let standard = s / as_f64(*weight).sqrt();
        graph.uncertain(*id, Component::each("scatter", standard, Of::All));
    }
    graph.uncertain(above, Component::each("scatter", s / w0.sqrt(), Of::All));
    let plain = |list: &[Decimal]| list.iter().map(|v| as_f64(*v)).collect::<Vec<_>>();
    let (x, y, w) = (plain(&x), plain(&y), plain(&weights));
    let sum = |of: &dyn Fn(usize) -> f64| (0..x.len()).map(of).sum::<f64>();
    let (n, sx) = (sum(&|i| w[i]), sum(&|i| w[i] * x[i]));
    let (sy, sxx) = (sum(&|i| w[i] * y[i]), sum(&|i| w[i] * x[i] * x[i]));
    let sxy = sum(&|i| w[i] * x[i] * y[i]);
    let b = (n * sxy - sx * sy) / (n * sxx - sx * sx);
    let off = 0.430 - sy / n;
    let expected =
        s / b * (1.0 / w0 + 1.0 / n + off * off * n / (b * b * (n * sxx - sx * sx))).sqrt();
    near(budget(&graph, found, None).standard, expected, 1e-9, "s(x)");

    let bent: Vec<Decimal> = "0.101 0.196 0.382 0.559 0.730 0.893"
        .split_whitespace()
        .map(dec)
        .collect();
    let x: Vec<Decimal> = "1 2 4 6 8 10".split_whitespace().map(dec).collect();
    let (mut graph, fit) = points(&x, &bent, &weights, 2);
    let (found, _) = read_off(&mut graph, &fit, "0.500");
    let by = graph.sensitivities(found);
    let step = dec("0.000001");
    for id in fit.x.iter().chain(&fit.y) {
        let at = |off: Decimal| {
            let moved = graph.value_with(found, &[(*id, graph.value(*id) + off)]);
            as_f64(moved.expect("a value"))
        };
        let slope = (at(step) - at(-step)) / 2e-6;
        near(by[id.place()], slope, 1e-6 * slope.abs().max(0.1), "slope");
    }
}

/// y − a on the line, and the x there.
fn read_off(graph: &mut Graph, fit: &Arc<Fit>, height: &str) -> (StepId, StepId) {
    use concordant::workup::Sign::{Minus, Plus};
    let height = graph.given(("y", "y"), "", dec(height));
    let mut coefficient = |power| {
        let step = graph.step(("b", "b"), "", Operation::Coefficient(power, fit.clone()));
        step.expect("a value")
    };
    let (a, b) = (coefficient(0), coefficient(1));
    let square = (fit.degree == 2).then(|| coefficient(2));
    let above = Operation::sum([(Plus, height), (Minus, a)]);
    let above = graph.step(("h", "h"), "", above).expect("a value");
    let operation = match square {
        Some(square) => Operation::Root {
            square,
            linear: b,
            value: above,
        },
        None => Operation::quotient([above], [b]),
    };
    (
        graph.step(("x", "x"), "", operation).expect("a value"),
        height,
    )
}

fn points(x: &[Decimal], y: &[Decimal], weights: &[Decimal], degree: usize) -> (Graph, Arc<Fit>) {
    let mut graph = Graph::default();
    let mut given = |values: &[Decimal]| {
        let steps = values
            .iter()
            .map(|value| graph.given(("v", "v"), "", *value));
        steps.collect::<concordant::workup::StepIds>()
    };
    let fit = Fit {
        x: given(x),
        y: given(y),
        weights: weights.to_vec(),
        degree,
    };
    (graph, Arc::new(fit))
}
