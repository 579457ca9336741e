//! Straight lines.

use super::digits;
use super::textbook_line::{Line, LineError};
use crate::reference::{dec, f, near};
use concordant::workup::Sign::{Minus, Plus};
use concordant::workup::{Graph, Operation, StepId};
use rust_decimal::Decimal;

// id: strd-norris
/// NIST StRD, linear regression, Norris (lower difficulty): ozone monitors, y = b0 + b1·x. Of the 15 certified digits the
/// slope and r² have all, intercept and s(y/x) 14, which is what exact least squares of the data as doubles hold them
/// gives (a y of 998.5 is off by 6e-14, against residuals of 0.9), errors and sums of squares 13.7 or more.
#[test]
fn norris() {
    let points: Vec<(f64, f64)> = norris_points().map(|(x, y)| (f(x), f(y))).collect();
    let line = Line::of(&points).expect("a line");
    assert_eq!(line.n, 36);
    assert_eq!(line.freedom(), 34.0);
    assert_eq!(format!("{:.14}", line.slope), "1.00211681802045");
    for (found, certified, least, what) in [
        (line.slope, 1.002_116_818_020_45, 14.3, "b1"),
        (line.intercept, -0.262_323_073_774_029, 14.0, "b0"),
        (line.residual_s, 0.884_796_396_144_373, 14.0, "s(y/x)"),
        (line.slope_error, 0.429_796_848_199_937e-3, 13.9, "s(b1)"),
        (line.intercept_error, 0.232_818_234_301_152, 13.9, "s(b0)"),
        (
            line.r_squared.expect("r²"),
            0.999_993_745_883_712,
            14.5,
            "r²",
        ),
        (
            line.residual_s.powi(2) * line.freedom(),
            26.617_398_529_422_4,
            13.6,
            "residual sum of squares",
        ),
        (
            line.slope.powi(2) * line.sxx,
            4_255_954.132_323_69,
            14.0,
            "regression sum of squares",
        ),
        (
            (line.slope / line.slope_error).powi(2),
            5_436_385.540_797_85,
            13.6,
            "F",
        ),
    ] {
        let reached = digits(found, certified);
        println!("{what}: {reached:.1} digits");
        assert!(reached >= least, "{what}: {found}, {reached} digits");
    }
}

/// The slope of a work-up is taken in decimals: all 15 certified digits, of the intercept too.
#[test]
fn norris_in_a_work_up() {
    let mut graph = Graph::default();
    let (x, y): (Vec<Decimal>, Vec<Decimal>) = norris_points().unzip();
    let (x, y) = (given(&mut graph, &x), given(&mut graph, &y));
    let (slope, intercept) = line_of(&mut graph, &x, &y);
    let certified = [
        (slope, "1.00211681802045"),
        (intercept, "-0.262323073774029"),
    ];
    for (step, certified) in certified {
        let found = graph.value(step).round_sf(15).expect("15 figures");
        assert_eq!(found, dec(certified));
    }
}

/// QUAM:2012, example A5: cadmium released from ceramic ware, absorbance against mg/L, three readings at each of five
/// standards and two of the sample. Printed: 0.0087, 0.2410, s 0.005486, r 0.997, c₀ 0.26 ± 0.018 mg/L; to more digits
/// by evaluation of E.4 to forty. Hence also 13 degrees of freedom.
#[test]
fn cadmium_from_ceramic_ware() {
    let points: Vec<(f64, f64)> = cadmium().map(|(x, y)| (f(x), f(y))).collect();
    let line = Line::of(&points).expect("a line");
    near(line.slope, 0.241, 1e-13, "B1");
    near(line.intercept, 0.0087, 1e-12, "B0");
    near(line.residual_s, 0.005_485_645_603_965_653, 1e-12, "s");
    near(line.slope_error, 0.005_007_686_399_619_598, 1e-12, "s(B1)");
    near(
        line.intercept_error,
        0.002_876_696_823_682_436,
        1e-12,
        "s(B0)",
    );
    near(line.mean_x, 0.5, 1e-14, "mean");
    near(line.sxx, 1.2, 1e-14, "Sxx");
    near(
        line.r_squared.expect("r²").sqrt(),
        0.997_205_333_538_342_8,
        1e-13,
        "r",
    );
    let found = line.read_off(&[0.0712, 0.0716]).expect("a concentration");
    near(found.x, 0.260_165_975_103_734_44, 1e-13, "c₀");
    near(
        found.standard_uncertainty,
        0.017_844_611_125_583_096,
        1e-12,
        "u(c₀)",
    );
    assert_eq!(found.freedom, 13.0);
    near(line.at(found.x), 0.0714, 1e-13, "back on the line");
}

/// The law of propagation over a work-up's steps gives the same s(x₀) as the textbook's formula.
#[test]
fn propagation_over_the_steps_is_the_textbook_formula() {
    let points: Vec<(f64, f64)> = cadmium().map(|(x, y)| (f(x), f(y))).collect();
    let line = Line::of(&points).expect("a line");
    let readings = [0.0712, 0.0716];
    let textbook = line.read_off(&readings).expect("a concentration");

    let mut graph = Graph::default();
    let (x, y): (Vec<Decimal>, Vec<Decimal>) = cadmium().unzip();
    let xs = given(&mut graph, &x);
    let ys = given(&mut graph, &y);
    let (slope, intercept) = line_of(&mut graph, &xs, &ys);
    let sample = given(&mut graph, &[dec("0.0712"), dec("0.0716")]);
    let mut step = |operation| graph.step(("q", "q"), "", operation).expect("a value");
    let reading = step(Operation::mean(sample.iter().copied()));
    let above = step(Operation::sum([(Plus, reading), (Minus, intercept)]));
    let found = step(Operation::quotient([above], [slope]));
    near(f(graph.value(found)), 0.260_165_975_103_734_44, 1e-13, "c₀");
    near(f(graph.value(found)), textbook.x, 1e-13, "c₀");
    let by = graph.sensitivities(found);
    let read: f64 = ys
        .iter()
        .chain(&sample)
        .map(|id| (by[id.place()] * line.residual_s).powi(2))
        .sum();
    near(read.sqrt(), 0.017_844_611_125_583_096, 1e-12, "u(c₀)");
    near(read.sqrt(), textbook.standard_uncertainty, 1e-12, "u(c₀)");
}

