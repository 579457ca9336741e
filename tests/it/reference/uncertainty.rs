//! Uncertainty budgets against worked examples.

use super::{dec, near};
use concordant::ids::LotCode;
use concordant::stats::student_t_quantile;
use concordant::workup::{Cause, Component, Graph, Of, Operation, StepId, budget};
use proptest::prelude::*;

const TRI: f64 = 2.449_489_742_783_178; // √6
const RECT: f64 = 1.732_050_807_568_877_2; // √3

fn given(graph: &mut Graph, label: &'static str, value: &str, doubts: &[f64]) -> StepId {
    let step = graph.given((label, label), "", dec(value));
    for (index, standard) in doubts.iter().enumerate() {
        // a cause of its own each
        let cause = Cause::LotMolarity(LotCode::new(format!("{label} {index}")));
        graph.uncertain(step, Component::shared(cause, *standard));
    }
    step
}

/// Eurachem/CITAC CG 4, QUAM:2012, example A1: a cadmium standard, c = 1000 · m · P / V. Figures from memory (Table A1.2):
/// 1002.7 ± 0.9 mg/L; the flask's 0.07 mL is its tolerance as a triangle, filling, and ±4 °C, as the text takes them.
#[test]
fn quam_a1() {
    let mut graph = Graph::default();
    let temperature = 100.0 * 4.0 * 2.1e-4 / RECT;
    let over = vec![
        given(&mut graph, "k", "1000", &[]),
        given(&mut graph, "m", "100.28", &[0.05]),
        given(&mut graph, "P", "0.9999", &[0.0001 / RECT]),
    ];
    let under = vec![given(
        &mut graph,
        "V",
        "100.0",
        &[0.1 / TRI, 0.02, temperature],
    )];
    let c = graph
        .step(("c", "c"), "mg/L", Operation::quotient(over, under))
        .expect("a value");
    assert_eq!(
        concordant::measure::to_decimals(graph.value(c), 1),
        dec("1002.7")
    );
    let found = budget(&graph, c, None);
    near(
        found.standard,
        0.8353,
        1e-3,
        "u(c), 0.9 with the guide's rounded parts",
    );
    let volume = (0.1f64 / TRI).hypot(0.02).hypot(temperature);
    near((volume * 100.0).round() / 100.0, 0.07, 1e-9, "u(V)");
    // with the parts as the table prints them, its own 0.9 comes out
    let printed = 1002.7 * 0.0005f64.hypot(0.000_058).hypot(0.0007);
    near(
        (printed * 10.0).round() / 10.0,
        0.9,
        1e-9,
        "u(c) as printed",
    );
}

// id: quam-a2
/// Eurachem/CITAC CG 4, QUAM:2012, example A2: sodium hydroxide against potassium hydrogen phthalate.
/// u(M) 0.0038 is used with all its digits, 0.00376530. Published 0.10214 ± 0.00010 mol/L; c and u recomputed with the GTC library 1.5.1 to eleven figures.
#[test]
fn quam_a2() {
    let mut graph = Graph::default();
    let weighing = 0.00015 / RECT;
    let over = vec![
        given(&mut graph, "R", "1.0", &[0.0005]),
        given(&mut graph, "k", "1000", &[]),
        given(&mut graph, "m", "0.3888", &[weighing, weighing]),
        given(&mut graph, "P", "1.0", &[0.0005 / RECT]),
    ];
    let under = vec![
        given(&mut graph, "M", "204.2212", &[0.003_765_302_112_712_87]),
        given(&mut graph, "V", "18.64", &[0.03 / TRI, 0.006]),
    ];
    let c = graph
        .step(("c", "c"), "mol/L", Operation::quotient(over, under))
        .expect("a value");
    near(
        super::f(graph.value(c)),
        0.102_136_159_706_790_71,
        1e-15,
        "c",
    );
    let found = budget(&graph, c, None);
    near(found.standard, 0.000_100_500_722_124_004_63, 1e-9, "u");
    let part = |name: &str| {
        let of_name = found
            .contributions
            .iter()
            .filter(|p| p.name().starts_with(&format!("molarity of lot {name} ")));
        of_name.map(|p| p.amount.powi(2)).sum::<f64>().sqrt()
    };
    for (name, amount) in [
        ("V", 7.47292e-05),
        ("R", 5.10681e-05),
        ("m", 3.21735e-05),
        ("P", 2.94842e-05),
        ("M", 1.88312e-06),
    ] {
        near(part(name), amount, 1e-5, name);
    }
}

