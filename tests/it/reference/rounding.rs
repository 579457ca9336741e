//! Rounding, half away from zero.

use super::dec;
use concordant::measure::{to_decimals, to_figures};

// id: round-openstax
/// OpenStax Chemistry 2e, 1.5. That book rounds ties to even; the three ties (92.85, 0.051065, 0.90275) therefore
/// differ here, where ties go away from zero as school and registrar round.
#[test]
fn figures() {
    for (value, figures, rounded) in [
        ("0.028675", 3, "0.0287"),
        ("18.3384", 3, "18.3"),
        ("6.8752", 3, "6.88"),
        ("31.57", 2, "32"),
        ("8.1649", 3, "8.16"),
        ("92.85", 3, "92.9"),
        ("0.051065", 4, "0.05107"),
        ("0.90275", 4, "0.9028"),
        ("9.996", 3, "10.0"),
        ("1234", 2, "1200"),
        ("-2.5", 1, "-3"),
    ] {
        assert_eq!(
            to_figures(dec(value), figures).to_string(),
            rounded,
            "{value}"
        );
    }
}

// id: round-astm-like
// id: round-gum
/// Hartnell College's rounding page, the rule of ASTM E29 where no tie is involved; JCGM 100:2008, 7.2.6.
#[test]
fn decimals() {
    for (value, places, rounded) in [
        ("56.748", 1, "56.7"),
        ("2.146", 2, "2.15"),
        ("21.4501", 1, "21.5"),
        ("21.350", 1, "21.4"),
        ("10.05762", 3, "10.058"),
        ("0.005", 2, "0.01"),
        ("1", 2, "1.00"),
    ] {
        assert_eq!(
            to_decimals(dec(value), places).to_string(),
            rounded,
            "{value}"
        );
    }
}

#[test]
fn doubles_to_decimals() {
    use concordant::measure::from_f64;
    for (value, figures, text) in [
        (0.0, 12, "0"),
        (1.0 / 3.0, 12, "0.333333333333"),
        (123456.0, 3, "123000"),
        (1.5e-9, 4, "0.0000000015"),
        (-2.25, 2, "-2.3"),
    ] {
        assert_eq!(
            from_f64(value, figures).expect("finite").to_string(),
            text,
            "{value}"
        );
    }
    assert_eq!(from_f64(f64::NAN, 3), None);
    assert_eq!(from_f64(f64::INFINITY, 3), None);
}

// id: round-arith
/// OpenStax Chemistry 2e, 1.5, examples and check-your-learning: fewest decimals in sums, fewest figures in products.
#[test]
fn significant_figures_are_carried_along() {
    use concordant::workup::{Graph, Operation, Sign, written_by_rule};
    let cases = [
        ("+", "1.0023", "4.383", "5.385"),
        ("+", "2.334", "0.31", "2.64"),
        ("-", "486", "421.23", "65"),
        ("-", "56.533", "55.8752", "0.658"),
        ("*", "0.6238", "6.6", "4.1"),
        ("*", "2.334", "0.320", "0.747"),
        ("/", "421.23", "486", "0.867"),
        ("/", "55.8752", "56.53", "0.9884"),
        ("/", "31.1415", "30.13", "1.034"),
    ];
    for (sign, one, other, expected) in cases {
        let mut graph = Graph::default();
        let a = graph.given(("a", "a"), "", dec(one));
        let b = graph.given(("b", "b"), "", dec(other));
        let operation = match sign {
            "+" => Operation::sum(vec![(Sign::Plus, a), (Sign::Plus, b)]),
            "-" => Operation::sum(vec![(Sign::Plus, a), (Sign::Minus, b)]),
            "*" => Operation::quotient(vec![a, b], vec![]),
            _ => Operation::quotient(vec![a], vec![b]),
        };
        let result = graph.step(("r", "r"), "", operation).expect("a value");
        assert_eq!(
            written_by_rule(&graph, result).to_string(),
            expected,
            "{one} {sign} {other}"
        );
    }
    // an exact number limits nothing
    let mut graph = Graph::default();
    let a = graph.given(("a", "a"), "", dec("2.345"));
    let k = graph.given(("k", "k"), "", dec("1000"));
    graph.significant(k, None);
    let product = graph
        .step(("p", "p"), "", Operation::quotient(vec![a, k], vec![]))
        .expect("a value");
    assert_eq!(written_by_rule(&graph, product).to_string(), "2345");
    assert_eq!(
        concordant::workup::significant_figures(&graph, product),
        Some(4)
    );
    assert_eq!(concordant::workup::significant_figures(&graph, k), None);
}