#[test]
fn what_is_no_line() {
    let of = |points: &[(f64, f64)]| Line::of(points).map(|line| line.slope);
    assert_eq!(of(&[]), Err(LineError::TooFew(0)));
    assert_eq!(of(&[(1.0, 1.0), (2.0, 2.0)]), Err(LineError::TooFew(2)));
    // 0.1 thrice has a mean of doubles that is not 0.1
    assert_eq!(
        of(&[(0.1, 1.0), (0.1, 2.0), (0.1, 3.0)]),
        Err(LineError::OneX)
    );
    for bad in [f64::NAN, f64::INFINITY] {
        assert_eq!(
            of(&[(bad, 1.0), (2.0, 2.0), (3.0, 3.0)]),
            Err(LineError::OutOfRange)
        );
        assert_eq!(
            of(&[(1.0, bad), (2.0, 2.0), (3.0, 3.0)]),
            Err(LineError::OutOfRange)
        );
    }
    let huge = [(1.0, 1e200), (2.0, 2e200), (3.0, 9e200)];
    assert_eq!(of(&huge), Err(LineError::OutOfRange));
    let words = LineError::TooFew(2).to_string();
    assert_eq!(words, "found 2 points, expected at least 3");
}

#[test]
fn lines_without_scatter_or_slope() {
    let exact = Line::of(&[(1.0, 3.0), (2.0, 5.0), (4.0, 9.0)]).expect("a line");
    assert_eq!((exact.slope, exact.intercept), (2.0, 1.0));
    assert_eq!((exact.residual_s, exact.r_squared), (0.0, Some(1.0)));
    let found = exact.read_off(&[7.0]).expect("an x");
    assert_eq!((found.x, found.standard_uncertainty), (3.0, 0.0));
    assert_eq!(exact.read_off(&[]), None);
    assert_eq!(exact.read_off(&[f64::NAN]), None);

    let flat = Line::of(&[(1.0, 0.1), (2.0, 0.1), (4.0, 0.1)]).expect("a line");
    assert_eq!((flat.slope, flat.r_squared), (0.0, None));
    assert_eq!(flat.read_off(&[0.1]), None);
    assert_eq!(flat.read_off(&[0.2]), None);
}

fn given(graph: &mut Graph, values: &[Decimal]) -> Vec<StepId> {
    values
        .iter()
        .map(|value| graph.given(("v", "v"), "", *value))
        .collect()
}

/// Slope and intercept as a work-up's calibration line takes them.
fn line_of(graph: &mut Graph, x: &[StepId], y: &[StepId]) -> (StepId, StepId) {
    let mut step = |operation| graph.step(("q", "q"), "", operation).expect("a value");
    let slope = step(Operation::Slope {
        x: x.iter().copied().collect(),
        y: y.iter().copied().collect(),
    });
    let x_mean = step(Operation::mean(x.iter().copied()));
    let y_mean = step(Operation::mean(y.iter().copied()));
    let rise = step(Operation::product([slope, x_mean]));
    let intercept = step(Operation::sum([(Plus, y_mean), (Minus, rise)]));
    (slope, intercept)
}

fn cadmium() -> impl Iterator<Item = (Decimal, Decimal)> {
    [
        ("0.1", ["0.028", "0.029", "0.029"]),
        ("0.3", ["0.084", "0.083", "0.081"]),
        ("0.5", ["0.135", "0.131", "0.133"]),
        ("0.7", ["0.180", "0.181", "0.183"]),
        ("0.9", ["0.215", "0.230", "0.216"]),
    ]
    .into_iter()
    .flat_map(|(x, readings)| readings.map(|y| (dec(x), dec(y))))
}

/// x and y; the file has y first.
fn norris_points() -> impl Iterator<Item = (Decimal, Decimal)> {
    NORRIS.split(';').map(|pair| {
        let (y, x) = pair.trim().split_once(' ').expect("a pair");
        (dec(x), dec(y))
    })
}

const NORRIS: &str = "\
    0.1 0.2; 338.8 337.4; 118.1 118.2; 888.0 884.6; 9.2 10.1; 228.1 226.5; 668.5 666.3; 998.5 996.3; 449.1 \
    448.6; 778.9 777.0; 559.2 558.2; 0.3 0.4; 0.1 0.6; 778.1 775.5; 668.8 666.9; 339.3 338.0; 448.9 447.5; 10.8 \
    11.6; 557.7 556.0; 228.3 228.1; 998.0 995.8; 888.8 887.6; 119.6 120.2; 0.3 0.3; 0.6 0.3; 557.6 556.8; 339.3 \
    339.1; 888.0 887.2; 998.5 999.0; 778.9 779.0; 10.2 11.1; 117.6 118.3; 228.9 229.2; 668.4 669.1; 449.2 448.9; \
    0.2 0.5";