// id: quam-a3
/// QUAM:2012, example A3: hydrochloric acid. Published 0.10139 ± 0.00018 mol/L (repeatability 0.001).
#[test]
fn quam_a3() {
    let mut graph = Graph::default();
    let weighing = 0.00015 / RECT;
    let over = vec![
        given(&mut graph, "R", "1.0", &[0.001]),
        given(&mut graph, "k", "1000", &[]),
        given(&mut graph, "m", "0.3888", &[weighing, weighing]),
        given(&mut graph, "P", "1.0", &[0.0005 / RECT]),
        given(&mut graph, "V2", "14.89", &[0.03 / TRI, 0.0126 / RECT]),
    ];
    let under = vec![
        given(&mut graph, "V1", "18.64", &[0.03 / TRI, 0.01596 / RECT]),
        given(&mut graph, "M", "204.2212", &[0.003_765_302_112_712_87]),
        given(&mut graph, "Vh", "15.0", &[0.02 / TRI, 0.0126 / RECT]),
    ];
    let c = graph
        .step(("c", "c"), "mol/L", Operation::quotient(over, under))
        .expect("a value");
    near(super::f(graph.value(c)), 0.101_387_161_202, 1e-11, "c");
    near(
        budget(&graph, c, None).standard,
        0.000_184_338_744,
        1e-8,
        "u",
    );
}

// id: typeb-divisors
// id: burette-difference-u
/// Type B divisors (QUAM:2012, 8.1.4; GUM 4.3.7 and 4.3.9) and a burette's difference: readings count twice, the
/// calibration once (arithmetic after QUAM A2.4).
#[test]
fn a_burette_difference() {
    near(0.05 / RECT, 0.028_867_513_46, 1e-9, "rectangular");
    near(0.05 / TRI, 0.020_412_414_52, 1e-9, "triangular");
    let mut graph = Graph::default();
    let end = given(&mut graph, "end", "20", &[0.01]);
    let start = given(&mut graph, "start", "0", &[0.01]);
    use concordant::workup::Sign::{Minus, Plus};
    let volume = graph
        .step(
            ("V", "V"),
            "mL",
            Operation::sum(vec![(Plus, end), (Minus, start)]),
        )
        .expect("a value");
    near(
        budget(&graph, volume, None).standard,
        0.014_142_135_62,
        1e-9,
        "readings",
    );
    graph.uncertain(volume, Component::shared("calibration", 0.05 / TRI));
    near(
        budget(&graph, volume, None).standard,
        0.024_832_774_04,
        1e-9,
        "with calibration",
    );
}

/// Welch–Satterthwaite (JCGM 100:2008, G.2b) with one finite part; k by Student's t at the unrounded freedom.
#[test]
fn effective_freedom() {
    let mut graph = Graph::default();
    let a = given(&mut graph, "a", "10.00", &[0.03]);
    let b = given(&mut graph, "b", "10.10", &[]);
    let c = given(&mut graph, "c", "10.20", &[]);
    let mean = graph
        .step(("x", "x"), "", Operation::mean(vec![a, b, c]))
        .expect("a value");
    let (s, n) = (0.1, 3);
    let found = budget(&graph, mean, Some((s, n)));
    let (systematic, observed) = (0.01, 0.1 / 3f64.sqrt());
    let u: f64 = systematic * systematic + observed * observed;
    near(found.standard, u.sqrt(), 1e-12, "u");
    near(
        found.degrees_of_freedom,
        2.0 * u.powi(2) / observed.powi(4),
        1e-12,
        "freedom",
    );
    near(
        found.coverage_factor,
        student_t_quantile(0.975, found.degrees_of_freedom),
        1e-12,
        "k",
    );
    // where the predicted scatter is the larger one it is used, with infinite freedom
    graph.uncertain(a, Component::each("reading", 1.0, Of::All));
    let found = budget(&graph, mean, Some((s, n)));
    assert!(found.degrees_of_freedom.is_infinite());
    near(
        found.coverage_factor,
        1.959_963_984_540_054,
        1e-9,
        "k of the normal",
    );
    near(
        found.predicted_random,
        1.0 / 3.0,
        1e-12,
        "a trial's error averages out",
    );
}

// id: gum-h1
/// JCGM 100:2008, H.1: an end gauge compared with a standard. l = l_s + d − l_s (δα θ + α_s δθ); published u_c = 32 nm
/// with 16 effective degrees of freedom (16.6, truncated) and U = 93 nm at 99 %; u_c and ν recomputed to eleven figures.
#[test]
fn gum_h1_end_gauge() {
    use concordant::workup::Sign::{Minus, Plus};
    let mut graph = Graph::default();
    let mut estimate = |name, unit, value: &str, doubts: &[(&'static str, f64, f64)]| {
        let step = graph.given((name, name), unit, dec(value));
        for (cause, standard, freedom) in doubts {
            let component = Component::shared(*cause, *standard);
            graph.uncertain(step, component.estimated(*freedom));
        }
        step
    };
    let standard = estimate(
        "l_s",
        "nm",
        "50000623",
        &[("calibration of the standard", 25.0, 18.0)],
    );
    let difference = [
        ("repeated observations", 5.8, 24.0),
        ("comparator, random", 3.9, 5.0),
        ("comparator, systematic", 6.7, 8.0),
    ];
    let difference = estimate("d", "nm", "215", &difference);
    // neither difference is zero by knowledge, only by estimate: what each is uncertain by counts
    let expansions = estimate(
        "δα",
        "1/°C",
        "0",
        &[("difference of expansions", 5.8e-7, 50.0)],
    );
    let temperatures = estimate(
        "δθ",
        "°C",
        "0",
        &[("difference of temperatures", 0.029, 2.0)],
    );
    let bed = [
        ("mean temperature of the bed", 0.2, f64::INFINITY),
        ("cycle of temperature", 0.35, f64::INFINITY),
    ];
    let bed = estimate("θ", "°C", "-0.1", &bed);
    let expansion = [("expansion of the standard", 1.2e-6, f64::INFINITY)];
    let expansion = estimate("α_s", "1/°C", "0.0000115", &expansion);
    let mut step = |name, operation| graph.step((name, name), "", operation).expect("a value");
    let by_expansion = step("δα θ", Operation::product([expansions, bed]));
    let by_temperature = step("α_s δθ", Operation::product([expansion, temperatures]));
    let sum = Operation::sum([(Plus, by_expansion), (Plus, by_temperature)]);
    let relative = step("relative", sum);
    let correction = step("correction", Operation::product([standard, relative]));
    let terms = [(Plus, standard), (Plus, difference), (Minus, correction)];
    let length = step("l", Operation::sum(terms));
    assert_eq!(graph.value(length), dec("50000838"));
    let found = budget(&graph, length, None);
    near(found.standard, 31.705_090_502, 1e-9, "u_c");
    assert_eq!(found.standard.round(), 32.0);
    near(
        found.degrees_of_freedom,
        16.6446,
        1e-5,
        "effective degrees of freedom",
    );
    assert_eq!(found.degrees_of_freedom.floor(), 16.0);
    let k = student_t_quantile(0.995, found.degrees_of_freedom.floor());
    near(k, 2.920_782, 1e-6, "t at 99 %");
    assert_eq!((k * found.standard.round()).round(), 93.0);
    // Table H.1: what the standard and the difference of temperatures contribute
    let part = |name| {
        let mut of_name = found.contributions.iter().filter(|c| c.name() == name);
        of_name.next().map_or(0.0, |c| c.amount)
    };
    near(part("calibration of the standard"), 25.0, 1e-6, "u(l_s)");
    near(part("difference of expansions"), 2.9, 1e-4, "u(δα)");
    assert_eq!(part("difference of temperatures").round(), 17.0);
    assert_eq!(part("expansion of the standard"), 0.0);
}

/// Coverage factors at degrees of freedom that no table has, small ones and as many as an observed scatter that is
/// hardly seen leads to; computed with mpmath 1.4 to 30 figures.
#[test]
fn coverage_at_any_freedom() {
    for (freedom, k) in [
        (0.77, 26.347_709_551_130_68),
        (2.37, 3.718_920_839_797_456_7),
        (57.3, 2.002_238_268_231_336_4),
        (999.99, 1.962_339_104_605_885_2),
        (1000.0, 1.962_339_080_826_408),
        (11_988_189.668_123_666, 1.959_964_182_424_099_4),
        (377_279_316.596_630_75, 1.959_963_990_827_892_3),
        (1e15, 1.959_963_984_540_056_6),
    ] {
        near(student_t_quantile(0.975, freedom), k, 1e-12, "k");
        near(student_t_quantile(0.025, freedom), -k, 1e-12, "below");
    }
    assert!(student_t_quantile(0.5, 3.3).abs() < 1e-15);
    for (p, freedom) in [(0.975, 0.0), (0.975, -1.0), (0.975, f64::NAN), (1.0, 3.0)] {
        assert!(student_t_quantile(p, freedom).is_nan(), "{p} {freedom}");
    }
}

proptest! {
    /// The backward pass against central differences of the graph itself.
    #[test]
    fn sensitivities_are_the_slopes(m in 1_u32..9999, v in 500_u32..5000, w in 1_u32..499, c in 1_u32..999) {
        use concordant::workup::Sign::{Minus, Plus};
        let mut graph = Graph::default();
        let mass = graph.given(("m", "m"), "g", rust_decimal::Decimal::new(m.into(), 3));
        let end = graph.given(("e", "e"), "mL", rust_decimal::Decimal::new(v.into(), 2));
        let start = graph.given(("s", "s"), "mL", rust_decimal::Decimal::new(w.into(), 2));
        let factor = graph.given(("c", "c"), "", rust_decimal::Decimal::new(c.into(), 2));
        let volume = graph.step(("V", "V"), "mL", Operation::sum(vec![(Plus, end), (Minus, start)])).expect("value");
        let one = graph.step(("x", "x"), "", Operation::quotient(vec![volume, factor], vec![mass])).expect("value");
        let two = graph.step(("y", "y"), "", Operation::quotient(vec![mass, factor, factor], vec![volume])).expect("value");
        let mean = graph.step(("z", "z"), "", Operation::mean(vec![one, two])).expect("value");
        let by = graph.sensitivities(mean);
        for input in [mass, end, start, factor] {
            let h = graph.value(input) * dec("0.00001");
            let at = |x| super::f(graph.value_with(mean, &[(input, x)]).expect("value"));
            let slope = (at(graph.value(input) + h) - at(graph.value(input) - h)) / (2.0 * super::f(h));
            let scale = super::f(graph.value(mean)).abs() / super::f(graph.value(input));
            prop_assert!((by[input.place()] - slope).abs() <= 1e-6 * scale.max(slope.abs()));
        }
    }
}
